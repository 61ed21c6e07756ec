"""How templates write findings: filters for Jinja, all of which return plain text."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from reviewkit.findings import Finding, limit_text, verdict_text
from reviewkit.metrology import formatting, merged
from reviewkit.review import video
from reviewkit.review.chapters import Cue
from reviewkit.tables import timecode


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
            + formatting.quantity(part.size, None, part.unit),
            distribution=part.distribution,
            adds=formatting.quantity(part.contribution, None, item.unit),
            share=_percent(part.contribution**2 / total) if total else "",
            shared=bool(part.shared),
        )
        for part in parts
    ]


def _percent(share: float) -> str:
    return (
        f"<\u00a01{formatting.THIN}%"
        if share < 0.01
        else f"{min(share, 1.0):.0%}".replace("%", f"{formatting.THIN}%")
    )


def sentence(text: str) -> str:
    """Return a label with its first letter large: "plateau current" → "Plateau current"."""
    return text[:1].upper() + text[1:]


def track(cues: Iterable[Cue]) -> str:
    """Return chapters as an address that holds them whole.

    A page opened from a disk may not read a file of cues beside it.
    """
    return f"data:text/vtt;charset=utf-8,{quote(video.webvtt(cues))}"


FILTERS: dict[str, Callable[..., Any]] = {
    "limit_text": limit_text,
    "verdict_text": verdict_text,
    "budget_rows": budget_rows,
    "sentence": sentence,
    "stamp": timecode.stamp,
    "track": track,
}
