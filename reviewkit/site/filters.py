"""How templates write findings: filters for Jinja, all of which return plain text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from reviewkit import wording
from reviewkit.finding import Finding, limit_text, verdict_text
from reviewkit.uncertainty import merged


@dataclass(frozen=True)
class BudgetRow:
    """One line of an uncertainty budget, as text."""

    name: str
    size: str
    distribution: str
    adds: str
    share: str
    shared: bool


def budget_rows(item: Finding) -> list[BudgetRow]:
    """Return a finding's budget, the largest contribution first."""
    total = sum(part.standard_in_number**2 for part in merged(item.budget))
    parts = sorted(item.budget, key=lambda part: -part.contribution)
    return [
        BudgetRow(
            name=part.name,
            size=("±" if part.distribution != "normal" else "σ = ")
            + wording.quantity(part.size, None, part.unit),
            distribution=part.distribution,
            adds=wording.quantity(part.contribution, None, item.unit),
            share=_percent(part.contribution**2 / total) if total else "",
            shared=bool(part.shared),
        )
        for part in parts
    ]


def _percent(share: float) -> str:
    return (
        f"<\u00a01{wording.THIN}%"
        if share < 0.01
        else f"{min(share, 1.0):.0%}".replace("%", f"{wording.THIN}%")
    )


def sentence(text: str) -> str:
    """Return a label with its first letter large: "plateau current" → "Plateau current"."""
    return text[:1].upper() + text[1:]


def stamp(seconds: float) -> str:
    """Return a moment of a video as its players show it: 83 → "1:23"."""
    minutes, left = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


FILTERS: dict[str, Callable[..., Any]] = {
    "limit_text": limit_text,
    "verdict_text": verdict_text,
    "budget_rows": budget_rows,
    "sentence": sentence,
    "stamp": stamp,
}
