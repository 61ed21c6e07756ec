"""One finding: a number with its interval, limit and verdict, or an open word that it could not be had."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Any

from reviewkit.metrology import Component, Measured, formatting
from reviewkit.metrology.conformity import Limit, Verdict, judge

MIME = "application/vnd.reviewkit.findings+json"
CHART_MIME = "application/vnd.reviewkit.chart+json"
"""What a chart says beside its picture: question, answer, table."""
PLOTLY_MIME = "application/vnd.plotly.v1+json"
PART_MIME = "application/vnd.reviewkit.part+json"
"""A part of a review's summary that its page completes, such as the sections with their charts."""
SCHEMA = 1


Value = float | int | str | bool | list[Any] | None


_NO_NUMBER = "No finite number came out."


def _is_no_number(value: object) -> bool:
    """Whether it is meant as a number and is not a finite one."""
    try:
        return isinstance(value, Real) and not math.isfinite(value)
    except OverflowError:
        return True


@dataclass(frozen=True)
class Finding:
    """One thing the bench found, or an open word that it could not be had.

    Parameters
    ----------
    key : str
        Dotted name, such as ``charge.plateau_current``.
    label : str
        What a reader calls it: "plateau current".
    value : number, str, bool, list or None
        None where it could not be had; `note` then says why.
    unit : str
        SI without prefix, one of `units.FINDING_UNITS`; empty for words.
    uncertainty : float or None [unit]
        Expanded, 95 %.
    low, high : float or None [unit]
        95 % interval; one of them None for a one-sided bound.
    verdict : {"pass", "fail", "inconclusive", "not tested"} or None
        None where there is nothing to judge.
    note : str
        A sentence for the reader.
    inputs : tuple of str
        Files it was made from, relative to the review folder.
    video_s : float or None [s]
        Moment of the video that shows it.
    """

    key: str
    label: str
    value: Value = None
    unit: str = ""
    uncertainty: float | None = None
    low: float | None = None
    high: float | None = None
    limit: Limit | None = None
    verdict: Verdict | None = None
    note: str = ""
    budget: tuple[Component, ...] = ()
    inputs: tuple[str, ...] = ()
    video_s: float | None = None

    def __post_init__(self) -> None:
        """Have a number that is none make the finding one that was not had; an infinite bound is no bound."""
        low = None if self.low == -math.inf else self.low
        high = None if self.high == math.inf else self.high
        if any(map(_is_no_number, (self.value, self.uncertainty, low, high))):
            note = self.note if self.note.endswith(_NO_NUMBER) else f"{self.note} {_NO_NUMBER}".strip()
            self._set(value=None, uncertainty=None, low=None, high=None, budget=())
            self._set(verdict="not tested", note=note)
        else:
            self._set(low=low, high=high)

    def _set(self, **fields: object) -> None:
        for name, value in fields.items():
            object.__setattr__(self, name, value)

    @property
    def is_judged(self) -> bool:
        """Whether it was held against something: what the meter can't tell counts where there is a limit."""
        return self.verdict in ("pass", "fail") or (self.verdict == "inconclusive" and self.limit is not None)

    @property
    def text(self) -> str:
        """Value, uncertainty and unit as a reader sees them."""
        if self.value is None:
            return self._without_value()
        if isinstance(self.value, bool):
            return "yes" if self.value else "no"
        if isinstance(self.value, list):
            return f"{len(self.value)}" if self.value else "none"
        if isinstance(self.value, str):
            return self.value
        if self.uncertainty is None and self.low is not None and self.high is not None:
            return formatting.bounded(float(self.value), self.low, self.high, self.unit)
        if isinstance(self.value, int) and not self.unit:
            return formatting.number(self.value, 0)
        return formatting.quantity(float(self.value), self.uncertainty, self.unit)

    def _without_value(self) -> str:
        if self.verdict == "not tested":
            return "not tested"
        # Where only a bound is known, the bound is what the bench can say.
        return formatting.interval(self.low, self.high, self.unit) or "not known"

    def to_dict(self) -> dict[str, Any]:
        """Return the finding as `findings.json` holds it."""
        return {
            "key": self.key,
            "label": self.label,
            "value": _plain_number(self.value),
            "unit": self.unit,
            "uncertainty": _plain_number(self.uncertainty),
            "low": _plain_number(self.low),
            "high": _plain_number(self.high),
            "limit": None
            if self.limit is None
            else {"low": self.limit.low, "high": self.limit.high, "source": self.limit.source},
            "verdict": self.verdict,
            "note": self.note,
            "budget": [_component_to_dict(part) for part in self.budget],
            "from": list(self.inputs),
            "video_s": self.video_s,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Finding:
        """Return the finding that `to_dict` wrote.

        Raises
        ------
        KeyError
            If a field is missing.
        """
        limit = data["limit"]
        return cls(
            key=data["key"],
            label=data["label"],
            value=data["value"],
            unit=data["unit"],
            uncertainty=data["uncertainty"],
            low=data["low"],
            high=data["high"],
            limit=None if limit is None else Limit(limit["low"], limit["high"], limit["source"]),
            verdict=data["verdict"],
            note=data["note"],
            budget=tuple(_component_from_dict(part) for part in data["budget"]),
            inputs=tuple(data["from"]),
            video_s=data["video_s"],
        )


def measured(
    key: str,
    label: str,
    quantity: Measured,
    *,
    limit: Limit | None = None,
    note: str = "",
    inputs: Sequence[str] = (),
) -> Finding:
    """Return a finding from a measured quantity: interval, budget and, with a limit, the verdict.

    Examples
    --------
    >>> from reviewkit.metrology import Component, Measured
    >>> hold = Measured(4.2, "V", (Component("accuracy", 0.01, "V"),))
    >>> item = measured("charge.hold_voltage", "hold voltage", hold)
    >>> item.value, round(item.uncertainty, 3), item.unit
    (4.2, 0.02, 'V')
    """
    return Finding(
        key=key,
        label=label,
        value=quantity.value,
        unit=quantity.unit,
        uncertainty=quantity.expanded,
        low=quantity.low,
        high=quantity.high,
        limit=limit,
        verdict=judge(quantity, limit) if limit else None,
        note=note,
        budget=quantity.components,
        inputs=tuple(inputs),
    )


def not_tested(key: str, label: str, why: str, unit: str = "", limit: Limit | None = None) -> Finding:
    """Return the finding that says openly that nothing was measured, and why.

    Examples
    --------
    >>> not_tested("charge.hold_voltage", "hold voltage", "no log of the cell's voltage", "V").verdict
    'not tested'
    """
    return Finding(key=key, label=label, unit=unit, verdict="not tested", note=why, limit=limit)


def _component_to_dict(part: Component) -> dict[str, Any]:
    return {
        "component": part.name,
        "size": _plain_number(part.size),
        "unit": part.unit,
        "distribution": part.distribution,
        "sensitivity": _plain_number(part.sensitivity),
        "contribution": _plain_number(part.contribution),
        "dof": None if math.isinf(part.dof) else part.dof,
        "shared": part.shared,
        "rounding": _plain_number(part.rounding),
    }


def _component_from_dict(data: Mapping[str, Any]) -> Component:
    return Component(
        name=data["component"],
        size=data["size"],
        unit=data["unit"],
        distribution=data["distribution"],
        sensitivity=data["sensitivity"],
        dof=math.inf if data["dof"] is None else data["dof"],
        shared=data["shared"],
        rounding=data.get("rounding", 0.0),
    )


def _plain_number(value: Any) -> Any:
    """Return plain JSON: no numpy scalars, no NaN, twelve significant digits."""
    if hasattr(value, "item"):
        value = value.item()
    if value is None or isinstance(value, bool | str | list | int):
        return value
    number = float(value)
    return float(f"{number:.12g}") if math.isfinite(number) else None
