"""Findings in order, as a notebook displays them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from typing import Any, overload

from reviewkit.findings.item import Finding
from reviewkit.findings.mime import MIME, SCHEMA
from reviewkit.findings.table import table_html


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
    def __getitem__(self, place: int | str) -> Finding: ...
    @overload
    def __getitem__(self, place: slice) -> Findings: ...
    def __getitem__(self, place: int | str | slice) -> Finding | Findings:
        """Return a finding by its key or number, or a slice of them.

        Raises
        ------
        KeyError
            If there is no such key; it names the nearest.
        """
        if isinstance(place, str):
            return self._by_key(place)
        return Findings(self.items[place]) if isinstance(place, slice) else self.items[place]

    def _by_key(self, key: str) -> Finding:
        found = self.get(key)
        if found is None:
            near = get_close_matches(key, [item.key for item in self.items], n=1, cutoff=0.5)
            raise KeyError(f"no finding '{key}'" + (f"; did you mean '{near[0]}'?" if near else ""))
        return found

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

    Examples
    --------
    >>> from reviewkit.findings import Finding
    >>> names = ("charge.a.hold_voltage", "charge.hold_voltage")
    >>> twins(Finding(key=key, label="hold voltage", value=4.2, unit="V") for key in names)
    {'charge.a.hold_voltage': 'charge.hold_voltage'}
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


def with_inputs(items: Iterable[Finding], inputs: Sequence[str]) -> Findings:
    """Return the findings, each leading back to the files it was made from.

    Examples
    --------
    >>> (item,) = with_inputs([not_tested("ui.hazards", "hazards", "no states")], ["transitions.csv"])
    >>> item.inputs
    ('transitions.csv',)
    """
    return Findings(tuple(item if item.inputs else replace(item, inputs=tuple(inputs)) for item in items))
