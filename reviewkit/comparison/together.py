"""Published reviews, read back and made ready to be shown side by side."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.comparison.rows import Comparison, Row, Sharing, sharing, side_by_side
from reviewkit.errors import InputError
from reviewkit.findings import Finding, Findings, findings_file, sentences
from reviewkit.findings.displays import CURRENT, TIME, VOLTAGE, Answer
from reviewkit.schema.blocks import Cell

FloatArray = npt.NDArray[np.float64]

_START_SHARE, _HIGH = 0.02, 0.98
"""A curve is drawn from the first row above this share of this quantile of its current. Chosen: the picture
begins there; every figure is a finding's."""


@dataclass(frozen=True)
class Curve:
    """One published charge; time counts from charge start.

    Parameters
    ----------
    label : str
        The source's, as its findings' keys have it: "wall_adapter".
    voltage, current : tuple of (array, array)
        Times [s] and readings [V], [A].
    charge_Ah : array, shape of the current's times [A.h]
        Delivered so far.
    end_s : float or None [s]
        When the charge ended, as found; None where that is not known.
    """

    label: str
    title: str
    voltage: tuple[FloatArray, FloatArray]
    current: tuple[FloatArray, FloatArray]
    charge_Ah: FloatArray
    end_s: float | None = None

    @property
    def last_s(self) -> float:
        """How far to draw it [s]: to its end, or to the end of its log."""
        return self.end_s if self.end_s is not None else float(self.current[0][-1])


@dataclass(frozen=True)
class Published:
    """A review as it was published.

    Parameters
    ----------
    name : str
        The device's.
    curves : mapping of str to Curve
        By table name: "charge-wall-adapter".
    cell : Cell
        The cell on the bench, as declared.
    declared : mapping
        What the review file says, by key.
    """

    name: str
    edition: int
    findings: Findings
    curves: Mapping[str, Curve]
    cell: Cell = field(default_factory=Cell)
    declared: Mapping[str, Any] = field(default_factory=dict)

    def of_charge(self, curve: Curve, name: str) -> Finding | None:
        """Return a finding of one charge by the last part of its key: "delivered"."""
        own = self.findings.get(f"charge.{curve.label}.{name}")
        return own if own is not None else self.findings.get(f"charge.{name}")


def read(folder: str | Path) -> Published:
    """Return the review published in a folder.

    Parameters
    ----------
    folder : str or pathlib.Path
        Holds ``findings.json`` and, where charges were logged, ``data/``.

    Raises
    ------
    InputError
        If there is no review in it, or not one that this kit can read.

    Examples
    --------
    >>> review = read(site / "birch")
    >>> review.findings["charge.wall_adapter.terminates"].value
    True
    """
    path = Path(folder)
    try:
        whole = findings_file.read(path / findings_file.FILE)
        review = Published(
            name=whole.device["name"],
            edition=whole.edition,
            findings=whole.findings,
            curves=_curves(path / "data"),
            cell=Cell.model_validate(whole.declared.get("cell", {})),
            declared=whole.declared,
        )
        return replace(review, curves={key: _ended(review, item) for key, item in review.curves.items()})
    except (InputError, OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            "no published review that can be read",
            file=str(path / findings_file.FILE),
            remedy="Run `reviewkit run` on its folder first.",
        ) from error


def _ended(review: Published, curve: Curve) -> Curve:
    end = review.of_charge(curve, "termination_time")
    known = end is not None and isinstance(end.value, int | float)
    return replace(curve, end_s=float(end.value)) if known else curve  # type: ignore[union-attr, arg-type]


def _curves(folder: Path) -> dict[str, Curve]:
    described = folder / "datapackage.json"
    if not described.is_file():
        return {}
    resources = json.loads(described.read_text(encoding="utf-8"))["resources"]
    return {
        item["name"]: curve
        for item in resources
        if item["name"].startswith("charge")
        and (curve := _curve(pd.read_csv(folder / item["path"]), item)) is not None
    }


def _curve(table: pd.DataFrame, item: Mapping[str, Any]) -> Curve | None:
    """Return a charge from its published table, or None if no current flows in it."""
    volts, amps = (table[[TIME, label]].dropna().to_numpy(dtype=float).T for label in (VOLTAGE, CURRENT))
    if not amps.size or not volts.size:
        return None
    flowing = np.flatnonzero(amps[1] > _START_SHARE * np.quantile(amps[1], _HIGH))
    if not len(flowing) or amps[1].max() <= 0:
        return None
    zero = amps[0][flowing[0]]
    steps = np.diff(amps[0]) / 3600
    into = np.maximum(amps[1], 0.0)
    charge = np.concatenate([[0.0], np.cumsum((into[1:] + into[:-1]) / 2 * steps)])
    label = str(item["name"]).removeprefix("charge-").replace("-", "_")
    return Curve(label, item["title"], (volts[0] - zero, volts[1]), (amps[0] - zero, amps[1]), charge)


MOST = 12
"""Reviews that one page compares: more rows of dots than that a picture does not hold."""


@dataclass(frozen=True)
class Together:
    """Several reviews and what sets them apart.

    Parameters
    ----------
    comparison : Comparison
        Every finding of them; a single run's findings once.
    shared : tuple of Sharing
        The meters that the second and each further review has in common with the first.
    """

    reviews: tuple[Published, ...]
    comparison: Comparison
    shared: tuple[Sharing, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """What a reader calls them."""
        return self.comparison.names

    def conditions(self) -> Answer:
        """Return what must be known before the figures: unequal cells, meters in common."""
        return Answer((*self._cells(), *self._meters()))

    def _cells(self) -> Iterator[str]:
        say = sentences.of("compare")
        cells = [_cell(review.cell) for review in self.reviews]
        if len(set(cells)) > 1:
            yield say("cells", cells=list(zip(self.names, cells, strict=True)))
        elif cells[0] != _cell(Cell()):
            yield say("same_cells", cell=cells[0])

    def _meters(self) -> Iterator[str]:
        say = sentences.of("compare")
        first = self.names[0]
        for name, common in zip(self.names[1:], self.shared, strict=True):
            if common.names:
                yield say("shared", meters=sorted(set(common.names.values())), first=first, second=name)
            for meter, why in common.apart:
                yield say("not_shared", meter=meter, why=why, first=first, second=name)
            if not common.names and not common.apart:
                yield say("none_shared", first=first, second=name)

    def curves(self) -> tuple[tuple[str, Published, Curve], ...]:
        """Return the charges to overlay: those on a source that all have, else each one's first."""
        common = [key for key in self.reviews[0].curves if all(key in one.curves for one in self.reviews)]
        picked = []
        for name, review in zip(self.names, self.reviews, strict=True):
            key = common[0] if common else next(iter(review.curves), None)
            if key is not None:
                picked.append((name, review, review.curves[key]))
        return tuple(picked)

    def row(self, key: str) -> Row | None:
        """Return the row of a key; of a charge's, the first source's that two of the reviews have."""
        start, _, name = key.partition(".")
        rows = (row for row in self.part(f"{start}.") if row.key.rsplit(".", 1)[-1] == name)
        return self.comparison.get(key) or next((row for row in rows if row.resolved is not None), None)

    def part(self, *starts: str) -> Comparison:
        """Return the rows whose keys begin with one of `starts`: "drain.", "ui."."""
        rows = tuple(row for row in self.comparison.rows if row.key.startswith(starts))
        return Comparison(self.names, rows)

    def others(self, *starts: str) -> Comparison:
        """Return the rows whose keys begin with none of `starts`: what sections of one's own found."""
        rows = tuple(row for row in self.comparison.rows if not row.key.startswith(starts))
        return Comparison(self.names, rows)


def put_together(reviews: Sequence[Published]) -> Together:
    """Return reviews side by side.

    Parameters
    ----------
    reviews : sequence of Published
        Of two to `MOST` devices, or editions of one: the editions then tell them apart.

    Raises
    ------
    ValueError
        If there are fewer or more.

    Examples
    --------
    >>> put_together([read(site / "alder"), read(site / "birch")]).names
    ('Alder', 'Birch')
    """
    if not 2 <= len(reviews) <= MOST:
        raise ValueError(f"{len(reviews)} reviews; expected 2 to {MOST} to compare")
    shared = [sharing(reviews[0].declared, other.declared) for other in reviews[1:]]
    rows = [_comparable(review, reviews) for review in reviews]
    return Together(tuple(reviews), side_by_side(rows, names=_names(reviews), shared=shared), tuple(shared))


def open_all(folders: Sequence[str]) -> Together:
    """Return published reviews side by side.

    Raises
    ------
    InputError
        If there is no published review in a folder.

    Examples
    --------
    >>> together = open_all([str(site / "alder"), str(site / "birch")])
    >>> together.names
    ('Alder', 'Birch')
    """
    return put_together([read(folder) for folder in folders])


def _names(reviews: Sequence[Published]) -> tuple[str, ...]:
    """Return what tells the reviews apart: the device, its edition where two are of one."""
    names = [review.name for review in reviews]
    return tuple(
        name if names.count(name) == 1 else f"{name}, edition {review.edition}"
        for name, review in zip(names, reviews, strict=True)
    )


def _cell(cell: Cell) -> str:
    size = f"{cell.rated_capacity_Ah:g}\u00a0Ah" if cell.rated_capacity_Ah else ""
    about = ", ".join(part for part in (cell.chemistry or "", size) if part)
    return " ".join(part for part in (cell.label or "a cell", f"({about})" if about else "") if part)


def _comparable(review: Published, reviews: Sequence[Published]) -> tuple[Finding, ...]:
    """Return the findings under the keys that can be found in the other reviews.

    A single run stands under a short key and its source's; where another review has several runs, the
    source's key is the one that they share.
    """
    keys = {item.key for item in review.findings}
    theirs = set.intersection(*({item.key for item in one.findings} for one in reviews))
    anywhere = {item.key for one in reviews if one is not review for item in one.findings}
    kept = []
    for item in review.findings:
        short = _short(item.key)
        labelled = short != item.key
        if labelled and short in keys and short in theirs:
            continue
        if not labelled and item.key not in anywhere and _under_a_label(item.key, keys):
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
