"""Findings: the numbers a review stands on, and how they travel.

A section notebook displays its findings under `MIME`; whoever reads the executed notebook finds them
there, so the notebook is the record. This is the only module that both the bench (which makes findings)
and the machinery (which collects and publishes them) know.
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, overload

from reviewkit import wording
from reviewkit.conformity import Limit, Verdict, judge
from reviewkit.uncertainty import Component, Measured

MIME = "application/vnd.reviewkit.findings+json"
CHART_MIME = "application/vnd.reviewkit.chart+json"
"""What a chart says beside its picture: question, answer, table."""
PLOTLY_MIME = "application/vnd.plotly.v1+json"
PART_MIME = "application/vnd.reviewkit.part+json"
"""A part of a review's summary that its page completes, such as the sections with their charts."""
SCHEMA = 1

Value = float | int | str | bool | list[Any] | None


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
    limit : Limit or None
    verdict : {"pass", "fail", "inconclusive", "not tested"} or None
        None where there is nothing to judge.
    note : str
        A sentence for the reader.
    budget : tuple of Component
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
            return wording.bounded(float(self.value), self.low, self.high, self.unit)
        if isinstance(self.value, int) and not self.unit:
            return wording.number(self.value, 0)
        return wording.quantity(float(self.value), self.uncertainty, self.unit)

    def _without_value(self) -> str:
        if self.verdict == "not tested":
            return "not tested"
        # Where only a bound is known, the bound is what the bench can say.
        return wording.interval(self.low, self.high, self.unit) or "not known"

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
    """Return a finding from a measured quantity: interval, budget and, with a limit, the verdict."""
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
    """Return the finding that says openly that nothing was measured, and why."""
    return Finding(key=key, label=label, unit=unit, verdict="not tested", note=why, limit=limit)


@dataclass(frozen=True)
class Findings(Sequence[Finding]):
    """Findings in the order a reader should see them; a notebook shows them as a table.

    Parameters
    ----------
    items : tuple of Finding
        Keys are unique.

    Raises
    ------
    ValueError
        If two findings have the same key.
    """

    items: tuple[Finding, ...] = field(default=())

    def __post_init__(self) -> None:
        keys = [item.key for item in self.items]
        double = sorted({key for key in keys if keys.count(key) > 1})
        if double:
            raise ValueError(f"findings with the same key: {', '.join(double)}")

    @overload
    def __getitem__(self, place: int) -> Finding: ...
    @overload
    def __getitem__(self, place: slice) -> Findings: ...
    def __getitem__(self, place: int | slice) -> Finding | Findings:
        return Findings(self.items[place]) if isinstance(place, slice) else self.items[place]

    def __len__(self) -> int:
        return len(self.items)

    def __iter__(self) -> Iterator[Finding]:
        return iter(self.items)

    def __add__(self, other: Iterable[Finding]) -> Findings:
        return Findings(self.items + tuple(other))

    def get(self, key: str) -> Finding | None:
        """Return the finding with this key, or None."""
        return next((item for item in self.items if item.key == key), None)

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        return {
            MIME: {"schema": SCHEMA, "findings": [item.to_dict() for item in self.items]},
            "text/html": table_html(self.items),
            "text/plain": "\n".join(f"{item.label}: {item.text}" for item in self.items),
        }


def twins(items: Iterable[Finding]) -> dict[str, str]:
    """Return the long keys that say what a short one says already: long → short.

    Where there is one run, each of its findings stands under ``charge.hold_voltage`` and under
    ``charge.RUN.hold_voltage``.
    """
    known = {item.key: item for item in items}
    found = {}
    for key, item in known.items():
        parts = key.split(".")
        short = known.get(f"{parts[0]}.{parts[-1]}") if len(parts) == 3 else None
        if short and _said(short) == _said(item):
            found[key] = short.key
    return found


def _said(item: Finding) -> tuple[Any, ...]:
    return item.value, item.low, item.high, item.verdict


def table_html(items: Iterable[Finding]) -> str:
    """Return the findings as an HTML table: finding, value, limit and its source, verdict."""
    rows = "".join(
        f'<tr id="{html.escape(item.key)}"><th scope="row">{html.escape(item.label)}</th>'
        f'<td class="value">{html.escape(item.text)}</td>'
        f"<td>{html.escape(limit_text(item))}</td><td>{html.escape(verdict_text(item))}</td></tr>"
        for item in items
    )
    return (
        '<table class="findings"><thead><tr><th scope="col">Finding</th><th scope="col">Measured</th>'
        f'<th scope="col">Limit</th><th scope="col">Verdict</th></tr></thead><tbody>{rows}</tbody></table>'
    )


def limit_text(item: Finding) -> str:
    """Return "at most 4.25 V (cell's data sheet)", or nothing where there is no limit."""
    if item.limit is None:
        return ""
    span = wording.declared(item.limit.low, item.limit.high, item.unit)
    return f"{span} ({item.limit.source})" if item.limit.source else span


def verdict_text(item: Finding) -> str:
    """Return the verdict in the trade's words."""
    words: dict[str | None, str] = {
        "pass": "within the limit",
        "fail": "outside the limit",
        "inconclusive": "the meter can’t tell",
        "not tested": "not tested",
        None: "",
    }
    return words[item.verdict]


def with_inputs(items: Iterable[Finding], inputs: Sequence[str]) -> Findings:
    """Return the findings, each leading back to the files it was made from."""
    return Findings(tuple(item if item.inputs else replace(item, inputs=tuple(inputs)) for item in items))


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
    )


def _plain_number(value: Any) -> Any:
    """Return plain JSON: no numpy scalars, no NaN, twelve significant digits."""
    if hasattr(value, "item"):
        value = value.item()
    if value is None or isinstance(value, bool | str | list | int):
        return value
    number = float(value)
    return float(f"{number:.12g}") if math.isfinite(number) else None
