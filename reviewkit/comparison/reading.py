"""Published reviews, read back: findings and charge curves."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.comparison.pairs import from_file
from reviewkit.errors import InputError
from reviewkit.findings import Findings
from reviewkit.findings.dataset import CURRENT, TIME, VOLTAGE
from reviewkit.schema.blocks import Cell

FloatArray = npt.NDArray[np.float64]

_START_SHARE = 0.02


@dataclass(frozen=True)
class Curve:
    """One published charge; time counts from charge start.

    Parameters
    ----------
    title : str
    voltage, current : tuple of (array, array)
        Times [s] and readings [V], [A].
    charge_Ah : array, shape of the current's times [A.h]
        Delivered so far.
    """

    title: str
    voltage: tuple[FloatArray, FloatArray]
    current: tuple[FloatArray, FloatArray]
    charge_Ah: FloatArray


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
    capacity_Ah : float or None [A.h]
        Rated capacity of the cell on the bench.
    """

    name: str
    edition: int
    findings: Findings
    curves: Mapping[str, Curve]
    capacity_Ah: float | None = None


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
    """
    place = Path(folder)
    try:
        data = json.loads((place / "findings.json").read_text(encoding="utf-8"))
        return Published(
            name=data["device"]["name"],
            edition=data["review"]["edition"],
            findings=from_file(data),
            curves=_curves(place / "data"),
            capacity_Ah=Cell.model_validate(data["declared"].get("cell", {})).rated_capacity_Ah,
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            "no published review that can be read",
            file=str(place / "findings.json"),
            remedy="Run `reviewkit run` on its folder first.",
        ) from error


def _curves(folder: Path) -> dict[str, Curve]:
    described = folder / "datapackage.json"
    if not described.is_file():
        return {}
    resources = json.loads(described.read_text(encoding="utf-8"))["resources"]
    return {
        item["name"]: curve
        for item in resources
        if item["name"].startswith("charge")
        and (curve := _curve(pd.read_csv(folder / item["path"]), item["title"])) is not None
    }


def _curve(table: pd.DataFrame, title: str) -> Curve | None:
    """Return a charge from its published table, or None if no current flows in it."""
    volts, amps = (table[[TIME, label]].dropna().to_numpy(dtype=float).T for label in (VOLTAGE, CURRENT))
    if not amps.size or not volts.size:
        return None
    flowing = np.flatnonzero(amps[1] > _START_SHARE * np.quantile(amps[1], 0.98))
    if not len(flowing) or amps[1].max() <= 0:
        return None
    zero = amps[0][flowing[0]]
    steps = np.diff(amps[0]) / 3600
    into = np.maximum(amps[1], 0.0)
    charge = np.concatenate([[0.0], np.cumsum((into[1:] + into[:-1]) / 2 * steps)])
    return Curve(title, (volts[0] - zero, volts[1]), (amps[0] - zero, amps[1]), charge)
