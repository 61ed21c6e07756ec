"""The author's words, damaged."""

from __future__ import annotations

import random

from .entry import Refused, changed, swapped, wrote

WORDS = (
    Refused(
        "words: binary junk",
        wrote("words.md", random.Random(5).randbytes(3000)),
        "words.md: the file holds NUL bytes, so it is damaged or no text. Export it again.",
    ),
    Refused(
        "words: NUL bytes",
        changed("words.md", lambda raw: raw + bytes(20)),
        "words.md: the file holds NUL bytes, so it is damaged or no text. Export it again.",
    ),
    Refused(
        "words: a picture",
        wrote("words.md", b"\x89PNG\r\n\x1a\nabc"),
        "words.md: this is a picture, no text. Write it as plain text, saved as UTF-8.",
    ),
    Refused(
        "words: far more than anyone writes",
        wrote("words.md", b"word " * 1_000_000),
        ("words.md: larger than 1 MB; expected your own paragraphs. Write it as plain text, saved as UTF-8."),
    ),
    Refused(
        "words: a placeholder of no section",
        swapped("words.md", ("charge.plateau", "chrage.plateau")),
        (
            "words.md, line 1: no section makes a finding 'chrage.plateau_current'; expected a "
            "finding's key, which starts with one of 'charge.', 'drain.', 'readout.', 'ui.'. Did "
            "you mean '{charge.plateau_current}'?"
        ),
    ),
    Refused(
        "words: a placeholder that is no key",
        swapped("words.md", ("{charge.plateau_current}", "{plateau}")),
        (
            "words.md, line 1: no section makes a finding 'plateau'; expected a finding's key, "
            "which starts with one of 'charge.', 'drain.', 'readout.', 'ui.'. Take the braces off"
            " where no number is meant."
        ),
    ),
)
