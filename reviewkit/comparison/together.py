"""Two published reviews, ready to be shown side by side."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.comparison.pairs import Comparison, Row, pair
from reviewkit.comparison.reading import Curve, Published, read
from reviewkit.findings import Finding


@dataclass(frozen=True)
class Together:
    """Two reviews and what sets them apart.

    Parameters
    ----------
    first, second : Published
    comparison : Comparison
        Every finding of both; a single run's findings once.
    """

    first: Published
    second: Published
    comparison: Comparison

    @property
    def names(self) -> tuple[str, str]:
        """What a reader calls the two."""
        return self.comparison.names

    def curves(self) -> tuple[tuple[str, Curve], ...]:
        """Return the charges to overlay: those on a source that both have, else each one's first."""
        shared = [key for key in self.first.curves if key in self.second.curves]
        picked = []
        for review in (self.first, self.second):
            key = shared[0] if shared else next(iter(review.curves), None)
            if key is not None:
                picked.append((review.name, review.curves[key]))
        return tuple(picked)

    def row(self, name: str) -> Row | None:
        """Return the first row of a charge finding by the last part of its key: "plateau_current"."""
        return next((row for row in self.part("charge.").rows if row.key.endswith(f".{name}")), None)

    def part(self, start: str) -> Comparison:
        """Return the rows whose keys begin with `start`: "drain.", "ui."."""
        rows = tuple(row for row in self.comparison.rows if row.key.startswith(start))
        return Comparison(self.names, rows)


def pair_up(first: Published, second: Published) -> Together:
    """Return two reviews side by side.

    Parameters
    ----------
    first, second : Published
        Of two devices, or two editions of one: the editions then tell them apart.
    """
    names = (first.name, second.name)
    if first.name == second.name:
        names = (f"{first.name}, edition {first.edition}", f"{second.name}, edition {second.edition}")
    return Together(first, second, pair(_comparable(first, second), _comparable(second, first), names=names))


def open_two(first: str, second: str) -> Together:
    """Return two published reviews side by side.

    Parameters
    ----------
    first, second : str
        Their folders.

    Raises
    ------
    InputError
        If there is no published review in a folder.
    """
    return pair_up(read(first), read(second))


def _comparable(review: Published, other: Published) -> tuple[Finding, ...]:
    """Return the findings under the keys that can be found in the other review.

    A single run stands under a short key and its source's; where the other review has several runs, the
    source's key is the one that they share.
    """
    keys = {item.key for item in review.findings}
    theirs = {item.key for item in other.findings}
    kept = []
    for item in review.findings:
        short = _short(item.key)
        labelled = short != item.key
        if labelled and short in keys and short in theirs:
            continue
        if not labelled and item.key not in theirs and _under_a_label(item.key, keys):
            continue
        kept.append(item)
    return tuple(kept)


def _short(key: str) -> str:
    if not key.startswith("charge.") or key.count(".") != 2:
        return key
    first, _, last = key.split(".")
    return f"{first}.{last}"


def _under_a_label(key: str, keys: set[str]) -> bool:
    return any(other != key and _short(other) == key for other in keys)
