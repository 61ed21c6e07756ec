"""Reads the numbers out of what a review says, and tells which of them nothing that it found carries.

A reader here is a person's: "4 h 16 min 02 s" is one time, "35.2 mΩ ± 0.4 mΩ" a value and its uncertainty,
"2 to 3 Ah" two charges, "3 of 8" two counts that belong together. It shares no code with what writes them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import zip_longest
from typing import Any

from reviewkit.findings import Finding

_SIZES = {
    "V": ("V", 1.0), "mV": ("V", 1e-3), "µV": ("V", 1e-6),
    "A": ("A", 1.0), "mA": ("A", 1e-3), "µA": ("A", 1e-6), "uA": ("A", 1e-6), "nA": ("A", 1e-9),
    "Ω": ("ohm", 1.0), "mΩ": ("ohm", 1e-3), "kΩ": ("ohm", 1e3), "MΩ": ("ohm", 1e6), "ohm": ("ohm", 1.0),
    "Ah": ("A.h", 1.0), "mAh": ("A.h", 1e-3), "Wh": ("W.h", 1.0), "W": ("W", 1.0),
    "ms": ("s", 1e-3), "s": ("s", 1.0), "min": ("s", 60.0), "h": ("s", 3600.0),
    "minutes": ("s", 60.0), "hours": ("s", 3600.0), "seconds": ("s", 1.0),
    "d": ("d", 1.0), "day": ("d", 1.0), "days": ("d", 1.0), "weeks": ("d", 7.0),
    "month": ("d", 30.4375), "months": ("d", 30.4375), "year": ("d", 365.25), "years": ("d", 365.25),
    "%": ("%", 1.0), "°C": ("degC", 1.0), "Hz": ("Hz", 1.0), "C": ("C", 1.0), "ppm": ("ppm", 1.0),
}  # fmt: skip
_SPACE = "[ \u00a0\u2009\u202f]"
_UNITS = "|".join(sorted(map(re.escape, _SIZES), key=len, reverse=True))
_DIGITS = r"\d{1,3}(?:[\u2009\u202f]\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"
_NUMBER = re.compile(
    rf"(?<![\w.^/])(?P<sign>[-\u2212]?)(?P<digits>{_DIGITS})(?P<part>[¼½¾]?)"
    rf"(?:{_SPACE}?(?P<unit>{_UNITS})(?![\w·/]))?(?![\w])"
    rf"|(?<![\w.])(?P<alone>[¼½¾]){_SPACE}?(?P<of>{_UNITS})\b"
)
_TIME = re.compile(
    rf"(?<![\d.])(?P<sign>\u2212?)(?:(?P<h>\d+){_SPACE}h{_SPACE})?(?P<min>\d+){_SPACE}min"
    rf"(?:{_SPACE}(?P<s>\d\d){_SPACE}s)?\b"
    rf"|(?<![\d:.])(?P<hours>\d+):(?P<minutes>\d\d)(?![\d:])"
)
_JOINS = re.compile(rf"{_SPACE}*(?:to|and|or|,|–|of){_SPACE}*")
_OF = re.compile(rf"{_SPACE}of(?:{_SPACE}the)?{_SPACE}")
_PARTS = {"": 0.0, "¼": 0.25, "½": 0.5, "¾": 0.75}
_NAMES = re.compile(
    r"\b(?:IEC|ISO|EN|JCGM|GUM|WCAG|UN|USB|JEITA|edition|page|clause|EIA)(?:[ /\u00a0](?:IEC|TS|EN))*"
    r"[ \u00a0]?[A-Z]?[\d.:-]*\d|C/\d+"
)
"""Numbers that are names: of a standard, a clause, an edition."""


@dataclass(frozen=True)
class Stated:
    """A number as a sentence gives it.

    Parameters
    ----------
    text : str
    value : float [unit]
        Without its sign: "reads 0.02 V low" and an offset of −0.02 V say the same.
    unit : str
        A finding's; empty for a bare number.
    step : float [unit]
        One of its last digit.
    """

    text: str
    value: float
    unit: str
    step: float


@dataclass(frozen=True)
class Known:
    """A number that a sentence may give, and whether it is an end, that may be rounded outward."""

    source: str
    value: float
    unit: str
    is_end: bool = False


def read(text: str) -> list[Stated]:
    """Return every number of a text, in its order; what is part of a standard's name is none.

    Parameters
    ----------
    text : str
    """
    plain = _NAMES.sub(lambda found: " " * len(found[0]), text)
    times = [(found.start(), found.end(), _time(found)) for found in _TIME.finditer(plain)]
    for start, end, _ in times:
        plain = plain[:start] + "~" * (end - start) + plain[end:]
    spans = [(found.start(), found.end(), _number(found)) for found in _NUMBER.finditer(plain)]
    found = sorted([*times, *_united(spans, plain)], key=lambda item: item[0])
    pairs = zip_longest(found, found[1:])
    return [_with_uncertainty(one, behind, text) if behind else one[2] for one, behind in pairs]


def _with_uncertainty(one: tuple[int, int, Stated], behind: tuple[int, int, Stated], text: str) -> Stated:
    """Return a number to no more digits than its uncertainty has: "90 µA ± 190 µA" is known to tens."""
    number, other = one[2], behind[2]
    is_pair = text[one[1] : behind[0]].strip() == "±" and number.unit == other.unit
    return replace(number, step=max(number.step, other.step)) if is_pair else number


def _time(found: re.Match[str]) -> Stated:
    hours, minutes = found["h"] or found["hours"], found["min"] or found["minutes"]
    seconds = 3600 * int(hours or 0) + 60 * int(minutes) + int(found["s"] or 0)
    return Stated(found[0], float(seconds), "s", 1.0 if found["s"] else 60.0)


def _number(found: re.Match[str]) -> Stated:
    unit, size = _SIZES.get(found["unit"] or found["of"] or "", ("", 1.0))
    digits = re.sub(_SPACE, "", found["digits"] or "0")
    part = found["part"] or found["alone"] or ""
    step = 0.25 if part else 10.0 ** -len(digits.partition(".")[2])
    if unit and not part and "." not in digits:
        # Two digits at least are meant: "2560 d", "10 000 d".
        step = 10.0 ** min(len(digits) - len(digits.rstrip("0")), max(len(digits) - 2, 0))
    return Stated(found[0], (float(digits) + _PARTS[part]) * size, unit, step * size)


def _united(spans: list[tuple[int, int, Stated]], text: str) -> Iterator[tuple[int, int, Stated]]:
    """Yield numbers; those that are joined to one with a unit, "2 to 3 Ah", have it too."""
    behind: Stated | None = None
    start_behind = -1
    for start, end, one in reversed(spans):
        joined = behind and start_behind >= 0 and _JOINS.fullmatch(text[end:start_behind])
        if joined and not one.unit and behind and behind.unit and not _OF.fullmatch(text[end:start_behind]):
            size = behind.step / 10.0 ** -_decimals(behind.text)
            one = Stated(f"{one.text} {behind.unit}", one.value * size, behind.unit, one.step * size)
        yield start, end, one
        behind, start_behind = one, start


def _decimals(text: str) -> int:
    return len(re.sub(r"[^\d.]", "", text).partition(".")[2])


def known_of(findings: Iterable[Finding]) -> Iterator[Known]:
    """Yield every number of findings: value, uncertainty, ends, limit, counts, what a list holds."""
    for item in findings:
        yield from _measured(item)
        if item.limit:
            ends = [end for end in (item.limit.low, item.limit.high) if end is not None]
            yield from (Known(f"{item.key}: limit", abs(end), item.unit) for end in ends)
            yield from read_in(f"{item.key}: limit's source", item.limit.source)
        if isinstance(item.value, list):
            yield Known(f"{item.key}: how many", float(len(item.value)), "")
        yield from _inside(item.key, item.value)
        yield from read_in(f"{item.key}: label", item.label)


def _measured(item: Finding) -> Iterator[Known]:
    unit = "" if item.unit == "1" else item.unit
    for name in ("value", "uncertainty", "low", "high"):
        number = getattr(item, name)
        if isinstance(number, int | float) and not isinstance(number, bool):
            yield Known(f"{item.key}: {name}", abs(float(number)), unit, name != "value")


def declared_of(values: Any, name: str = "") -> Iterator[Known]:
    """Yield every number of a review file: bare ones in the unit of their key, others as they are written."""
    if isinstance(values, Mapping):
        for key, value in values.items():
            yield from read_in(f"{key}", str(key))
            yield from declared_of(value, str(key))
    elif isinstance(values, list | tuple):
        for value in values:
            yield from declared_of(value, name)
    elif isinstance(values, str):
        yield from read_in(name, values)
    elif isinstance(values, int | float) and not isinstance(values, bool):
        unit, size = _SIZES.get(_SUFFIXES.get(name.rpartition("_")[2], name.rpartition("_")[2]), ("", 1.0))
        yield Known(name, abs(float(values)) * size, unit)


_SUFFIXES = {"percent": "%", "C": "°C", "ohm": "Ω"}


def _inside(name: str, value: Any) -> Iterator[Known]:
    """Yield the numbers inside a list or text that is a finding's value."""
    if isinstance(value, str):
        yield from read_in(name, value)
    elif isinstance(value, Mapping):
        yield from declared_of(value, name)
    elif isinstance(value, list):
        for one in value:
            yield from _inside(name, one)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield Known(name, abs(float(value)), "")


def read_in(name: str, text: str) -> Iterator[Known]:
    """Yield the numbers of a text that is taken as given."""
    yield from (Known(name, one.value, one.unit) for one in read(text))


def is_of(one: Stated, known: Known) -> bool:
    """Whether a stated number is a known one at the digits shown; an end may be rounded outward."""
    if one.unit != known.unit or not math.isfinite(known.value):
        return False
    room = one.step * (1.0 if known.is_end else 0.5)
    return abs(one.value - known.value) <= room * (1 + 1e-6) + 1e-12


def unfound(text: str, known: Iterable[Known]) -> list[Stated]:
    """Return the numbers of a text that nothing known carries."""
    carried = list(known)
    return [one for one in read(text) if not any(is_of(one, item) for item in carried)]
