"""What findings of one review imply about each other: two that contradict each other can't both be true."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

Found = Mapping[str, Mapping[str, Any]]
"""Findings as `findings.json` holds them, by the last part of their key."""


def value(found: Found, name: str) -> Any:
    """Return a finding's value, None where it could not be had."""
    return found.get(name, {}).get("value")


def bound(found: Found, name: str, side: str) -> float | None:
    """Return an end of a finding's interval, else its value."""
    item = found.get(name, {})
    end = item.get(side)
    if end is None:
        end = item.get("value")
    return None if end is None or isinstance(end, bool | str) else float(end)


def given(found: Found, name: str) -> bool:
    """Whether a finding has a value."""
    return value(found, name) is not None


def not_above(found: Found, lower: str, upper: str) -> bool:
    """Whether the first may be at most the second, by their intervals."""
    low, high = bound(found, lower, "low"), bound(found, upper, "high")
    return low is None or high is None or low <= high + 1e-9 + 1e-6 * abs(high)


def _ended(found: Found, *names: str) -> bool:
    """A log in which the charge did not end has no figures of an end."""
    return value(found, "terminates") is True or not any(given(found, name) for name in names)


def _knee(found: Found, *names: str) -> bool:
    """Figures of the constant voltage need a knee, if only bounds of it."""
    knee = given(found, "knee_time") or bound(found, "knee_time", "high") is not None
    return knee or not any(given(found, name) for name in names)


def _says(found: Found, name: str, *words: str) -> bool:
    """Whether a finding that is missing says one of these."""
    note = str(found.get(name, {}).get("note", "")).lower()
    return not given(found, name) and any(word in note for word in words)


def _parts(found: Found) -> bool:
    """The share before the knee is one of the whole."""
    low, high = bound(found, "delivered_before_knee", "low"), bound(found, "delivered_before_knee", "high")
    return low is None or high is None or (low <= 100.0 + 1e-6 and high >= -1e-6)


IMPLICATIONS: dict[str, Callable[[Found], bool]] = {
    "without an end there is no termination time or current": lambda found: _ended(
        found, "termination_time", "termination_current"
    ),
    "without an end there is no current after it": lambda found: _ended(found, "current_after"),
    "without an end there is no time to 80 % of the whole": lambda found: _ended(found, "time_to_80"),
    "without an end there are no top-ups": lambda found: _ended(found, "top_ups"),
    "an end has a time": lambda found: (
        value(found, "terminates") is not True
        or given(found, "termination_time")
        or bound(found, "termination_time", "high") is not None
    ),
    "ended by the device: the charge ends": lambda found: (
        value(found, "ended_by") != "device" or value(found, "terminates") is True
    ),
    "ended by the source: the charge ends": lambda found: (
        value(found, "ended_by") != "source" or value(found, "terminates") is not False
    ),
    "a hold voltage has a knee": lambda found: _knee(found, "hold_voltage"),
    "a set voltage and a series resistance have a knee": lambda found: _knee(
        found, "set_voltage", "series_resistance"
    ),
    "a knee voltage has a knee": lambda found: _knee(found, "knee_voltage"),
    "a share before the knee has a knee": lambda found: _knee(found, "delivered_before_knee"),
    "held: nothing says that there was no constant voltage": lambda found: (
        not given(found, "hold_voltage")
        or not any(_says(found, name, "no constant-voltage") for name in ("knee_time", "knee_voltage"))
    ),
    "the knee comes before the end": lambda found: not_above(found, "knee_time", "termination_time"),
    "the precharge ends before the knee": lambda found: not_above(found, "precharge_end", "knee_time"),
    "80 % comes before the end": lambda found: not_above(found, "time_to_80", "termination_time"),
    "precharge current and precharge end come together": lambda found: (
        given(found, "precharge_current") == given(found, "precharge_end")
        or bound(found, "precharge_end", "high") is not None
    ),
    "a precharge is below the plateau": lambda found: not_above(
        found, "precharge_current", "plateau_current"
    ),
    "the end is below the plateau": lambda found: not_above(found, "termination_current", "plateau_current"),
    "a droop has a plateau": lambda found: (
        given(found, "plateau_current") or not given(found, "plateau_droop")
    ),
    "the peak is not below the hold": lambda found: not_above(found, "hold_voltage", "peak_voltage"),
    "the hold is not above the set voltage": lambda found: not_above(found, "hold_voltage", "set_voltage"),
    "the cell is not above the set voltage at the knee": lambda found: not_above(
        found, "knee_voltage", "set_voltage"
    ),
    "the settled voltage is not above the peak": lambda found: not_above(
        found, "settled_voltage_10min", "peak_voltage"
    ),
    "the device's resistance is a part of the whole": lambda found: not_above(
        found, "device_resistance", "series_resistance"
    ),
    "a share is between 0 and 100 %": _parts,
    "charge and energy come together": lambda found: (
        given(found, "delivered") or not given(found, "delivered_energy")
    ),
    "energy over charge is a voltage that the cell had": lambda found: _mean_voltage(found),
    "a charge that never ends has not been topped up": lambda found: (
        value(found, "terminates") is not False or not value(found, "top_ups")
    ),
    "no current flows: nothing was delivered": lambda found: (
        not _says(found, "terminates", "no charge current flows") or not given(found, "delivered")
    ),
    "it never ends, and nothing says that the log ended first": lambda found: (
        value(found, "terminates") is not False or not _says(found, "termination_time", "when the log ended")
    ),
    "without the rig it takes no longer": lambda found: (
        _stops_high(found) or not_above(found, "time_without_rig", "termination_time")
    ),
}
"""Each with what it says; it returns whether the findings respect it."""


def _stops_high(found: Found) -> bool:
    """A charge that stops soon after its knee stops sooner with a rig, with less charge in the cell."""
    stop, level = value(found, "termination_current"), value(found, "plateau_current")
    fallen = min(value(found, "plateau_droop") or 0.0, 0.0) / 100
    return bool(stop and level and stop > 0.3 * level * (1 + fallen))


def _mean_voltage(found: Found) -> bool:
    charge, energy = value(found, "delivered"), value(found, "delivered_energy")
    peak, start = bound(found, "peak_voltage", "high"), value(found, "start_voltage")
    if not charge or not energy or peak is None or start is None:
        return True
    return bool(0.98 * min(start, peak) <= energy / charge <= 1.02 * peak)


def broken(found: Found) -> list[str]:
    """Return the implications that a review's findings break."""
    return [name for name, holds in IMPLICATIONS.items() if not holds(found)]
