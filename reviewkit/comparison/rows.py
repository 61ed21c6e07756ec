"""Findings of several reviews side by side: their differences, how sure, and whether they are resolved.

Findings that rest on the same range of the same meter share that range's unknown calibration error: it
cancels in the difference as far as both depend on it alike. Findings from different meters don't.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Any

from reviewkit.findings import Finding, sentences, value_text
from reviewkit.metrology import Component, Measured, difference, formatting, units
from reviewkit.metrology.meter import accuracy
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
    and state the same accuracy of each range that both have, and no check on different days: after it the
    meter's error may be another one. Meters that are merely described alike are two.

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
    stated: Mapping[Any, Any]
    """By full scale: the accuracy."""
    checked: str = ""
    """Day of its last check."""

    def agrees(self, other: _Meter) -> bool:
        """Whether two state the same of the ranges that they have in common."""
        both = self.stated.keys() & other.stated.keys()
        return all(self.stated[scale] == other.stated[scale] for scale in both)


def _meters(declared: Mapping[str, Any]) -> list[_Meter]:
    found = []
    for key, block in declared.items():
        kind = next((kind for kind in ("voltmeter", "ammeter") if key.endswith(kind)), "")
        if kind and isinstance(block, Mapping):
            meter = MeterBlock.model_validate(block)
            stated = dict(
                _stated(one, meter, "V" if kind == "voltmeter" else "A") for one in meter.ranges or (meter,)
            )
            checked = meter.last_check.partition(",")[0].strip()
            found.append(_Meter(kind, meter.name, meter.serial, stated, checked))
    return found


def _stated(one: MeterBlock, meter: MeterBlock, unit: str) -> tuple[Any, Any]:
    """Return a range’s full scale and accuracy, as read: two spellings of them are the same."""
    scale, text = one.full_scale, one.accuracy or meter.accuracy
    try:
        return scale and units.to_unit(scale, unit), text and accuracy(text, unit)
    except ValueError:
        return scale, text


def _same(first: _Meter, second: _Meter) -> tuple[bool, str]:
    """Return whether two are one meter, and if they look alike but are not known to be, why."""
    if first.serial and second.serial:
        alike = first.serial == second.serial
        why = "two serial numbers" if not alike and first.name == second.name else ""
    else:
        alike = bool(first.name) and first.name == second.name
        why = "" if first.name and second.name else "a review does not name it"
        if why and not first.agrees(second):
            why = ""
    if alike and not first.agrees(second):
        return False, "the reviews state its accuracy differently"
    if alike and first.checked and second.checked and first.checked != second.checked:
        return False, "the reviews state different last checks, and a check may end in an adjustment"
    return alike, why


_MOMENTS = ("knee_time", "precharge_end", "termination_time")
"""Findings in seconds that say when something happened; all others in seconds say how long it takes."""
_MORE_LESS = {
    "A.h": ("more", "less"),
    "W.h": ("more", "less"),
    "d": ("longer", "shorter"),
    "": ("more", "fewer"),
}
_OPEN = (float("-inf"), float("inf"))


@dataclass(frozen=True)
class Against:
    """One review's finding against the first review's.

    Parameters
    ----------
    difference : Measured or None
        This one − the first one's, where both are numbers with a budget.
    resolved : bool or None
        Whether the two certainly differ; None where there is nothing to compare.
    words : str
        "later by 12 min ± 2 min", "the same", "the meters can’t tell them apart" …
    """

    difference: Measured | None
    resolved: bool | None
    words: str


@dataclass(frozen=True)
class Row:
    """One finding of all reviews.

    Parameters
    ----------
    items : tuple of Finding or None
        In the order of the reviews; None where a review does not have it.
    against : tuple of Against
        The second and every further review against the first.
    words : str
        What sets them apart, for a reader.
    """

    key: str
    label: str
    unit: str
    items: tuple[Finding | None, ...]
    against: tuple[Against, ...]
    words: str

    @property
    def resolved(self) -> bool | None:
        """Whether any certainly differs from the first; None where there is nothing to compare."""
        known = [one.resolved for one in self.against if one.resolved is not None]
        return any(known) if known else None


@dataclass(frozen=True)
class Comparison:
    """Every finding of several reviews.

    Parameters
    ----------
    rows : tuple of Row
        In the order of the first review; what only another has comes last.
    """

    names: tuple[str, ...]
    rows: tuple[Row, ...]

    def __iter__(self) -> Iterator[Row]:
        return iter(self.rows)

    def get(self, key: str) -> Row | None:
        """Return the row of a key, or None."""
        return next((row for row in self.rows if row.key == key), None)

    @property
    def resolved(self) -> tuple[Row, ...]:
        """Rows in which some certainly differ."""
        return tuple(row for row in self.rows if row.resolved)

    def sentence(self) -> str:
        """Return how many findings differ, in one sentence."""
        compared = sum(row.resolved is not None for row in self.rows)
        return _say()("differing", resolved=len(self.resolved), compared=compared, reviews=len(self.names))

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        names = [escape(name) for name in self.names]
        heads = ["Finding", *names, "Difference" if len(names) == 2 else f"Against {names[0]}"]
        head = "".join(f'<th scope="col">{text}</th>' for text in heads)
        body = "".join(
            f'<tr><th scope="row">{escape(row.label)}</th>'
            + "".join(
                f'<td class="value" data-label="{name}:">{_shown(item)}</td>'
                for name, item in zip(names, row.items, strict=True)
            )
            + f"<td>{escape(row.words)}</td></tr>"
            for row in self.rows
        )
        return {
            "text/html": f'<table class="comparison stacked"><thead><tr>{head}</tr>'
            f"</thead><tbody>{body}</tbody></table>",
            "text/plain": "\n".join(f"{row.label}: {row.words}" for row in self.rows),
        }


def _say() -> sentences.Sentences:
    return sentences.of("compare")


def _shown(item: Finding | None) -> str:
    return "—" if item is None else escape(value_text(item))


def side_by_side(
    reviews: Sequence[Iterable[Finding]], *, names: Sequence[str], shared: Sequence[Sharing]
) -> Comparison:
    """Return the findings of several reviews side by side.

    Parameters
    ----------
    reviews : sequence of iterable of Finding
        Two or more.
    names : sequence of str
        What the reader calls them: devices, or editions of one.
    shared : sequence of Sharing
        What the second and each further review has in common with the first.

    Examples
    --------
    >>> reviews = [read(site / name) for name in ("alder", "birch")]
    >>> shared = [sharing(reviews[0].declared, reviews[1].declared)]
    >>> made = side_by_side([review.findings for review in reviews], names=["Alder", "Birch"], shared=shared)
    >>> len(made.rows) > 30
    True
    """
    by_key = [{item.key: item for item in review} for review in reviews]
    keys = dict.fromkeys(key for review in by_key for key in review)
    rows = (_row([review.get(key) for review in by_key], names, shared) for key in keys)
    return Comparison(tuple(names), tuple(_with_cuts(row, names, by_key) for row in rows))


def _with_cuts(row: Row, names: Sequence[str], by_key: Sequence[Mapping[str, Finding]]) -> Row:
    """Return a time of a charge with the word that it was interrupted: it is not the charger's alone then."""
    start, _, name = row.key.rpartition(".")
    if name not in (*_MOMENTS, "time_to_80") or row.resolved is None:
        return row
    counts = [review.get(f"{start}.interruptions") for review in by_key]
    cut = [name for name, count in zip(names, counts, strict=True) if count is not None and count.value]
    return replace(row, words=f"{row.words}; {_say()('interrupted', names=cut)}") if cut else row


def _row(items: Sequence[Finding | None], names: Sequence[str], shared: Sequence[Sharing]) -> Row:
    known = next(item for item in items if item is not None)
    first, *others = items
    against = tuple(_against(first, other, common) for other, common in zip(others, shared, strict=True))
    return Row(known.key, known.label, known.unit, tuple(items), against, _words(items, against, names))


def _words(items: Sequence[Finding | None], against: Sequence[Against], names: Sequence[str]) -> str:
    """Return what sets a row apart, by name."""
    lacking = [name for item, name in zip(items, names, strict=True) if _not_tested(item)]
    if len(lacking) == len(names):
        return _say()("untested")
    if len(names) == 2 and not lacking:
        (one,) = against
        return f"{names[1]} {one.words}" if one.difference is not None and one.resolved else one.words
    told: dict[str, list[str]] = {}
    for one, name in zip(against, names[1:], strict=True):
        if one.words:
            told.setdefault(one.words, []).append(name)
    parts = [_say()("of_them", names=called, words=words) for words, called in told.items()]
    parts += [_say()("untested_on", names=lacking)] if lacking else []
    return "; ".join(parts)


def _not_tested(item: Finding | None) -> bool:
    return item is None or (item.value is None and item.low is None and item.high is None)


def _against(first: Finding | None, other: Finding | None, common: Sharing) -> Against:
    if first is None or other is None or _not_tested(first) or _not_tested(other):
        return Against(None, None, "")
    if first.unit != other.unit:
        return Against(None, None, _say()("other_units"))
    if all(_is_number(item) or item.value is None for item in (first, other)):
        return _numbers(first, other, common)
    return _plain(first, other)


def _is_number(item: Finding) -> bool:
    return isinstance(item.value, int | float) and not isinstance(item.value, bool)


def _numbers(first: Finding, other: Finding, common: Sharing) -> Against:
    a, b = as_measured(first), as_measured(other)
    if a is None or b is None:
        return _intervals(first, other)
    change = difference(
        replace(b, components=common.second(b.components)), replace(a, components=common.first(a.components))
    )
    resolved = abs(change.value) > change.expanded
    span = formatting.quantity(abs(change.value), change.expanded, change.unit)
    if not resolved:
        return Against(change, False, _say()("not_told_apart", span=span))
    word = _comparative(first.key, first.unit, change.value)
    return Against(change, True, _say()("by", word=word, span=span, share=_share(first, other, change.value)))


def _share(first: Finding, other: Finding, change: float) -> str:
    """Return a difference as a share of the room between two limits; nothing where they differ."""
    rooms = {
        round(item.limit.high - item.limit.low, 12)
        for item in (first, other)
        if item.limit is not None and item.limit.low is not None and item.limit.high is not None
    }
    if len(rooms) != 1 or not first.limit or not other.limit or not (room := rooms.pop()) > 0:
        return ""
    return f"{formatting.number(100 * abs(change) / room, 0)}{formatting.THIN}%"


def _comparative(key: str, unit: str, change: float) -> str:
    """Return the word that a person would use: later, not higher, for a moment."""
    if unit == "s":
        moment = key.rsplit(".", 1)[-1] in _MOMENTS
        more, less = ("later", "earlier") if moment else ("longer", "shorter")
    else:
        more, less = _MORE_LESS.get(unit, ("higher", "lower"))
    return more if change > 0 else less


def as_measured(item: Finding) -> Measured | None:
    """Return a finding as a quantity with its budget, or None if it has no uncertainty."""
    if not _is_number(item) or item.uncertainty is None:
        return None
    budget = item.budget or (Component(f"{item.label}: as stated", item.uncertainty / 2, item.unit),)
    assert isinstance(item.value, int | float)
    return Measured(float(item.value), item.unit, budget)


def _intervals(first: Finding, other: Finding) -> Against:
    """Compare what has an interval only, a bound, or a bare count."""
    ends = _ends(first), _ends(other)
    (low_a, high_a), (low_b, high_b) = ends
    counted = low_a == high_a and low_b == high_b
    if high_a < low_b or high_b < low_a:
        words = _say()("two_values", first=first.text, second=other.text) if counted else _apart(first, other)
        return Against(None, True, words)
    if _OPEN in ends:
        return Against(None, None, _say()("not_known"))
    return Against(None, False, _say()("the_same" if counted else "overlap"))


def _apart(first: Finding, other: Finding) -> str:
    """Return two values whose intervals don't meet, as shares of their limit where both are held to one."""
    values = [float(item.value) for item in (first, other) if _is_number(item)]  # type: ignore[arg-type]
    if len(values) < 2:
        return _say()("no_overlap")
    tops = [item.limit.high for item in (first, other) if item.limit and item.limit.low is None]
    held = [100 * value / top for value, top in zip(values, tops, strict=False) if top and value >= 0]
    return _say()(
        "apart",
        values=[formatting.rough(value, first.unit) for value in values],
        shares=[f"{formatting.number(share, 0)}{formatting.THIN}%" for share in held]
        if len(held) == 2
        else [],
    )


def _ends(item: Finding) -> tuple[float, float]:
    """Return a number's interval; a missing end is open, and a number without any is exact."""
    if item.low is None and item.high is None and isinstance(item.value, int | float):
        return float(item.value), float(item.value)
    return (
        float("-inf") if item.low is None else item.low,
        float("inf") if item.high is None else item.high,
    )


def _plain(first: Finding, other: Finding) -> Against:
    """Compare words, lists and yes-or-no."""
    same = first.value == other.value
    if same:
        return Against(None, False, _say()("the_same"))
    if isinstance(first.value, list):
        return Against(None, True, _say()("lists_differ"))
    return Against(None, True, _say()("two_values", first=first.text, second=other.text))
