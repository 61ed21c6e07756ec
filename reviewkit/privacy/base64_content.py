"""Base64 inside a text: pictures lose their metadata, texts what is private in them."""

from __future__ import annotations

import base64
import binascii
import gzip
import re
import zlib
from collections.abc import Callable

from reviewkit.privacy import images

Clean = Callable[[str], str]

# Whole words of its alphabet, in one line or in several.
_CODED = re.compile(r"(?<![\w+/=%-])[A-Za-z0-9+/]{12,}(?:\r?\n[A-Za-z0-9+/]+)*={0,2}(?![\w+/=-])")
_ODD = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_NUMBERS_ONLY = re.compile(r"[0-9.,eE+\-\n]*")
_GZIP = b"\x1f\x8b"
_MOST_UNPACKED = 64 << 20


def cleaned(text: str, clean: Clean) -> str:
    """Return a text in which what is coded has been cleaned too.

    Parameters
    ----------
    text : str
    clean : callable
        Takes out of a text what is private.
    """
    return _CODED.sub(lambda found: _again(found[0], clean), text)


def picture(content: str) -> str | None:
    """Return a PNG or JPEG, in base64, without metadata; None if it is neither or damaged."""
    try:
        return base64.b64encode(images.stripped(_decoded(content))).decode()
    except ValueError:
        return None


def packed(content: str, clean: Clean) -> str:
    """Return a packed text, in base64, without what is private in it."""
    return _again(content, clean)


def _again(content: str, clean: Clean) -> str:
    """Return coded content cleaned, or as it is if there is nothing to clean in it."""
    try:
        data = _decoded(content)
        new = _clean_bytes(data, clean)
    except ValueError:
        # Several lines may as well be several words.
        lines = content.split("\n")
        return "\n".join(_again(line, clean) for line in lines) if lines[1:] else content
    return content if new == data else base64.b64encode(new).decode()


def _decoded(content: str) -> bytes:
    try:
        bare = "".join(content.split()).rstrip("=")
        return base64.b64decode(bare + "=" * (-len(bare) % 4), validate=True)
    except binascii.Error as error:
        raise ValueError(str(error)) from error


def _clean_bytes(data: bytes, clean: Clean) -> bytes:
    if images.is_png(data) or images.is_jpeg(data):
        try:
            return images.stripped(data)
        except ValueError:
            # Whatever it is, it is no picture that anyone could look at.
            return b""
    if data.startswith(_GZIP):
        text = _unpacked(data)
        new = _clean_table(text, clean)
        return data if new == text else gzip.compress(new.encode(), mtime=0)
    text = data.decode()
    if _ODD.search(text):
        return data
    return clean(images.svg(text) if "<svg" in text else text).encode()


def _clean_table(text: str, clean: Clean) -> str:
    """Return a text cleaned; under a table's headings plain numbers need no search."""
    headings, line_end, rows = text.partition("\n")
    if _NUMBERS_ONLY.fullmatch(rows):
        return clean(headings) + line_end + rows
    return clean(text)


def _unpacked(data: bytes) -> str:
    try:
        reader = zlib.decompressobj(wbits=31)
        text = reader.decompress(data, _MOST_UNPACKED)
        if not reader.eof or reader.unused_data:
            raise ValueError("cut off, or more than one")
        return text.decode()
    except zlib.error as error:
        raise ValueError(str(error)) from error
