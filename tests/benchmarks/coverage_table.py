"""How often each finding's interval held the truth, and how wide it was against its floor, as a table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import floors
import numpy as np

from reviewkit.metrology.conformity import clopper_pearson

GOAL = (94.0, 98.0)
WIDEST = 1.25
BOUNDS = ("readout.",)
"""Findings whose ends hold for certain, so that 100 % is right: what the readings and the meter exclude is
excluded."""


@dataclass(frozen=True)
class Outcome:
    """One finding of one review against the truth.

    Parameters
    ----------
    key : str
    seed : int
    state : {"given", "bounded", "absent"}
        A value with an interval; only bounds, `inconclusive`; nothing, though there is a truth.
    held : bool
    error, half : float [unit]
        Value less truth; half of the interval. NaN where there is none.
    floor : float [unit]
        Half of the narrowest interval that the meters allow; NaN where none is derived.
    """

    key: str
    seed: int
    state: str
    held: bool
    error: float
    half: float
    floor: float


def rows(outcomes: Iterable[Outcome]) -> list[dict[str, Any]]:
    """Return one row for each finding, in the order in which they first came."""
    groups: dict[str, list[Outcome]] = {}
    for one in outcomes:
        groups.setdefault(one.key, []).append(one)
    return [_row(key, group) for key, group in groups.items()]


def _row(key: str, group: Sequence[Outcome]) -> dict[str, Any]:
    given = [one for one in group if one.state == "given"]
    bounded = [one for one in group if one.state == "bounded"]
    held, loose = sum(one.held for one in given), sum(one.held for one in bounded)
    low, high = clopper_pearson(held, len(given)) if given else (0.0, 1.0)
    ratios = np.array([one.half / one.floor for one in given if np.isfinite(one.half / one.floor)])
    return {
        "finding": key,
        "kind": kind(key),
        "true": len(group),
        "given": len(given),
        "held": held,
        "held_percent": _rounded(100 * held / len(given)) if given else None,
        "low_percent": _rounded(100 * low),
        "high_percent": _rounded(100 * high),
        "only_bounds": len(bounded),
        "bounds_held": loose,
        "width": _rounded(float(np.median(ratios)), 2) if len(ratios) else None,
        "width_90": _rounded(float(np.quantile(ratios, 0.9)), 2) if len(ratios) else None,
        "floor": why(key),
    }


def kind(key: str) -> str:
    """Return whether a finding states bounds or an interval."""
    return "bound" if key.startswith(BOUNDS) else "interval"


def why(key: str) -> str:
    """Return what forces a finding's floor."""
    section, *_, last = key.split(".")
    return floors.WHY.get(key) or floors.WHY.get(f"{section}.*.{last}", "")


def _rounded(value: float, digits: int = 1) -> float:
    return round(value, digits)


def text(table: Sequence[dict[str, Any]]) -> str:
    """Return the table for a terminal."""
    head = f"{'finding':34}{'kind':>9}{'true':>6}{'given':>6}{'held %':>8}{'95 % of it':>14}"
    head += f"{'bounds':>7}{'held':>6}{'width':>7}{'90 %':>6}  floor"
    return "\n".join([head, *(_line(row) for row in table)])


def _line(row: dict[str, Any]) -> str:
    held = "" if row["held_percent"] is None else f"{row['held_percent']:.1f}"
    between = f"{row['low_percent']:.1f}–{row['high_percent']:.1f}" if row["given"] else ""
    width, most = ("" if row[name] is None else f"{row[name]:.2f}" for name in ("width", "width_90"))
    loose = f"{row['only_bounds']:>7}{row['bounds_held']:>6}" if row["only_bounds"] else f"{'':13}"
    return (
        f"{row['finding']:34}{row['kind']:>9}{row['true']:>6}{row['given']:>6}{held:>8}{between:>14}"
        f"{loose}{width:>7}{most:>6}  {row['floor']}"
    )
