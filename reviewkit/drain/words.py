"""Sentences for the page, shown as a list."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, overload


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
        return {"text/markdown": "\n".join(map(_as_text, lines)), "text/plain": "\n".join(lines)}


def _as_text(line: str) -> str:
    """Return a line whose names can't turn into markup."""
    mark, _, rest = line.partition(" ")
    rest = rest.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    for sign in "\\`*_[]|":
        rest = rest.replace(sign, f"\\{sign}")
    return f"{mark} {rest}"
