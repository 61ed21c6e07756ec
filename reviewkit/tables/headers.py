"""What a column's heading says: which quantity, and in what unit.

The words and units are those of `vocabulary.toml`, a table that a person can extend.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources

KIND_OF = {"voltage": "V", "current": "A", "temperature": "degC", "time": "s", "other": "other"}
"""What the units of the vocabulary measure, as a quantity of the kit."""

MEANINGS = {"voltage": "V", "current": "A", "temperature": "degC", "time": "s"}
_COUNTED = {"counts", "count", "samples", "sample", "records"}
"""In brackets they stand where the unit would, and are none."""
_BRACKETS = re.compile(r"[\[({<]([^\[\](){}<>]*)[\])}>]")
_CLOCK = re.compile(
    r"(?:d:)?(?:h{1,2}:)?m{1,2}(?::s{1,2})?(?:[.,:](?:0+|f+|ms|s+|m+|z+|x+))?|h{1,2}:m{1,2}(?::s{1,2})?"
)
_DIRECT = re.compile(r"(?i)(^dc[\s_]*|[\s_]*dc$)")
_TOKENS = re.compile(r"[^\W_]+[°º]?[CFK]?|[°º][CFK]|%")
_CAMEL = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|[^\W\d_a-zA-Z]+")
_SYMBOL = re.compile(r"([uvi])(?:bat+|batt?ery|cell|zelle|akku|out|in|bus|dc|ch|chg|load|m|meas)?\d*")
_SYMBOLS = {"u": "voltage", "v": "voltage", "i": "current"}


@dataclass(frozen=True)
class Heading:
    """A heading taken apart.

    Parameters
    ----------
    text : str
        As the file has it.
    words : tuple of str
        Without accents, in lower case; the unit is not among them.
    unit : str
        As the kit calls it, "" for none: "mA", "s", or the pattern of a clock such as "mm:ss".
    unknown : str
        What stands in brackets and is no unit that is known.
    """

    text: str
    words: tuple[str, ...]
    unit: str = ""
    unknown: str = ""

    @property
    def kinds(self) -> frozenset[str]:
        """What the words may mean, such as "voltage", "time", "avoided"."""
        return kinds_of(self.words)

    @property
    def unit_kind(self) -> str:
        """Quantity of the unit: "V", "A", "degC", "s", "other", "" without one."""
        return unit_kind(self.unit)


@dataclass(frozen=True)
class _Vocabulary:
    words: Mapping[str, frozenset[str]]
    parts: Mapping[str, tuple[str, ...]]
    units: Mapping[str, tuple[str, str]]


@cache
def _vocabulary() -> _Vocabulary:
    table = tomllib.loads(
        resources.files(__package__).joinpath("vocabulary.toml").read_text(encoding="utf-8")
    )
    meanings: dict[str, set[str]] = {}
    for meaning, languages in table["words"].items():
        for word in (word for words in languages.values() for word in words):
            meanings.setdefault(fold(word), set()).add(meaning)
    units = {
        _unit_key(spelled): (unit if quantity != "other" else spelled, KIND_OF[quantity])
        for quantity, known in table["units"].items()
        for unit, spellings in known.items()
        for spelled in spellings
    }
    words = {word: frozenset(found) for word, found in meanings.items()}
    return _Vocabulary(words, {name: tuple(parts) for name, parts in table["parts"].items()}, units)


def fold(text: str) -> str:
    """Return text in lower case and without accents, as words are compared."""
    apart = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    return "".join(sign for sign in apart if not unicodedata.combining(sign)).casefold().strip()


def _unit_key(text: str) -> str:
    return re.sub(r"\s+", " ", unicodedata.normalize("NFKC", text.strip().strip("()[]{}<> "))).casefold()


@lru_cache(maxsize=4096)
def unit(text: str) -> str:
    """Return a unit as the kit calls it, "" if it is none: "Volts" → "V", "mVDC" → "mV", "sec" → "s"."""
    known = _vocabulary().units
    plain = _unit_key(text)
    for spelled in (plain, _DIRECT.sub("", plain)):
        if spelled in known:
            return known[spelled][0]
    return ""


def unit_kind(text: str) -> str:
    """Return which quantity a unit measures: "V", "A", "degC", "s", "other"; "" if it is none."""
    if is_clock(text):
        return "s"
    known = _vocabulary().units
    plain = _unit_key(text)
    found = known.get(plain) or known.get(_DIRECT.sub("", plain))
    return found[1] if found else ""


def is_unit(text: str) -> bool:
    """Whether `text` is a unit that a meter or a person writes."""
    return bool(unit(text))


def is_clock(text: str) -> bool:
    """Whether `text` is the pattern of a clock, such as "hh:mm:ss"."""
    return ":" in text and bool(_CLOCK.fullmatch(text.strip().casefold()))


@lru_cache(maxsize=4096)
def kinds_of(words: tuple[str, ...]) -> frozenset[str]:
    """Return what some words may mean."""
    return frozenset().union(*(_kinds(word) for word in words))


@lru_cache(maxsize=4096)
def _kinds(word: str) -> frozenset[str]:
    known = _vocabulary()
    bare = word.rstrip("0123456789")
    for spelled in (word, bare) if word.isascii() else ():
        if spelled in known.words:
            return known.words[spelled]
    symbol = _SYMBOL.fullmatch(word)
    if symbol:
        return frozenset({_SYMBOLS[symbol[1]]})
    if not word.isascii():
        found = {
            name
            for part, names in known.words.items()
            if not part.isascii() and part in word
            for name in names
        }
        if found:
            return frozenset(found)
    for meaning in ("step", "time", "voltage", "current", "temperature"):
        if any(word.endswith(part) or bare.startswith(part) for part in known.parts[meaning] if word != part):
            return frozenset({meaning})
    return frozenset()


@lru_cache(maxsize=4096)
def parse(text: str) -> Heading:
    """Take a heading apart: "Current (mA)", "I [A]", "Voltage / V", "voltage_volt", "Test_Time(s)", "s"."""
    plain = unicodedata.normalize("NFKC", text).strip(" \"'#*\t")
    inside = [found.strip() for found in _BRACKETS.findall(plain) if found.strip()]
    rest = _BRACKETS.sub(" ", plain).strip()
    found, unknown = _bracketed(inside)
    if not found:
        rest, found = _divided(rest)
    if not found and not inside:
        words, found = _behind(rest)
        return Heading(text, words, found)
    return Heading(
        text,
        (*_words(rest), *(word for part in inside if not is_unit(part) for word in _words(part))),
        found,
        unknown,
    )


def _bracketed(inside: list[str]) -> tuple[str, str]:
    """Return the unit that stands in brackets, and what does without being one."""
    for part in reversed(inside):
        if is_clock(part):
            return part.casefold(), ""
        if is_unit(part):
            return unit(part), ""
    for part in reversed(inside):
        words = _words(part)
        if any(word in _COUNTED or not (_kinds(word) or word.isdigit()) for word in words) and not re.search(
            r"[a-z]{2,4}[-./][a-z]{2}", part, re.I
        ):
            return "", part
    return "", ""


def _divided(text: str) -> tuple[str, str]:
    for mark in ("/", ",", " in ", " en ", ":"):
        name, there, behind = text.rpartition(mark)
        if there and name.strip() and (is_unit(behind) or is_clock(behind)):
            return name.strip(), unit(behind) or behind.strip().casefold()
    return text, ""


def _behind(text: str) -> tuple[tuple[str, ...], str]:
    """Return the words, and a unit written before or behind them, if it is one of what they name."""
    raw = _TOKENS.findall(text)
    if len(raw) == 1 and is_unit(raw[0]):
        return _words(raw[0]) if len(raw[0]) > 2 else (), unit(raw[0])
    split = raw[:-1] + _CAMEL.findall(raw[-1]) if raw else []
    for tokens in (raw, split):
        if len(tokens) < 2:
            continue
        joined = text.rstrip()[: -len(tokens[-1])].endswith(("_", ".")) and not text.rstrip()[
            : -len(tokens[-1])
        ].endswith(" ")
        words = _words(" ".join(tokens[:-1]))
        if _goes_with(tokens[-1], words, joined=joined):
            return words, unit(tokens[-1])
    if len(raw) > 1 and len(raw[0]) > 1 and _goes_with(raw[0], _words(" ".join(raw[1:])), joined=True):
        return _words(" ".join(raw[1:])), unit(raw[0])
    return _words(text), ""


def _goes_with(token: str, words: tuple[str, ...], *, joined: bool) -> bool:
    """Whether a token is the unit of what the words name: "min" behind "Voltage" is none."""
    kind = unit_kind(token)
    if not kind or not unit(token):
        return False
    named = {KIND_OF.get(name, "") for name in kinds_of(words)} - {""}
    if kind in named:
        return True
    return not (named & set(MEANINGS.values())) and (joined or len(token) > 1)


def _words(text: str) -> tuple[str, ...]:
    found: list[str] = []
    for raw in _TOKENS.findall(text):
        whole = fold(raw)
        if _kinds(whole):
            found.append(whole)
        else:
            found += [fold(part) for part in _CAMEL.findall(raw)] or [whole]
    return tuple(word for word in found if word)


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
    found = parse(heading)
    if not found.unit or not found.words:
        return heading.strip(), "" if not found.words else found.unit
    for at in range(len(heading), 0, -1):
        name = heading[:at].rstrip(" /_-.,:([{<°º")
        if name and parse(name).words == found.words and not parse(name).unit:
            shorter = name
            break
    else:
        shorter = heading
    return shorter.strip(), found.unit


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
