"""Marks that change once: a warning, a bar, a percentage. Each has a threshold, and readings bracket it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import pandas as pd

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
    name : str
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
    numbers = {mark: re.match(r"\s*(\d+)", mark) for mark in marks}
    if all(numbers.values()):
        return sorted(marks, key=lambda mark: int(found[1]) if (found := numbers[mark]) else 0)
    return sorted(marks, key=lambda mark: marks[mark])
