"""Which unknown errors two reviews have in common: those of one range of one meter, and no others."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from reviewkit.findings import Finding
from reviewkit.metrology import Component
from reviewkit.schema.blocks import MeterBlock

_RANGE = re.compile(r"(?P<name>.*), [\d.]+\s\S+ range(?P<part>: .*)?$")
"""A meter's label in a budget, `Meter.label`: only a stated range is one unknown."""


@dataclass(frozen=True)
class Sharing:
    """The meters that two reviews have in common.

    Parameters
    ----------
    names : mapping of str to str
        From a name in the second review to the same meter's name in the first.
    apart : tuple of (str, str)
        Meters that stand in both reviews and yet are not known to be one: the name, and why.
    """

    names: Mapping[str, str]
    apart: tuple[tuple[str, str], ...] = ()

    def first(self, parts: Iterable[Component]) -> tuple[Component, ...]:
        """Return the first review's components; what it alone knows is no longer shared with anything."""
        known = {name: name for name in self.names.values()}
        return tuple(_renamed(part, known, "first") for part in parts)

    def second(self, parts: Iterable[Component]) -> tuple[Component, ...]:
        """Return the second review's components under the first one's names."""
        return tuple(_renamed(part, self.names, "second") for part in parts)

    def used(self, first: Finding, second: Finding) -> frozenset[str]:
        """Return the names behind which both findings have the same unknown."""
        both = (
            {part.shared for part in side} for side in (self.first(first.budget), self.second(second.budget))
        )
        return frozenset.intersection(*map(frozenset, both)) - {""}


def _renamed(part: Component, names: Mapping[str, str], side: str) -> Component:
    if not part.shared:
        return part
    found = _RANGE.match(part.shared)
    if found and found["name"] in names:
        return replace(part, shared=names[found["name"]] + part.shared[len(found["name"]) :])
    # Within its own number it stays one unknown.
    return replace(part, shared=f"{side} review: {part.shared}")


def sharing(first: Mapping[str, Any], second: Mapping[str, Any]) -> Sharing:
    """Return which meters two reviews have in common.

    Two meters are one where both reviews give the same serial, or the same name and no differing serials,
    and state the same accuracy. Meters that are merely described alike are two.

    Parameters
    ----------
    first, second : mapping
        What each review declares, by key of the review file.

    Examples
    --------
    >>> block = {"voltmeter": {"name": "bench A", "accuracy": "±(0.5 % + 2)", "resolution": "1 mV"}}
    >>> sharing(block, block).names
    {'bench A': 'bench A'}
    """
    names: dict[str, str] = {}
    apart: list[tuple[str, str]] = []
    ours = _meters(first)
    for theirs in _meters(second):
        for own in ours:
            if own.kind != theirs.kind:
                continue
            same, why = _same(own, theirs)
            if same:
                names[theirs.name] = own.name
            elif why:
                apart.append((own.name or own.kind, why))
    return Sharing(names, tuple(dict.fromkeys(item for item in apart if item[0] not in names.values())))


@dataclass(frozen=True)
class _Meter:
    kind: str
    name: str
    serial: str
    stated: tuple[Any, ...]


def _meters(declared: Mapping[str, Any]) -> list[_Meter]:
    found = []
    for key, block in declared.items():
        kind = next((kind for kind in ("voltmeter", "ammeter") if key.endswith(kind)), "")
        if kind and isinstance(block, Mapping):
            meter = MeterBlock.model_validate(block)
            stated = (meter.accuracy, *((one.full_scale, one.accuracy) for one in meter.ranges))
            found.append(_Meter(kind, meter.name, meter.serial, stated))
    return found


def _same(first: _Meter, second: _Meter) -> tuple[bool, str]:
    """Return whether two are one meter, and if they look alike but are not known to be, why."""
    if first.serial and second.serial:
        alike = first.serial == second.serial
        why = "two serial numbers" if not alike and first.name == second.name else ""
    else:
        alike = bool(first.name) and first.name == second.name
        why = "" if first.name and second.name else "a review does not name it"
        if why and first.stated != second.stated:
            why = ""
    if alike and first.stated != second.stated:
        return False, "the reviews state its accuracy differently"
    return alike, why
