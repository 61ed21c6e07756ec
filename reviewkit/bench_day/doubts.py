"""What is typed at the bench, checked at once: against what can be, and against what was typed before."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from reviewkit import drain, readout
from reviewkit.errors import InputError, ReviewFileError
from reviewkit.metrology import units
from reviewkit.readout import table as readings
from reviewkit.readout.model import ReadoutInputs, exact
from reviewkit.review import review_file
from reviewkit.tables import csv_table, headers
from reviewkit.ui_states import model
from reviewkit.ui_states.inputs import IMPOSSIBLE, Row, UiInputs

SURE = "If that is what was seen, say that you are sure of it."
_LONGEST_CHARGE_S = 14 * 86400.0
"""No charge of a lamp is logged for longer (chosen: a slip of the hand in seconds is a digit too many)."""
_FAR_STEPS = 2
"""A displayed value this many steps away from where the readings so far put it is asked back (chosen: a step
is noise or hysteresis at a switching point, two are a misreading or a fault of the device)."""


def quantity(text: str, unit: str, what: str, *, unit_needed: bool = False) -> float:
    """Return a typed quantity in a unit of SI.

    Raises
    ------
    InputError
        If it is none.

    Examples
    --------
    >>> quantity("3,912", "V", "the reference"), quantity("3912 mV", "V", "the reference")
    (3.912, 3.912)
    """
    try:
        value = csv_table.number(text)
        if unit_needed:
            raise InputError(f"{what}, '{text}', has no unit", expected=f"such as 68 u{unit} or 0.1 m{unit}")
        return value
    except ValueError:
        pass
    try:
        return round(units.to_unit(text.strip().replace(",", "."), unit), 12)
    except ValueError:
        raise InputError(
            f"{what}, '{text}', can't be read", expected="such as 3.912 V" if unit == "V" else "such as 68 uA"
        ) from None


def in_unit_of(heading: str, value: float) -> float:
    """Return a quantity in the unit that a column's heading names; as it is where it names none."""
    written = headers.split_unit(heading)[1]
    for base in ("V", "A") if written else ():
        try:
            return value / units.factor(written, base)
        except ValueError:
            continue
    return value


def of_reading(volts: float, shown: str, bench: ReadoutInputs, folder: Path, *, sure: bool) -> None:
    """Refuse a reading that can't be, or that those before it speak against.

    Raises
    ------
    InputError
        What is wrong with it.
    """
    file = bench.readout_table or "readout.csv"
    if not readings.LOWEST_V <= volts <= readings.HIGHEST_V:
        raise InputError(
            f"the reference of {volts:g} V is no voltage of a lithium-ion cell",
            file=file,
            expected="0.5 V to 6 V",
            remedy="Type it in volts, or with its unit: 3912 mV.",
        )
    value = None if bench.readout_shows == "marks" else readings.volts(shown)
    step = bench.readout_resolution_V
    if value is not None and step is not None and value % exact(step) != 0:
        raise InputError(
            f"the shown value {shown} is no multiple of the readout's resolution, {step:g} V",
            file=file,
            remedy="Correct it, or readout_resolution_V in review.yaml.",
        )
    if sure:
        return
    limit = bench.cell.limit_V + 2 * bench.cell.charge_limit_tolerance_V
    if volts > limit:
        raise InputError(f"{volts:g} V lies above what this cell may have, {limit:g} V", remedy=SURE)
    expected = _displayed(volts, bench, folder)
    if value is not None and expected is not None:
        low, high, width = expected
        far = _FAR_STEPS * width
        if not low - far < float(value) < high + far:
            usual = f"the readings so far would have it show {low:.4g} V to {high:.4g} V"
            raise InputError(f"{shown} at {volts:g} V: {usual}", remedy=SURE)


def _displayed(volts: float, bench: ReadoutInputs, folder: Path) -> tuple[float, float, float] | None:
    """Return between which values the readings so far would have the device show this, and its step [V]."""
    try:
        result = readout.analyse(bench, folder)
    except InputError:
        return None
    if result.fit is None or not result.fit.consistent or not result.fit.readings:
        return None
    step = float(result.fit.model.step_V)
    below = [one for one in result.fit.readings if float(one.reference_V) <= volts]
    above = [one for one in result.fit.readings if float(one.reference_V) >= volts]
    low = max((float(one.displayed_V) for one in below), default=volts - step)
    high = min((float(one.displayed_V) for one in above), default=volts + step)
    return min(low, high), max(low, high), step


def of_trial(
    state: str,
    event: str,
    to: str,
    times: int,
    bench: UiInputs,
    rows: Sequence[Row],
    *,
    sure: bool,
) -> tuple[str, str, str]:
    """Return state, event and outcome as the review spells them; refuse what can't be.

    Raises
    ------
    InputError
        What is wrong.
    """
    if times < 1:
        raise InputError(f"{times} trials", expected="one or more")
    known = list(bench.ui_states)
    impossible = to.strip().casefold() in IMPOSSIBLE
    state = _named(state, known, "state")
    to = "n/a" if impossible else _named(to, known, "state")
    event = _event(event, bench, rows)
    pair = [row for row in rows if (row.state, row.event) == (state, event)]
    if pair and impossible != pair[0].impossible:
        told = "can't occur" if pair[0].impossible else f"was seen to lead to {pair[0].next}"
        raise InputError(
            f"the table says that {event} in {state} {told}", remedy="Correct the table by hand first."
        )
    others = [row.next for row in pair if row.next != to]
    if others and not sure and to not in [row.next for row in pair]:
        led = f"{event} in {state} led to {others[0]} before, now to {to}"
        raise InputError(f"{led}: the device does not always do the same", remedy=SURE)
    return state, event, to


def _named(name: str, known: Iterable[str], what: str) -> str:
    """Return a name as it is spelled, whatever its case."""
    listed = list(known)
    found = next((one for one in listed if one.casefold() == name.strip().casefold()), None)
    if found is not None:
        return found
    near = difflib.get_close_matches(name.strip(), listed, n=1, cutoff=0.6)
    hint = f"Did you mean '{near[0]}'? " if near else ""
    raise InputError(
        f"unknown {what} '{name}'",
        file=review_file.FILE,
        expected=f"one of {', '.join(listed[:12])}" if listed else "states under ui_states",
        remedy=f"{hint}Correct the name, or add it to 'ui_{what}s'.",
    )


def _event(name: str, bench: UiInputs, rows: Sequence[Row]) -> str:
    """Return an event as the table spells it; a new one if its name tells who causes it."""
    used = list(dict.fromkeys([*(row.event for row in rows), *bench.ui_events]))
    found = next((one for one in used if model.plain(one) == model.plain(name)), None)
    if found is not None:
        return found
    declared = {one: (block.kind, block.means) for one, block in bench.ui_events.items()}
    if model.event(name.strip(), declared) is not None:
        return name.strip()
    near = difflib.get_close_matches(name.strip(), used, n=1, cutoff=0.6)
    hint = f"Did you mean '{near[0]}'? " if near else ""
    raise InputError(
        f"event '{name}' is of unknown kind",
        file=review_file.FILE,
        place="ui_events",
        remedy=f"{hint}Add '{name}: hand' there if the user does it, else '{name}: outside'.",
    )


def of_drain(item: Mapping[str, Any], amps: float, held: Mapping[str, Any], listed_at: int | None) -> None:
    """Refuse a drain that can't be, or that would take a log's place.

    Parameters
    ----------
    item : mapping
        The state as it would stand in the review file.
    held : mapping
        The review file's values.
    listed_at : int or None
        Where the state stands there already.

    Raises
    ------
    InputError
        What is wrong.
    """
    listed = list(held.get("drain_states") or [])
    if listed_at is not None and listed[listed_at].get("log"):
        raise ReviewFileError(
            f"the drain of '{item['name']}' comes from a log",
            file=review_file.FILE,
            place=f"drain_states[{listed_at + 1}]",
            remedy="Give the reading another name, or take the log out by hand.",
        )
    if amps < 0:
        raise InputError("a drain is not negative", remedy="Drop the sign if the leads were swapped.")
    if listed_at is None:
        listed.append(dict(item))
    else:
        listed[listed_at] = {**listed[listed_at], **item}
    bench = drain.inputs({**held, "drain_states": listed})
    state = next(one for one in bench.drain_states if one.name == item["name"])
    meter = bench.meter(state)
    if not meter.fits(amps):
        raise InputError(
            f"{item['reading_A']} is beyond the range of {meter.label}",
            remedy="Say on which range it was read: --range '6 mA'.",
        )


def of_cable(moment_s: float, run: int, held: Mapping[str, Any]) -> None:
    """Refuse a moment that no log can hold, or a charge that isn't there.

    Raises
    ------
    InputError
        What is wrong.
    """
    runs = held.get("charge_runs") or []
    if not 1 <= run <= len(runs):
        raise ReviewFileError(
            f"there is no charge {run}",
            file=review_file.FILE,
            place="charge_runs",
            expected=f"1 to {len(runs)}" if runs else "an entry with its two logs",
        )
    if not 0 < moment_s <= _LONGEST_CHARGE_S:
        raise InputError(
            f"{moment_s:g} s is no time of a charge", expected="seconds on the voltage log's own clock"
        )
