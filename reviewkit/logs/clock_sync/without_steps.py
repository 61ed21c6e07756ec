"""Two clocks where no step tells: by what is declared, or by the clocks' own times."""

from __future__ import annotations

from typing import Literal

from reviewkit.errors import LogError
from reviewkit.logs import Log
from reviewkit.logs.clock_sync.alignment import Alignment
from reviewkit.metrology import Component, Measured

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
    """Return the alignment by a declared offset, else by the clocks' own times.

    Raises
    ------
    LogError
        If there is neither.
    """
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
