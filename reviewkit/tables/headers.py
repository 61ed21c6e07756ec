"""What a column's heading says: its name, and the unit behind it."""

from __future__ import annotations

import re
from collections.abc import Iterable

from reviewkit.metrology import units

_BRACKETED = re.compile(r"^(.*?)\s*[\[({]\s*([^\[\](){}]+?)\s*[\])}]\s*$")
_DIVIDED = re.compile(r"^(.*\S)\s*/\s*(\S{1,8})$")
_BEHIND = re.compile(r"^(.*?\w)[\s_\-.,:]+(\S{1,4})$")
_KINDS = ("V", "A", "degC", "s", "ohm", "A.h", "W.h", "%")
_TEMPERATURES = {"°c", "degc", "℃", "celsius", "c", "°f", "degf", "℉", "k"}


def is_unit(text: str) -> bool:
    """Whether `text` is a unit that a meter or a person writes."""
    spelled = text.strip()
    if spelled.lower() in _TEMPERATURES or spelled in ("s", "h", "min", "sec", "ms"):
        return True
    if not re.fullmatch(r"[µμumknMp]?(?:V|A|Ω|Ω|ohm|Ohm|Ah|Wh|W)(?:dc|DC)?|%", spelled):
        return False
    return any(units.is_unit_of(plain_unit(spelled), kind) for kind in (*_KINDS, "W"))


def plain_unit(text: str) -> str:
    """Return a unit without the kind of current behind it: "mVDC" → "mV"."""
    return re.sub(r"(?<=[VA])(?:dc|DC)$", "", text.strip())


def split_unit(heading: str) -> tuple[str, str]:
    """Return name and unit of a heading; the unit is empty where it has none.

    Parameters
    ----------
    heading : str
        "Current (mA)", "I [A]", "Voltage / V", "voltage_V", "Current mA".

    Returns
    -------
    tuple of (str, str)
        ``("Current", "mA")``.
    """
    text = heading.strip()
    found = _BRACKETED.match(text)
    if found and is_unit(found[2]):
        return found[1], plain_unit(found[2])
    for pattern in (_DIVIDED, _BEHIND):
        found = pattern.match(text)
        if found and is_unit(found[2]):
            return found[1], plain_unit(found[2])
    return text, ""


def plain(text: str) -> str:
    """Return a heading as it is compared: lower case, one space between words, no punctuation."""
    return " ".join(re.sub(r"[^\w%]+|_", " ", text.casefold()).split())


def match(headings: Iterable[str], names: Iterable[str]) -> str | None:
    """Return the heading that one of `names` stands for: an exact one first, then one without its unit.

    Parameters
    ----------
    headings : iterable of str
        As the file has them.
    names : iterable of str
        Usual names, best first.
    """
    known = list(headings)
    for spelled in (str, _without_unit):
        by_name = {plain(spelled(heading)): heading for heading in reversed(known)}
        for name in names:
            if plain(name) in by_name:
                return by_name[plain(name)]
    return None


def _without_unit(heading: str) -> str:
    return split_unit(heading)[0]
