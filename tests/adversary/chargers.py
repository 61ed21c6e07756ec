"""Chargers: what each wants at a moment, whatever its habit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum


class Regime(IntEnum):
    """What the charger is doing."""

    BEFORE = 0
    PRECHARGE = 1
    SOFT_START = 2
    CURRENT = 3
    VOLTAGE = 4
    PULSE_OFF = 5
    CUT = 6
    HICCUP = 7
    DONE = 8
    TOP_UP = 9
    PULLED = 10


@dataclass(frozen=True)
class Pulse:
    """On and off in turn; `at` says at which limit: "current", "voltage" or "both"."""

    on_s: float
    off_s: float
    at: str


@dataclass(frozen=True)
class Charger:
    """One charger with its habits; times count from the cable going in.

    Parameters
    ----------
    set_V, plateau_A, device_ohm : float
    stop_A : float or None [A]
        None: it never ends by itself.
    stop_after_s : float [s]
        The current must stay below `stop_A` for so long.
    idle_A, out_A : float [A]
        Into the cell after the end with the cable in (negative: drawn), and with the cable out.
    precharge : (below V, A) or None
    soft_s : float [s]
        The current rises along a ramp for so long.
    folds : tuple of (from s, share of the plateau)
    slope : (from V, share left at the set voltage) or None
        Folds back along a line as the regulation point rises.
    droop : (share lost in the end, time constant in s) or None
    pulse : Pulse or None
    timer_s : float or None [s]
    hiccups, cuts : tuple of (from s, length s)
        Stops of its own, and of the mains.
    top_ups_after_s : tuple of float [s]
        It begins again so long after each end.
    """

    set_V: float
    plateau_A: float
    device_ohm: float
    stop_A: float | None
    stop_after_s: float = 2.0
    idle_A: float = 0.0
    out_A: float = 0.0
    precharge: tuple[float, float] | None = None
    soft_s: float = 0.0
    folds: tuple[tuple[float, float], ...] = ()
    slope: tuple[float, float] | None = None
    droop: tuple[float, float] | None = None
    pulse: Pulse | None = None
    timer_s: float | None = None
    hiccups: tuple[tuple[float, float], ...] = ()
    cuts: tuple[tuple[float, float], ...] = ()
    top_ups_after_s: tuple[float, ...] = ()

    def limit_A(self, since_s: float, ramp_s: float, regulation_V: float) -> float:
        """Return the current limit, `ramp_s` after the last start of the full current."""
        amps = self.plateau_A
        for from_s, share in self.folds:
            if since_s >= from_s:
                amps = self.plateau_A * share
        if self.slope:
            from_V, left = self.slope
            along = min(max((regulation_V - from_V) / (self.set_V - from_V), 0.0), 1.0)
            amps *= 1.0 - (1.0 - left) * along
        if self.droop:
            lost, tau = self.droop
            amps *= 1.0 - lost * (1.0 - math.exp(-since_s / tau))
        if self.soft_s and ramp_s < self.soft_s:
            amps *= 0.1 + 0.9 * max(ramp_s, 0.0) / self.soft_s
        return amps

    def edges_s(self) -> list[float]:
        """Return every moment that is fixed beforehand."""
        edges = [from_s for from_s, _ in self.folds]
        for from_s, length_s in (*self.hiccups, *self.cuts):
            edges += [from_s, from_s + length_s]
        return sorted([*edges, *([self.timer_s] if self.timer_s else [])])

    def stopped(self, since_s: float) -> Regime | None:
        """Return which stop holds at a moment, if any."""
        for regime, spans in ((Regime.CUT, self.cuts), (Regime.HICCUP, self.hiccups)):
            if any(from_s <= since_s < from_s + length_s for from_s, length_s in spans):
                return regime
        return None
