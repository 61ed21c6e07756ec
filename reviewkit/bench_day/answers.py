"""What an entry tells at once: the readout so far, the trials so far, what to read and to try next."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from reviewkit import charge, drain, logs, readout, ui_states
from reviewkit.errors import InputError
from reviewkit.findings import sentences
from reviewkit.metrology import formatting
from reviewkit.readout.fit import Fit
from reviewkit.tables import csv_table
from reviewkit.ui_states.analysis import Assessment
from reviewkit.ui_states.inputs import UiInputs

_STILL_S = 120.0
"""A log to which nothing was written for so long is not growing (chosen: rows come each minute)."""


def say(name: str, /, **values: Any) -> str:
    """Return a sentence, as ``templates/words/bench_day.j2`` words it."""
    return sentences.of("bench_day")(name, **values)


def of_readings(values: Mapping[str, Any], folder: Path) -> tuple[str, ...]:
    """Return where the displayed value changes, as far as the readings tell, and the cell to prepare next.

    Parameters
    ----------
    values : mapping
        Of the review file.
    folder : Path
        The review folder.
    """
    bench = readout.inputs(values)
    try:
        result = readout.analyse(bench, folder)
    except InputError as fault:
        count = len(csv_table.rows(bench.readout_table, folder=folder)[1])
        return (say("first_reading"),) if count == 1 else (say("readings_at_fault", fault=fault.message),)
    fitted = result.fit
    if fitted is None:
        return (say("marks", changes=len(result.thresholds)),)
    if not fitted.consistent:
        return (say("contradictory", count=len(fitted.readings)),)
    return (
        say(
            "switching_place",
            low=float(fitted.transition.low),
            high=float(fitted.transition.high),
            count=len(fitted.readings),
            doubtful=list(fitted.doubted),
        ),
        prepare_next(fitted, bench.readout_wanted_width_V),
    )


def prepare_next(fitted: Fit, wanted_V: float) -> str:
    """Return the cell to prepare next, and how many readings are still wanted for a width [V]."""
    return say(
        "prepare_next",
        at=fitted.information.next_V,
        more=fitted.readings_to(wanted_V),
        wanted=wanted_V,
        least=fitted.least_width_V,
    )


def assessed(bench: UiInputs, folder: Path) -> Assessment | None:
    """Return what the trials so far tell; None where there are none, or something is at fault in them."""
    try:
        result = ui_states.analyse(bench, folder=folder)
    except InputError:
        return None
    return result if isinstance(result, Assessment) else None


def of_trials(values: Mapping[str, Any], folder: Path, before: Assessment | None) -> tuple[str, ...]:
    """Return what a trial opened, ruled out or proved, how much is tried, and what to try next.

    Parameters
    ----------
    values : mapping
        Of the review file.
    folder : Path
        The review folder.
    before : Assessment or None
        Of the trials without it.
    """
    try:
        result = ui_states.analyse(ui_states.inputs(values), folder=folder)
    except InputError as fault:
        return (say("trials_at_fault", fault=fault.message),)
    if not isinstance(result, Assessment):
        return ()
    known = {(item.leave_in, item.hazard) for item in before.hazards} if before else set()
    found = {(item.leave_in, item.hazard): item for item in result.hazards}
    opened = [item for key, item in found.items() if key not in known]
    closed = sorted(known - set(found))
    proved = set(result.shown_safe) - set(before.shown_safe if before else ())
    told = [say("opened", hazard=item, steps=item.steps) for item in opened]
    told += [say("closed", left=left, hazard=hazard) for left, hazard in closed]
    told += [say("shown_safe", names=sorted(proved))] if proved else []
    pairs = result.coverage
    told.append(say("coverage", tested=pairs.tested, total=len(pairs.pairs)))
    told += [say("try_next", trial=result.next_trials[0])] if result.next_trials else []
    return tuple(told)


def of_drain(values: Mapping[str, Any], name: str, amps: float) -> tuple[str, ...]:
    """Return a single reading with what the meter leaves open, and what that means for the cell."""
    bench = drain.inputs(values)
    state = next(one for one in bench.drain_states if one.name == name)
    meter = bench.meter(state)
    text = formatting.quantity(amps, meter.half_width(amps), "A")
    capacity = bench.cell.rated_capacity_Ah
    days = capacity / amps / 24 if capacity and amps else None
    return (say("drain", name=name, reading=text, days=days),)


def log_time(values: Mapping[str, Any], folder: Path, at: datetime, *, run: int = 1) -> float:
    """Return what the voltage log's own clock shows at a moment [s].

    Parameters
    ----------
    values : mapping
        Of the review file.
    folder : Path
        The review folder.
    at : datetime
        A moment on this machine's clock.
    run : int
        Which charge, from 1.

    Raises
    ------
    InputError
        If the log isn't growing at that moment and has no dates: nothing relates the clocks.
    """
    runs = charge.inputs(values).charge_runs
    if not 1 <= run <= len(runs):
        raise InputError(f"there is no charge {run}", file="review.yaml", place="charge_runs")
    entry = runs[run - 1].voltage
    log = logs.read(entry, "V", folder=folder)
    written = datetime.fromtimestamp((folder / entry.path).stat().st_mtime).astimezone()
    since = (at - written).total_seconds()
    if -_STILL_S < since < _STILL_S:
        return float(log.time_s[-1]) + since
    if log.started is not None:
        return (at.astimezone().replace(tzinfo=None) - log.started.replace(tzinfo=None)).total_seconds()
    raise InputError(
        "this log has no dates, and nothing was written to it just then",
        file=entry.path,
        remedy="Give the moment in seconds, on the log's own clock.",
    )
