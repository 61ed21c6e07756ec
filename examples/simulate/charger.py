"""A charger built into a device, and what it does to a cell over a night."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from simulate.cell import Cell, CellState, FloatArray


class Mode(Enum):
    """What the charger is doing during one step."""

    WAITING = 0
    PRECHARGE = 1
    CURRENT = 2
    VOLTAGE = 3
    DONE = 4
    INTERRUPTED = 5
    UNPLUGGED = 6


@dataclass(frozen=True)
class Fold:
    """From a moment on, the charger gives only a share of its plateau current, as when it is warm.

    Parameters
    ----------
    from_s : float [s]
        After the charge began.
    share : float [1]
    """

    from_s: float
    share: float


@dataclass(frozen=True)
class Pause:
    """The source gives no power for a while.

    Parameters
    ----------
    from_s : float [s]
        After the charge began.
    length_s : float [s]
    """

    from_s: float
    length_s: float


@dataclass(frozen=True)
class Pulses:
    """Current switched on and off as long as it is constant.

    Parameters
    ----------
    period_s : float [s]
    duty : float [1]
        Share of the period with current.
    """

    period_s: float
    duty: float


@dataclass(frozen=True)
class Charger:
    """A constant-current/constant-voltage charger.

    Parameters
    ----------
    plateau_A : float [A]
    set_V : float [V]
        At its regulation point.
    stop_A : float or None [A]
        Current at which it ends the charge; None: it never does.
    precharge_A, precharge_below_V : float [A], [V]
        A careful current for as long as the cell has not reached that voltage; 0: no precharge.
    device_ohm : float [ohm]
        Between the regulation point and the device's own terminals.
    idle_A : float [A]
        Drawn from the cell after the charge, with the cable in.
    recharge_below_V : float or None [V]
        Cell voltage at which it tops up again; None: never.
    folds, pauses : tuple
    pulses : Pulses or None
    """

    plateau_A: float = 0.8
    set_V: float = 4.20
    stop_A: float | None = 0.08
    precharge_A: float = 0.0
    precharge_below_V: float = 3.0
    device_ohm: float = 0.05
    idle_A: float = 0.0
    recharge_below_V: float | None = None
    folds: tuple[Fold, ...] = ()
    pauses: tuple[Pause, ...] = ()
    pulses: Pulses | None = None


@dataclass(frozen=True)
class Rig:
    """What the bench itself puts in series with the cell.

    Parameters
    ----------
    burden_ohm, leads_ohm : float [ohm]
    """

    burden_ohm: float = 0.03
    leads_ohm: float = 0.02

    @property
    def series_ohm(self) -> float:
        """Both together [ohm]."""
        return self.burden_ohm + self.leads_ohm


@dataclass(frozen=True)
class Course:
    """A simulated charge, exact, one row per step.

    Parameters
    ----------
    time_s : array, shape (n,) [s]
        Rising, one row at the start of each step.
    current_A : array, shape (n,) [A]
        During the step, positive into the cell.
    cell_V : array, shape (n,) [V]
        At the cell's terminals at the start of the step, with that current.
    regulation_V : array, shape (n,) [V]
        At the charger's regulation point.
    mode : array of int, shape (n,)
        A `Mode` value each.
    main : array of bool, shape (n,)
        Whether the step belongs to the main charge, pauses included.
    top_ups : int
    """

    time_s: FloatArray
    current_A: FloatArray
    cell_V: FloatArray
    regulation_V: FloatArray
    mode: np.ndarray
    main: np.ndarray
    top_ups: int = 0


@dataclass
class _Control:
    """The charger's memory from one step to the next."""

    charger: Charger
    total_ohm: float
    mode: Mode = Mode.WAITING
    top_ups: int = 0
    ended: bool = False
    pulse_s: float = 0.0
    folds: tuple[Fold, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.folds = tuple(sorted(self.charger.folds, key=lambda fold: fold.from_s))

    def current(self, state: CellState, since_s: float, step_s: float) -> float:
        """Return the current of the next step [A] and set the mode that goes with it."""
        if any(one.from_s <= since_s < one.from_s + one.length_s for one in self.charger.pauses):
            self.mode = Mode.INTERRUPTED
            return 0.0
        if self.mode is Mode.DONE:
            low = self.charger.recharge_below_V
            if low is None or state.inner_V > low:
                return -self.charger.idle_A
            self.top_ups += 1
        return self._charging(state, since_s, step_s)

    def _charging(self, state: CellState, since_s: float, step_s: float) -> float:
        limit_A = self._limit(state, since_s)
        held_A = (self.charger.set_V - state.inner_V) / (self.total_ohm + state.series_ohm)
        if held_A >= limit_A:
            return self._pulsed(limit_A, step_s)
        self.mode = Mode.VOLTAGE
        stop_A = self.charger.stop_A
        if stop_A is not None and held_A <= stop_A:
            self.mode, self.ended = Mode.DONE, True
            return -self.charger.idle_A
        return max(held_A, 0.0)

    def _limit(self, state: CellState, since_s: float) -> float:
        """Return the current limit that holds now [A]."""
        if self.charger.precharge_A and self.mode in (Mode.WAITING, Mode.PRECHARGE):
            terminal_V = state.inner_V + state.series_ohm * self.charger.precharge_A
            if terminal_V < self.charger.precharge_below_V:
                self.mode = Mode.PRECHARGE
                return self.charger.precharge_A
        self.mode = Mode.CURRENT
        share = 1.0
        for fold in self.folds:
            share = fold.share if since_s >= fold.from_s else share
        return share * self.charger.plateau_A

    def _pulsed(self, limit_A: float, step_s: float) -> float:
        if self.charger.pulses is None or self.mode is Mode.PRECHARGE:
            return limit_A
        period = self.charger.pulses.period_s
        on = self.pulse_s % period < self.charger.pulses.duty * period
        self.pulse_s += step_s
        return limit_A if on else 0.0


def course_of(
    cell: Cell,
    charger: Charger,
    rig: Rig,
    *,
    charge_state: float,
    before_s: float = 60.0,
    plugged_s: float = 6 * 3600.0,
    after_s: float = 3700.0,
    step_s: float = 1.0,
) -> Course:
    """Return what happens from `before_s` before the charge to `after_s` after the cable is pulled.

    Parameters
    ----------
    cell : Cell
    charger : Charger
    rig : Rig
    charge_state : float
        0 … 1, of the rested cell.
    before_s, plugged_s, after_s : float [s]
        How long the logs run without, with and again without the cable.
    step_s : float [s]

    Returns
    -------
    Course
        Time 0 is the start of the logs.
    """
    state = CellState(cell, charge_state, step_s)
    total_ohm = charger.device_ohm + rig.series_ohm
    control = _Control(charger, total_ohm)
    count = round((before_s + plugged_s + after_s) / step_s)
    current, cell_V = np.zeros(count), np.zeros(count)
    mode, main = np.zeros(count, dtype=np.int8), np.zeros(count, dtype=bool)
    for row in range(count):
        since_s = row * step_s - before_s
        now_A, now = 0.0, Mode.WAITING
        if since_s >= plugged_s:
            now = Mode.UNPLUGGED
        elif since_s >= 0:
            now_A = control.current(state, since_s, step_s)
            now = control.mode
            main[row] = not control.ended
        current[row], mode[row] = now_A, now.value
        cell_V[row] = state.inner_V + state.series_ohm * now_A
        state.step(now_A)
    return Course(
        np.arange(count, dtype=np.float64) * step_s,
        current,
        cell_V,
        cell_V + total_ohm * current,
        mode,
        main,
        control.top_ups,
    )
