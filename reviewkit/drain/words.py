"""Sentences for the page, shown as a list."""

from __future__ import annotations

import html
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, overload

from reviewkit.metrology import formatting, units


@dataclass(frozen=True)
class Words(Sequence[str]):
    """Sentences in order; a notebook shows them as a list.

    Parameters
    ----------
    items : tuple of str
    numbered : bool
        Whether they are steps.
    """

    items: tuple[str, ...]
    numbered: bool = False

    @overload
    def __getitem__(self, place: int) -> str: ...
    @overload
    def __getitem__(self, place: slice) -> Words: ...
    def __getitem__(self, place: int | slice) -> str | Words:
        return Words(self.items[place], self.numbered) if isinstance(place, slice) else self.items[place]

    def __len__(self) -> int:
        return len(self.items)

    def __iter__(self) -> Iterator[str]:
        return iter(self.items)

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        lines = [
            f"{f'{place}.' if self.numbered else '-'} {item}" for place, item in enumerate(self.items, 1)
        ]
        kind = "ol" if self.numbered else "ul"
        items = "".join(f"<li>{html.escape(item)}</li>" for item in self.items)
        return {"text/html": f"<{kind}>{items}</{kind}>", "text/plain": "\n".join(lines)}


def rough(value: float, unit: str) -> str:
    """Return a quantity that carries no uncertainty with three digits: "600 µA"."""
    scale, sign = units.for_people(value, unit)
    shown = value / scale
    decimals = max(0, 2 - math.floor(math.log10(abs(shown)))) if shown else 0
    text = formatting.number(shown, decimals)
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text}{formatting.NO_BREAK}{sign}"
