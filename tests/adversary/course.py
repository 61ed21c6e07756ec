"""A charge through time, without noise and without meters: cell and charger step by step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from adversary.cells import CellModel, CellState
from adversary.chargers import Charger, Regime

Array = npt.NDArray[np.float64]
_LONGEST_S, _SHORTEST_S, _GROWTH = 4.0, 0.1, 1.25
_FINE_S = 0.25
"""Steps are so short where the voltage limit is first reached: the knee is known to this."""

_FLOWS = (Regime.PRECHARGE, Regime.SOFT_START, Regime.CURRENT, Regime.VOLTAGE, Regime.TOP_UP)


@dataclass(frozen=True)
class Course:
    """Corner points of a charge; lines run between them, and two at one moment are a jump.

    Parameters
    ----------
    time_s, current_A, cell_V, regulation_V : array, shape (n,)
    regime : array of int, shape (n,)
        That of the line which ends at the point.
    """

    time_s: Array
    current_A: Array
    cell_V: Array
    regulation_V: Array
    regime: npt.NDArray[np.int_]

    def at(self, moments_s: npt.ArrayLike, values: Array) -> Array:
        """Return a quantity at moments; at a jump, that after it."""
        moments = np.asarray(moments_s, dtype=float)
        right = np.clip(np.searchsorted(self.time_s, moments, side="right"), 1, len(self.time_s) - 1)
        span = self.time_s[right] - self.time_s[right - 1]
        share = np.divide(moments - self.time_s[right - 1], span, np.zeros_like(span), where=span > 0)
        return np.asarray(values[right - 1] + np.clip(share, 0, 1) * (values[right] - values[right - 1]))

    def regime_at(self, moments_s: npt.ArrayLike) -> npt.NDArray[np.int_]:
        """Return the regime at moments."""
        right = np.searchsorted(self.time_s, np.asarray(moments_s, dtype=float), side="right")
        return np.asarray(self.regime[np.clip(right, 1, len(self.time_s) - 1)])

    def summed(self, values: Array) -> Array:
        """Return the running integral of a quantity over time at every corner."""
        steps = np.diff(self.time_s) * (values[1:] + values[:-1]) / 2
        return np.concatenate([[0.0], np.cumsum(steps)])

    def first(self, *regimes: Regime) -> float | None:
        """Return when the first line of any of these regimes begins."""
        rows = np.flatnonzero(np.isin(self.regime, regimes) & np.r_[False, np.diff(self.time_s) > 0])
        return float(self.time_s[rows[0] - 1]) if len(rows) else None


class Bench:
    """A charge under way."""

    def __init__(self, cell: CellModel, charger: Charger, rig_ohm: float, *, soc: float) -> None:
        self.cell, self.charger = CellState(cell, soc), charger
        self.ohm = charger.device_ohm + rig_ohm
        self.now_s = self.amps = self.below_s = self.young_s = 0.0
        self.regime, self.ended_s, self.tops = Regime.BEFORE, None, 0
        self.ramp_from: float | None = None
        self.held = self.low = False
        self.points: list[tuple[float, float, float, float, int]] = []

    def run(self, plugged_s: float, pulled_s: float | None, ends_s: float) -> Course:
        """Return the course: cable in, cable out (None: never), end of all logs."""
        charger = self.charger
        fixed = [plugged_s, *(plugged_s + edge for edge in charger.edges_s()), pulled_s or ends_s, ends_s]
        self._jump(charger.out_A, Regime.BEFORE)
        while self.now_s < ends_s - 1e-9:
            since = self.now_s - plugged_s
            out = pulled_s is not None and self.now_s >= pulled_s - 1e-9
            wants = Regime.PULLED if out else self._wants(since)
            edge = min(moment for moment in fixed if moment > self.now_s + 1e-9)
            edge = min(edge, self._pulse_edge(wants, plugged_s))
            self._go(wants, since, edge)
        columns = np.array(self.points).T
        return Course(columns[0], columns[1], columns[2], columns[3], columns[4].astype(int))

    def _wants(self, since_s: float) -> Regime:
        """Return the regime that the charger wants to be in; CURRENT stands for both limits."""
        charger = self.charger
        if since_s < -1e-9:
            return Regime.BEFORE
        if self.ended_s is not None:
            waits = charger.top_ups_after_s[self.tops :]
            if not waits or self.now_s < self.ended_s + waits[0]:
                return Regime.DONE
            self.ended_s, self.tops, self.below_s = None, self.tops + 1, 0.0
        if charger.timer_s and since_s >= charger.timer_s - 1e-9:
            self.ended_s = self.now_s
            return Regime.DONE
        # Where a sum of two doubles falls short of a moment, the pause that begins there would be skipped.
        stopped = charger.stopped(since_s + 1e-6)
        if stopped is not None:
            return stopped
        if charger.precharge and not self.low and self.cell.rest_V() < charger.precharge[0]:
            return Regime.PRECHARGE
        self.low = True
        return Regime.PULSE_OFF if self._paused(since_s) else Regime.CURRENT

    def _paused(self, since_s: float) -> bool:
        pulse = self.charger.pulse
        if (
            pulse is None
            or (pulse.at == "voltage" and not self.held)
            or (pulse.at == "current" and self.held)
        ):
            return False
        return since_s % (pulse.on_s + pulse.off_s) >= pulse.on_s - 1e-9

    def _pulse_edge(self, wants: Regime, plugged_s: float) -> float:
        pulse = self.charger.pulse
        if pulse is None or wants not in (Regime.CURRENT, Regime.PULSE_OFF):
            return np.inf
        period = pulse.on_s + pulse.off_s
        turn = (self.now_s - plugged_s) // period * period + plugged_s
        ahead = [turn + pulse.on_s, turn + period, turn + period + pulse.on_s]
        return min(moment for moment in ahead if moment > self.now_s + 1e-6)

    def _go(self, wants: Regime, since_s: float, edge_s: float) -> None:
        step = min(max(_SHORTEST_S, (self.now_s - self.young_s) * (_GROWTH - 1)), _LONGEST_S)
        step = min(step, edge_s - self.now_s)
        if wants == Regime.CURRENT:
            self._at_limits(since_s, step)
            return
        self.ramp_from = None
        still = {Regime.PRECHARGE: (self.charger.precharge or (0, 0.0))[1], Regime.DONE: self.charger.idle_A}
        outside = self.charger.out_A if wants in (Regime.BEFORE, Regime.PULLED) else 0.0
        amps = still.get(wants, outside)
        if wants != self.regime:
            self._jump(amps, wants)
            step = min(step, _SHORTEST_S)
        self._step(amps, step, wants)

    def _at_limits(self, since_s: float, step_s: float) -> None:
        cell, charger = self.cell, self.charger
        own = cell.model.ohm_at(cell.soc, self.now_s) + self.ohm
        most = max((charger.set_V - cell.rest_V()) / own, 0.0)
        if self.regime not in _FLOWS or self.regime == Regime.PRECHARGE:
            self.ramp_from = self.now_s
            limit = charger.limit_A(since_s, 0.0, cell.rest_V())
            self._jump(min(most, limit), self._name(most <= limit, 0.0))
            step_s = min(step_s, _SHORTEST_S)
        ramp = self.now_s + step_s - (self.ramp_from or 0.0)
        seen_V = cell.rest_V() + self.amps * own
        limit = charger.limit_A(since_s + step_s, ramp, seen_V)
        if charger.slope:
            limit = self.amps + (limit - self.amps) * min(step_s / 5.0, 1.0)
        held = max(cell.held_A(self.amps, step_s, charger.set_V, own), 0.0)
        if held <= limit and not self.held and step_s > _FINE_S:
            step_s = _FINE_S
            held = max(cell.held_A(self.amps, step_s, charger.set_V, own), 0.0)
        self._step(min(held, limit), step_s, self._name(held <= limit, ramp))
        self._ending(held <= limit, step_s)

    def _name(self, held: bool, ramp_s: float) -> Regime:
        if self.tops:
            return Regime.TOP_UP
        if held:
            self.held = True
            return Regime.VOLTAGE
        return Regime.SOFT_START if ramp_s < self.charger.soft_s and not self.held else Regime.CURRENT

    def _ending(self, held: bool, step_s: float) -> None:
        stop = self.charger.stop_A
        if stop is None or not held or self.amps >= stop:
            self.below_s = 0.0
            return
        self.below_s += step_s
        if self.below_s >= self.charger.stop_after_s:
            self.ended_s = self.now_s

    def _step(self, amps: float, step_s: float, regime: Regime) -> None:
        self.cell.take((self.amps + amps) / 2, step_s)
        self.now_s += step_s
        self.amps, self.regime = amps, regime
        self._note()

    def _jump(self, amps: float, regime: Regime) -> None:
        self.amps, self.regime, self.young_s = amps, regime, self.now_s
        self._note()

    def _note(self) -> None:
        cell_V = self.cell.rest_V() + self.amps * self.cell.model.ohm_at(self.cell.soc, self.now_s)
        at_V = cell_V + self.amps * self.ohm
        self.points.append((self.now_s, self.amps, cell_V, at_V, int(self.regime)))
