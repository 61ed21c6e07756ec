"""Findings' keys: in an author's words, where each stands for its number; and which there can be."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from reviewkit.errors import Faults, ReviewFileError
from reviewkit.findings import Finding
from reviewkit.tables import keys

PLACEHOLDER = re.compile(r"\{([A-Za-z]\w*(?:\.\w+)*)\}")
"""A finding's key in braces: ``{charge.plateau_current}``."""

_UNITS = (
    "mAh|Ah|mWh|Wh|[µμum]?V|[µμum]?A|k?[ΩΩ]|m[ΩΩ]|k?ohms?|mW|W|°\\s?C|%|percent|k?Hz|"
    "ms|s|sec|seconds?|min|minutes?|h|hours?|d|days?|weeks?|months?|years?|volts?|amperes?|amps?|watts?"
)
_TYPED = re.compile(rf"(?<![\w.,{{])[−-]?\d+(?:[.,]\d+)*[\s\u00a0\u202f]?(?:{_UNITS})(?![\w}}])")


@dataclass(frozen=True)
class Typed:
    """A number with a unit that somebody typed.

    Parameters
    ----------
    line : int
        Counted from 1.
    """

    line: int
    text: str


def pieces(text: str) -> Iterator[tuple[str, bool]]:
    """Split a text at its placeholders: (text, False) or (key, True), in order."""
    end = 0
    for found in PLACEHOLDER.finditer(text):
        if found.start() > end:
            yield text[end : found.start()], False
        yield found[1], True
        end = found.end()
    if end < len(text):
        yield text[end:], False


def filled(text: str, findings: Mapping[str, Finding]) -> str:
    """Return a text with the value, uncertainty and unit of each finding that it names.

    Raises
    ------
    KeyError
        If a finding does not exist; `faults` says it in a person's words.
    """
    return "".join(findings[piece].text if is_key else piece for piece, is_key in pieces(text))


def check(text: str, known: Iterable[str], *, file: str, lost: Iterable[str] = ()) -> None:
    """Make sure that all placeholders of a text are findings.

    Parameters
    ----------
    text : str
    known : iterable of str
        The findings' keys.
    file : str
        Named in messages.
    lost : iterable of str
        What the keys start with that a section would have made, had it not failed: they are passed over.

    Raises
    ------
    Faults
        One `ReviewFileError` for each unknown placeholder, naming the nearest key.
    """
    keys = sorted(known)
    faults = [
        _unknown(found[1], keys, file, number)
        for number, line in enumerate(text.splitlines(), 1)
        for found in PLACEHOLDER.finditer(line)
        if found[1] not in keys and not found[1].startswith(tuple(lost))
    ]
    if faults:
        raise Faults(faults)


def nearest(key: str, known: Collection[str]) -> str:
    """Return the key that looks most like another one; empty where there is none."""
    return _nearest(key, known, cutoff=0.0)


def _unknown(key: str, keys: list[str], file: str, line: int) -> ReviewFileError:
    near = nearest(key, keys)
    remedy = f"Did you mean '{{{near}}}'?" if near else "This review has no findings."
    return ReviewFileError(
        f"there is no finding '{key}'",
        file=file,
        place=f"line {line}",
        expected="a finding's key",
        remedy=remedy,
    )


def hand_typed(text: str) -> list[Typed]:
    """Return the numbers with units in a text that a finding does not stand behind.

    Parameters
    ----------
    text : str
        Placeholders are left out of account.
    """
    return [
        Typed(number, found[0].strip())
        for number, line in enumerate(text.splitlines(), 1)
        for found in _TYPED.finditer(PLACEHOLDER.sub(" ", line))
    ]


_UNNAMED = re.compile(r"run_\d+")


@dataclass(frozen=True)
class FindingKeys:
    """What is known of the findings' keys before a run.

    Parameters
    ----------
    finds : mapping of str to mapping of str to (str or None)
        For what keys start with: the last names that they can have, each with its unit (None: not known);
        empty: any name.
    labels : mapping of str to collection of str
        For what keys start with: what can stand between that and a last name; left out: anything.
    """

    finds: Mapping[str, Mapping[str, str | None]]
    labels: Mapping[str, Collection[str]] = field(default_factory=dict)

    def starts(self, key: str) -> str | None:
        """Return what a key starts with, of what keys can start with."""
        return max((start for start in self.finds if key.startswith(start)), key=len, default=None)

    def unit(self, key: str) -> str | None:
        """Return the unit of a finding; None where it is not known."""
        start = self.starts(key)
        return None if start is None else self.finds[start].get(key.rpartition(".")[2])

    def refused(self, key: str) -> tuple[str, str] | None:
        """Return what was expected instead of a key that no finding can have, and the nearest; else None.

        Whether a finding of that key is made in the end is only known after a run.
        """
        start = self.starts(key)
        if start is None:
            starts = ", ".join(f"'{one}'" for one in sorted(self.finds))
            return f"a finding's key, which starts with one of {starts}", self._other_start(key)
        *middle, last = key.removeprefix(start).split(".")
        labels = self.labels.get(start)
        near = ""
        if self.finds[start] and last not in self.finds[start]:
            near = _nearest(last, self.finds[start])
            near = key.removesuffix(last) + near if near else ""
        elif labels is not None and len(middle) == 1 and not _is_label(middle[0], labels):
            near = _nearest(middle[0], labels)
            near = f"{start}{near}.{last}" if near else ""
        else:
            return None
        return "a finding's key, such as the pages of this review have beside their numbers", near

    def _other_start(self, key: str) -> str:
        tail = key.partition(".")[2]
        known = sorted(start + tail for start in self.finds) if tail else []
        return _nearest(key, known, cutoff=0.5)


def _is_label(word: str, labels: Collection[str]) -> bool:
    return word in labels or bool(_UNNAMED.fullmatch(word))


def _nearest(word: str, words: Collection[str], *, cutoff: float = 0.6) -> str:
    return next(iter(difflib.get_close_matches(word, sorted(words), n=1, cutoff=cutoff)), "")


def labels(values: Any) -> frozenset[str]:
    """Return, as keys spell it, whatever somebody called something in a review file.

    Parameters
    ----------
    values : mapping
        The review file's.
    """
    return frozenset(keys.key(text) for text in _texts(values))


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for name, item in value.items():
            yield str(name)
            yield from _texts(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from _texts(item)
