"""What the section takes from the review file, and what can be known to be at fault before it runs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from reviewkit import logs
from reviewkit.errors import InputError, LogError, ReviewFileError, gathered
from reviewkit.logs import Log, column_errors
from reviewkit.logs.log import range_check, too_few
from reviewkit.metrology import formatting, units
from reviewkit.metrology import meter as instrument
from reviewkit.metrology.conformity import Limit
from reviewkit.metrology.meter import Meter
from reviewkit.schema import instruments, quantities
from reviewkit.schema.blocks import MEANT, Ammeter, Cell, LogEntry
from reviewkit.schema.quantities import Ampere, Block, Percent, Second, Volt
from reviewkit.tables import keys


def slug(name: str) -> str:
    """Return a state's name as findings' keys spell it: "locked out" → "locked_out"."""
    return keys.key(name)


class DrainState(Block):
    """One state of the device: a log of its drain, or a single reading.

    Parameters
    ----------
    log : path or block
        Drain out of the cell is positive; `sign: -1` turns a log round.
    reading_A : float or text [A]
        A single reading, where there is no log.
    range_full_scale_A : float or text [A]
        The ammeter's range in use.
    windows : {"gapless", "with gaps", ""}
        Whether the meter averages all the time between two rows; empty: not known, taken as gapless.
    aperture_s : float or text [s]
        How long the meter looks for each row.
    limit_A, limit_source
        The most that the mean may be, and who says so.
    """

    name: str = Field(min_length=1)
    log: LogEntry | None = None
    reading_A: Ampere | None = None
    range_full_scale_A: Ampere | None = Field(default=None, gt=0)
    windows: Literal["", "gapless", "with gaps"] = ""
    aperture_s: Second | None = Field(default=None, gt=0)
    limit_A: Ampere | None = Field(default=None, gt=0)
    limit_source: str = ""

    @model_validator(mode="after")
    def _one_of_both(self) -> DrainState:
        if (self.log is None) == (self.reading_A is None):
            raise ValueError(f"the state '{self.name}' needs either 'log' or 'reading_A'")
        if self.windows == "gapless" and self.aperture_s is not None:
            raise ValueError(f"the state '{self.name}' has 'aperture_s' and gapless windows: give one")
        if self.log is not None:
            self.log.stands_under("log")
        return self

    @property
    def slug(self) -> str:
        """The name as findings' keys spell it."""
        return slug(self.name)

    @property
    def looks_for_s(self) -> float | None:
        """How long the meter looks for each row [s]; infinite: without gaps; None: not known."""
        if self.aperture_s is not None:
            return self.aperture_s
        return {"": None, "gapless": math.inf, "with gaps": 0.0}[self.windows]


class DrainInputs(Block):
    """The parameters of the section, checked."""

    device: dict[str, Any] = Field(default_factory=dict)
    claims: tuple[dict[str, Any], ...] = ()
    cell: Cell = Cell()
    ammeter: Ammeter | None = None
    drain_ammeter: Ammeter | None = None
    drain_states: tuple[DrainState, ...] = ()
    headings: dict[str, str] = Field(default_factory=dict)
    drain_level_percent: Percent = Field(default=50.0, ge=0, lt=100)
    drain_burden_limit_V: Volt = Field(default=0.05, gt=0)
    drain_self_discharge_percent: tuple[Percent, Percent] = (1.0, 3.0)

    @field_validator("ammeter", "drain_ammeter", mode="before")
    @classmethod
    def _empty_is_none(cls, value: Any) -> Any:
        return value or None

    @model_validator(mode="after")
    def _makes_sense(self) -> DrainInputs:
        for _, name, other, key in keys.doubles(state.name for state in self.drain_states):
            raise ValueError(f"{keys.same(other, name, 'states', key)}; each needs a name of its own")
        if self.drain_states and self.meter_block is None:
            raise ValueError("drain_states need the meter they were read with: 'drain_ammeter' or 'ammeter'")
        low, high = self.drain_self_discharge_percent
        if not 0 < low <= high:
            raise ValueError("drain_self_discharge_percent: two percentages a month, such as [1, 3]")
        return self

    @property
    def meter_block(self) -> Ammeter | None:
        """The meter that the drain was read with."""
        return self.drain_ammeter or self.ammeter

    def meter(self, state: DrainState) -> Meter:
        """Return the range that a state was read on.

        Raises
        ------
        ReviewFileError
            If the meter has no such range.
        """
        assert self.meter_block is not None
        try:
            return self.meter_block.meter(state.range_full_scale_A)
        except ValueError as fault:
            place = f"drain_states, '{state.name}', range_full_scale_A"
            raise ReviewFileError(str(fault), file="review.yaml", place=place) from None

    @property
    def ranges(self) -> tuple[Meter, ...]:
        """The meter's ranges that have a full scale, finest first."""
        block = self.meter_block
        if block is None:
            return ()
        scales = [block.full_scale, *(one.full_scale for one in block.ranges)]
        known = {units.to_unit(scale, "A") for scale in scales if scale is not None}
        spec = block.spec()
        if block.ranges:
            known = {units.to_unit(one.full_scale, "A") for one in block.ranges if one.full_scale is not None}
        return tuple(instrument.meter(spec, "A", scale) for scale in sorted(known))

    def limit(self, state: DrainState) -> Limit | None:
        """Return what a state's mean is judged against: its own limit, else the maker's claim."""
        if state.limit_A is not None:
            return Limit(high=state.limit_A, source=state.limit_source or "as declared in the review file")
        return self.claim(f"drain.{state.slug}.mean", "A")

    def claim(self, key: str, unit: str) -> Limit | None:
        """Return the maker's claim about a finding, if there is one."""
        for claim in self.claims:
            if claim.get("about") == key:
                low, high = (
                    None if claim.get(word) is None else units.to_unit(claim[word], unit)
                    for word in ("at_least", "at_most")
                )
                return Limit(low, high, str(claim.get("source") or "the maker's claim"))
        return None


def inputs(names: Mapping[str, Any] | None = None, /, **values: Any) -> DrainInputs:
    """Return the parameters of the section, checked.

    Parameters
    ----------
    names : mapping, optional
        Whatever names there are, as `globals()` in a notebook gives them: the section's own are taken.
    **values
        The section's names one by one, as the review file holds them.

    Raises
    ------
    Faults
        One error per parameter at fault.

    Examples
    --------
    >>> bench = inputs(cell={"rated_capacity_Ah": 3.0}, drain_level_percent="40 %")
    >>> bench.drain_level_percent
    40.0
    """
    given = quantities.own(names, DrainInputs) | values
    return quantities.checked(DrainInputs, instruments.expanded(given))


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

    Examples
    --------
    >>> check(drained.bench, empty)
    []
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
