"""The author's words, damaged."""

from __future__ import annotations

import random

from .entry import Refused, changed, swapped, wrote
from .log_form import TODO

WORDS = (
    Refused("words: binary junk", wrote("words.md", random.Random(5).randbytes(3000)), TODO),
    Refused("words: NUL bytes", changed("words.md", lambda raw: raw + bytes(20)), TODO),
    Refused("words: a picture", wrote("words.md", b"\x89PNG\r\n\x1a\nabc"), TODO),
    Refused("words: far more than anyone writes", wrote("words.md", b"word " * 1_000_000), TODO),
    Refused("words: a placeholder of no section", swapped("words.md", ("charge.plateau", "chrage.plateau")), TODO),
    Refused("words: a placeholder that is no key", swapped("words.md", ("{charge.plateau_current}", "{plateau}")), TODO),
)
