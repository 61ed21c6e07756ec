"""Numbers in an author's words: written as a finding's key, printed as the finding stands."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from reviewkit.errors import Faults, ReviewFileError
from reviewkit.findings import Finding

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
    text : str
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


def _unknown(key: str, keys: list[str], file: str, line: int) -> ReviewFileError:
    near = difflib.get_close_matches(key, keys, n=1, cutoff=0.0)
    remedy = f"Did you mean '{{{near[0]}}}'?" if near else "This review has no findings."
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
