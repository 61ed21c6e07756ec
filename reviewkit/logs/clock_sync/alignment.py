"""How one log's clock is put on another's: as found from steps, as declared, or by the clocks' own times."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from reviewkit.errors import LogError
from reviewkit.logs import Log
from reviewkit.metrology import Component, Measured


@dataclass(frozen=True)
class Alternative:
    """One of the ways in which the logs fit each other.

    Parameters
    ----------
    shift_s : float [s]
        Add to the current log's index.
    half_s : float [s]
        Half of the 95 % interval around it.
    rate : float
        Relative difference of the clocks' rates that goes with it; 0 where none shows.
    worse : float
        Twice the log-likelihood by which it fits worse than the best.
    """

    shift_s: float
    half_s: float
    rate: float = 0.0
    worse: float = 0.0


@dataclass(frozen=True)
class Alignment:
    """How the current log's clock is put on the voltage log's.

    Parameters
    ----------
    offset : Measured [s]
        Add to what the current meter's clock showed to get what the voltage meter's showed, at
        `at_s`. Where both logs have dates or times of day these are the clocks, else seconds
        counted by the logs. Its interval covers all `alternatives`.
    shift_s : float [s]
        The same between the logs' indices (`time_s`): add to the current log's.
    rate : Measured or None [1]
        Relative difference of the clocks' rates, where the log is long enough to show one: add
        ``rate · (time − at_s)`` as well.
    at_s : float [s]
        Time, on the current log's index, at which `offset` holds.
    how : {"steps", "declared", "stamps"}
    note : str
        For the reader.
    alternatives : tuple of Alternative
        Every way in which the steps fit that the logs do not rule out, the best first; one where there is no
        doubt, none where no step tells.
    """

    offset: Measured
    shift_s: float
    rate: Measured | None
    at_s: float
    steps_used: int
    how: Literal["steps", "declared", "stamps"]
    note: str
    alternatives: tuple[Alternative, ...] = ()

    @property
    def shift(self) -> Measured:
        """What to add to the current log's index to get the voltage log's, at `at_s` [s]."""
        return Measured(self.shift_s, "s", self.offset.components)

    @property
    def ambiguous(self) -> bool:
        """Whether the steps fit in more than one way."""
        return len(self.alternatives) > 1

    def on_voltage_clock(self, time_s: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return times of the current log as times of the voltage log, both as their index has them.

        Parameters
        ----------
        time_s : array of float [s]
        """
        own = np.asarray(time_s, dtype=float)
        if self.rate is None:
            return np.asarray(own + self.shift_s)
        return np.asarray(own + self.shift_s + self.rate.value * (own - self.at_s))


SET_BY_HAND_S = 120.0
"""Two clocks that nobody compared agree within this: common practice, no source."""

DECLARED_S = 2.0
"""An offset read off two displays is good to this: common practice, no source."""
DAY_S = 86_400.0


def clock_difference(voltage: Log, current: Log) -> float | None:
    """Return what to add to a shift between indices to get the offset between clocks [s].

    None where the logs don't both have dates or times of day.
    """
    first, second = voltage.started, current.started
    if first is not None and second is not None and (first.tzinfo is None) == (second.tzinfo is None):
        return (first - second).total_seconds()
    if voltage.time_of_day_s is None or current.time_of_day_s is None:
        return None
    apart = voltage.time_of_day_s - current.time_of_day_s
    return (apart + DAY_S / 2) % DAY_S - DAY_S / 2


def without_steps(
    voltage: Log, current: Log, declared_offset_s: float | None, base_s: float | None
) -> Alignment:
    """Return the alignment by a declared offset, else by the clocks' own times; without both `LogError`."""
    why = "The logs share no step that shows in both"
    if declared_offset_s is not None:
        part = Component("clock offset as declared", DECLARED_S, "s", "rectangular")
        return _assumed(
            declared_offset_s,
            (part, *_lags(voltage, current)),
            base_s,
            "declared",
            f"{why}: declared offset used.",
        )
    if base_s is None:
        raise LogError(
            "it shares no step with the voltage log, and the two have no time of day in common",
            file=current.path,
            expected="a charge that starts or stops within both logs",
            remedy="State 'clock_offset_s' in the review file: what to add to the current log's seconds.",
        )
    part = Component("clocks never compared", SET_BY_HAND_S, "s", "rectangular")
    note = f"{why}: the clocks' own times used, taken to agree within {SET_BY_HAND_S:.0f} s."
    return _assumed(0.0, (part, *_lags(voltage, current)), base_s, "stamps", note)


def _lags(voltage: Log, current: Log) -> tuple[Component, ...]:
    return tuple(
        Component(f"{name} log: time stamps cut off", log.report.stamp_lag_s, "s", "rectangular")
        for name, log in (("voltage", voltage), ("current", current))
        if log.report.stamp_lag_s
    )


def _assumed(
    offset_s: float,
    parts: tuple[Component, ...],
    base_s: float | None,
    how: Literal["declared", "stamps"],
    note: str,
) -> Alignment:
    return Alignment(Measured(offset_s, "s", parts), offset_s - (base_s or 0.0), None, 0.0, 0, how, note)
