"""What a person's words become where a key, a file or a folder is named after them."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable
from pathlib import Path

LONGEST = 80
"""Letters of a key. Chosen: with all that is put around it, a file's name stays under the 255 bytes that
file systems take, and a path under Windows' 260 characters."""
_DIGEST = 8
# What Windows takes for a device, whatever stands behind a dot (Microsoft, "Naming Files, Paths, and
# Namespaces").
_DEVICES = re.compile(r"con|prn|aux|nul|com\d|lpt\d")


def key(words: str, *, separator: str = "_") -> str:
    """Return words as a key spells them: "locked out" → "locked_out", "verrouillé" → "verrouille".

    Letters of other scripts are transliterated. Two words may share a key; `doubles` finds those.

    Parameters
    ----------
    words : str
        As a person wrote them.
    separator : str
        Stands where they have anything but letters and digits.

    Returns
    -------
    str
        Of a-z, 0-9 and the separator, at most `LONGEST` letters: of longer words the beginning with a digest
        of them all. Signs alone are spelt by their numbers: "!?" → "u21_u3f". Empty for blanks.
    """
    plain = written = " ".join(unicodedata.normalize("NFKC", words).split())
    if not plain.isascii():
        # Its tables cost some tenths of a second: only where there is something to look up.
        from anyascii import anyascii

        plain = anyascii(plain)
    found = re.sub(r"[^a-z0-9]+", separator, plain.lower()).strip(separator)
    found = found or separator.join(f"u{ord(letter):x}" for letter in written if letter != " ")
    if len(found) <= LONGEST:
        return found
    digest = hashlib.sha256(written.encode("utf-8", "surrogatepass"))
    start = found[: LONGEST - _DIGEST - 1].rstrip(separator)
    return f"{start}{separator}{digest.hexdigest()[:_DIGEST]}"


def doubles(words: Iterable[str]) -> list[tuple[int, str, str, str]]:
    """Return those that would share a key with one before them.

    Returns
    -------
    list of (int, str, str, str)
        Place of the later one, counted from 0, itself, the earlier one, and the key.
    """
    first: dict[str, str] = {}
    found = []
    for index, name in enumerate(words):
        own = key(name)
        if own in first:
            found.append((index, name, first[own], own))
        first.setdefault(own, name)
    return found


def same(one: str, other: str, kind: str, shared: str) -> str:
    """Return what to say of two names that would share a key.

    Parameters
    ----------
    kind : str
        What they name: "states".
    shared : str
        The key.
    """
    if one == other:
        return f"two {kind} are called '{one[:60]}'"
    return f"the {kind} '{one[:60]}' and '{other[:60]}' would both stand under '{shared}'"


def distinct(words: Iterable[str]) -> list[str]:
    """Return a key for each of several words, with a number behind those that would share one."""
    found: list[str] = []
    for name in words:
        own = key(name)
        number = 2
        while (made := own if own not in found else f"{own}_{number}") in found:
            number += 1
        found.append(made)
    return found


def published_name(folder: Path) -> str:
    """Return what a review is called where it is published: its folder's name, as a web address takes it."""
    name = key(folder.name, separator="-") or "review"
    return f"{name}-review" if _DEVICES.fullmatch(name) else name
