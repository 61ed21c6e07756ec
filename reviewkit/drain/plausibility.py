"""What can be known to be at fault before a drain is measured: logs and readings that can't be meant."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from reviewkit import logs
from reviewkit.drain.inputs import DrainInputs, DrainState
from reviewkit.errors import InputError, LogError, ReviewFileError, gathered
from reviewkit.logs import Log, column_errors
from reviewkit.logs.plausibility import range_check, too_few
from reviewkit.metrology import formatting
from reviewkit.metrology.meter import Meter
from reviewkit.schema.blocks import MEANT

_LEAST_ROWS = 3
"""Readings that a log must hold (chosen: fewer are single readings)."""
_FINER = 20
"""A log that steps this many times finer than the display is in another unit, or of another meter."""


def check(bench: DrainInputs, folder: Path) -> list[InputError]:
    """Return everything about the section's inputs that is at fault, without running it.

    Parameters
    ----------
    bench : DrainInputs
    folder : Path
        The review folder.
    """
    faults: list[InputError] = []
    for number, state in enumerate(bench.drain_states, start=1):
        with gathered(faults):
            faults.extend(of_state(bench, state, f"drain_states[{number}]", folder=folder))
    return faults


def of_state(bench: DrainInputs, state: DrainState, place: str, *, folder: Path) -> Iterator[InputError]:
    """Give what is wrong with one state's log or reading.

    Parameters
    ----------
    bench : DrainInputs
    state : DrainState
    place : str
        The state's key.
    folder : Path
        The review folder.

    Raises
    ------
    InputError
        If the meter has no such range, or the log cannot be read.
    """
    meter = bench.meter(state)
    if state.log is None:
        yield from _of_reading(state, meter, place)
        return
    yield from of_log(logs.read(state.log, "A", folder=folder, headings=bench.headings), state, meter)


def of_log(log: Log, state: DrainState, meter: Meter) -> Iterator[LogError]:
    """Give what a state's log shows to be wrong with it.

    Parameters
    ----------
    log : Log
    state : DrainState
    meter : Meter
        The range in use.
    """
    remedy = "Log the state for longer, or give its reading as 'reading_A'."
    yield from too_few(log, _LEAST_ROWS, remedy=remedy)
    yield from range_check(log, meter)
    if state.log is None or not state.log.is_meant:
        yield from _too_fine(log, meter, state)


def _of_reading(state: DrainState, meter: Meter, place: str) -> Iterator[ReviewFileError]:
    reading_A = state.reading_A or 0.0
    if not meter.fits(reading_A):
        yield ReviewFileError(
            f"{formatting.quantity(reading_A, None, 'A')} is beyond the meter’s range",
            file="review.yaml",
            place=f"{place}.reading_A",
            expected=f"at most {formatting.quantity(meter.full_scale or 0.0, None, 'A')}",
            remedy="Correct the reading and its unit, or range_full_scale_A.",
        )


def _too_fine(log: Log, meter: Meter, state: DrainState) -> Iterator[LogError]:
    """Give a fault if the readings step far finer than the meter's display does."""
    if log.resolution is None or log.resolution * _FINER >= meter.resolution:
        return
    step, shown = (formatting.quantity(size, None, "A") for size in (log.resolution, meter.resolution))
    meant = "" if state.log is None else column_errors.write_it(state.log, plausible=MEANT)
    yield LogError(
        f"its readings step by {step}, the meter’s display by {shown}",
        file=log.path,
        expected="readings of the meter and range named in the review file",
        remedy=f"Check the unit in its heading, and the meter's resolution. If both are right, {meant}",
    )
