"""Published reviews, read back: findings and charge curves."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.errors import InputError
from reviewkit.findings import Finding, Findings
from reviewkit.findings.dataset import CURRENT, TIME, VOLTAGE
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
    title : str
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
    edition : int
    findings : Findings
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
    place = Path(folder)
    try:
        data = json.loads((place / "findings.json").read_text(encoding="utf-8"))
        review = Published(
            name=data["device"]["name"],
            edition=data["review"]["edition"],
            findings=Findings(tuple(Finding.from_dict(item) for item in data["findings"])),
            curves=_curves(place / "data"),
            cell=Cell.model_validate(data["declared"].get("cell", {})),
            declared=data["declared"],
        )
        return replace(review, curves={key: _ended(review, item) for key, item in review.curves.items()})
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            "no published review that can be read",
            file=str(place / "findings.json"),
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
