"""The section's one call: table read, step found, readings fitted, thresholds of marks bracketed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from reviewkit.readout import model
from reviewkit.readout.fit import Fit, fit_readings
from reviewkit.readout.model import Model, Reading, ReadoutInputs, exact
from reviewkit.readout.table import FINEST_STEP_V, Table, common_step, decimals, read, step_of
from reviewkit.tables import keys


@dataclass(frozen=True)
class Bracket:
    """Between which true voltages a mark changes.

    Parameters
    ----------
    name : str
        The warning, or "1 bar to 2 bars".
    low_V, high_V : float or None [V]
        The threshold lies between them, the reference's error included; None where no reading bounds it.
    overlap_V : float [V]
        How far the voltages with and without the mark overlap, beyond the readings' own scatter:
        hysteresis or noise. 0 for none.
    rows : tuple of int
        The rows that set the two ends.
    shows_below : bool
        Whether the mark shows below the threshold.
    key : str
        The name as findings' keys hold it, where another mark's name would give the same.
    """

    name: str
    low_V: float | None
    high_V: float | None
    overlap_V: float = 0.0
    rows: tuple[int, ...] = ()
    shows_below: bool = True
    key: str = ""

    @property
    def slug(self) -> str:
        """The name as a finding's key holds it."""
        return self.key or keys.key(self.name)


def bracket(
    name: str, reference_V: pd.Series, below: pd.Series, *, noise_V: pd.Series, shared_V: pd.Series
) -> Bracket:
    """Return the bracket of one threshold.

    Parameters
    ----------
    reference_V : pandas.Series [V]
        Index: the row.
    below : pandas.Series of bool, same index
        Whether the device took the voltage for one below the threshold.
    noise_V, shared_V : pandas.Series [V], same index
        Half-widths of each reading's own error, and of the error all readings share.

    Notes
    -----
    The highest voltage taken for below and the lowest taken for above are the two ends. Where the first
    is higher, the threshold wandered between them.
    """
    under, over = reference_V[below], reference_V[~below]
    highest: Any = None if under.empty else under.idxmax()
    lowest: Any = None if over.empty else over.idxmin()
    rows = tuple(int(row) for row in (highest, lowest) if row is not None)
    overlap = 0.0
    bottom, top = highest, lowest
    if highest is not None and lowest is not None and reference_V[highest] > reference_V[lowest]:
        bottom, top = lowest, highest
        apart = float(reference_V[highest] - reference_V[lowest])
        overlap = apart if apart > float(noise_V[highest] + noise_V[lowest]) else 0.0
    reach = noise_V + shared_V
    low = None if bottom is None else float(reference_V[bottom] - reach[bottom])
    high = None if top is None else float(reference_V[top] + reach[top])
    return Bracket(name, low, high, overlap, rows)


def warnings(
    noted: pd.Series, reference_V: pd.Series, *, noise_V: pd.Series, shared_V: pd.Series
) -> tuple[Bracket, ...]:
    """Return one bracket for each warning that was seen.

    Parameters
    ----------
    noted : pandas.Series of str
        What showed beside each reading: "", "half", "half; empty"; "?" where nobody looked.
    reference_V, noise_V, shared_V : pandas.Series [V], same index
    """
    looked = noted[~noted.isin(["?", "n/a", "-", "–"])]
    sets = looked.map(lambda cell: {part.strip() for part in re.split(r"[;+]", cell) if part.strip()})
    names = sorted({name for found in sets for name in found})
    brackets = []
    for name in names:
        shows = sets.map(lambda found, name=name: name in found).astype(bool)
        at = reference_V[shows.index]
        shows_below = bool(shows.all() or at[shows].mean() <= at[~shows].mean())
        one = bracket(name, at, shows if shows_below else ~shows, noise_V=noise_V, shared_V=shared_V)
        brackets.append(replace(one, shows_below=shows_below))
    return _told_apart(brackets)


def _told_apart(brackets: Sequence[Bracket]) -> tuple[Bracket, ...]:
    """Return the brackets, each with a key of its own: "★ to ★★" and "★★ to ★★★" have the same letters."""
    own = keys.distinct(one.name for one in brackets)
    return tuple(replace(one, key=key) for one, key in zip(brackets, own, strict=True))


def thresholds(
    displayed: pd.Series, reference_V: pd.Series, *, noise_V: pd.Series, shared_V: pd.Series
) -> tuple[Bracket, ...]:
    """Return the brackets between neighbouring bars, percentages or other marks, lowest first.

    Parameters
    ----------
    displayed : pandas.Series of str
        The mark beside each reading.
    reference_V, noise_V, shared_V : pandas.Series [V], same index
    """
    order = list(_ordered(displayed, reference_V))
    rank = displayed.map({mark: number for number, mark in enumerate(order)})
    return _told_apart(
        [
            bracket(f"{one} to {two}", reference_V, rank <= number, noise_V=noise_V, shared_V=shared_V)
            for number, (one, two) in enumerate(pairwise(order))
        ]
    )


def _ordered(displayed: pd.Series, reference_V: pd.Series) -> Sequence[str]:
    """Return the marks from empty to full: by their own number, else by the voltages they showed at."""
    marks = {str(mark): float(middle) for mark, middle in reference_V.groupby(displayed).median().items()}
    numbers = {mark: float(found[1]) for mark in marks if (found := re.match(r"\s*(\d+)", mark))}
    return sorted(marks, key=(numbers if len(numbers) == len(marks) else marks).__getitem__)


_ENOUGH_VALUES = 4
"""So many different displayed values, all multiples of a coarser step, call the step in question [1].
Chosen: four in a row on every second step have a chance of one in eight."""


@dataclass(frozen=True)
class CodeTransition:
    """Where one displayed value gives way to the next.

    Parameters
    ----------
    lower_V, upper_V : float [V]
        The two displayed values.
    low_V, high_V : float [V]
        True voltages between which it lies, for a readout with one transition level in every step.
    read_low_V, read_high_V : float or None [V]
        The same from the readings on either side alone, the reference's error included; None where
        one of the two values was never displayed.
    """

    lower_V: float
    upper_V: float
    low_V: float
    high_V: float
    read_low_V: float | None
    read_high_V: float | None


@dataclass(frozen=True)
class Readout:
    """What the bench found out about a device's voltage readout.

    Parameters
    ----------
    table : Table or None
        None where no table was given.
    fit : Fit or None
        None for a readout in marks, or where nothing was read.
    warnings, thresholds : tuple of Bracket
        Warnings beside the readout; changes from one mark to the next.
    step_declared : bool
        Whether the resolution was declared, not inferred.
    finer_step_V : float or None [V]
        The step that the displayed digits would allow, where it is finer than the inferred one.
    fitting_step_V : float or None [V]
        A coarser step that no reading contradicts, where some contradict the one in use.
    common_step_V : float or None [V]
        The coarser step on which every value displayed so far lies, where that is suspicious.
    """

    bench: ReadoutInputs
    table: Table | None
    fit: Fit | None
    warnings: tuple[Bracket, ...] = ()
    thresholds: tuple[Bracket, ...] = ()
    step_declared: bool = True
    finer_step_V: float | None = None
    fitting_step_V: float | None = None
    common_step_V: float | None = None

    @property
    def bound_V(self) -> Fraction:
        """How large the device's own offset is assumed to be at most [V]: as given, else a quarter step."""
        given = self.bench.readout_offset_bound_V
        if given is not None:
            return exact(given)
        assert self.fit is not None
        return self.fit.model.step_V / 4  # common practice for a trimmed converter, no source

    @property
    def possible_rules(self) -> tuple[str, ...]:
        """The rounding rules that need no larger offset than the bound."""
        if self.fit is None or not self.fit.consistent:
            return ()
        return model.possible_rules(self.fit.offsets, self.bound_V)

    @cached_property
    def transitions(self) -> tuple[CodeTransition, ...]:
        """Every code transition between the lowest and the highest displayed value."""
        if self.fit is None or not self.fit.consistent:
            return ()
        used = [reading for reading in self.fit.readings if reading.row not in self.fit.doubted]
        numbers = [int(reading.displayed_V / self.fit.model.step_V) for reading in used]
        return tuple(_transition(self.fit, used, k) for k in range(min(numbers) - 1, max(numbers) + 1))


def analyse(bench: ReadoutInputs, folder: str | Path = "") -> Readout:
    """Return everything that the readings say.

    Parameters
    ----------
    bench : ReadoutInputs
    folder : str or Path
        Where logs and tables lie. Default: the current folder, in a notebook its own.

    Raises
    ------
    InputError
        If the table is at fault.

    Examples
    --------
    >>> result = analyse(read_out.bench, folder=birch)
    >>> result.fit.model.step_V
    Fraction(1, 10)
    """
    table = read(bench, Path(folder).expanduser())
    if table is None:
        return Readout(bench, None, None)
    warned = warnings(table.warning, table.reference_V, noise_V=table.noise_V, shared_V=table.shared_V)
    warned = warned if table.noted_warnings else ()
    if not table.readings:
        changes = thresholds(
            table.displayed, table.reference_V, noise_V=table.noise_V, shared_V=table.shared_V
        )
        return Readout(bench, table, None, warned, changes)
    values = [reading.displayed_V for reading in table.readings]
    declared = bench.readout_resolution_V
    step = step_of(values, bench)
    digits = Fraction(1, 10 ** decimals(values))
    low, high = (exact(end) for end in bench.range_V)
    taken = Model(step, low, high, exact(bench.readout_gain_bound_percent) / 100, table.reference)
    fitted = fit_readings(table.readings, taken)
    fitting, common = _doubts_of_step(fitted)
    return Readout(
        bench,
        table,
        fitted,
        warned,
        step_declared=declared is not None,
        finer_step_V=float(digits) if declared is None and FINEST_STEP_V <= digits < step else None,
        fitting_step_V=fitting,
        common_step_V=common,
    )


def _doubts_of_step(fitted: Fit) -> tuple[float | None, float | None]:
    """Return the coarser steps that fit better, and on which all values lie, against the one in use [V]."""
    values = [reading.displayed_V for reading in fitted.readings]
    step = fitted.model.step_V
    largest = common_step(values) or step
    times = int(largest / step)
    coarser = [largest / part for part in range(times - 1, 0, -1) if times % part == 0]
    fitting = None
    if fitted.contradictory:
        fitting = next((one for one in coarser if _fits(fitted, one)), None)
    suspicious = bool(coarser) and fitting is None and len(set(values)) >= _ENOUGH_VALUES
    return None if fitting is None else float(fitting), float(largest) if suspicious else None


def _fits(fitted: Fit, step_V: Fraction) -> bool:
    own = fitted.model
    coarser = Model(step_V, own.low_V, own.high_V, own.gain_bound, own.reference)
    return not fit_readings(fitted.readings, coarser).contradictory


def _transition(fitted: Fit, used: Sequence[Reading], number: int) -> CodeTransition:
    step, middle = float(fitted.model.step_V), float(fitted.model.middle_V)
    state = fitted.posterior
    likely = state.interval(middle + (number * step + state.level_V - middle) / state.gain)
    ends = [likely, *(region.transition_voltage(number) for region in fitted.regions)]
    below, above = (
        [reading for reading in used if reading.displayed_V == value * fitted.model.step_V]
        for value in (number, number + 1)
    )
    both = bool(below) and bool(above)
    reach = {one.row: one.noise_V + fitted.model.reference.half_width(one.reference_V) for one in used}
    return CodeTransition(
        lower_V=float(number * fitted.model.step_V),
        upper_V=float((number + 1) * fitted.model.step_V),
        low_V=float(np.min(ends)),
        high_V=float(np.max(ends)),
        read_low_V=max(float(one.reference_V - reach[one.row]) for one in below) if both else None,
        read_high_V=min(float(one.reference_V + reach[one.row]) for one in above) if both else None,
    )
