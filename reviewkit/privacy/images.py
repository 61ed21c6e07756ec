"""Takes out of pictures, and of what is written in base64, whatever is no part of their looks."""

from __future__ import annotations

import base64
import binascii
import gzip
import re
import struct
import zlib
from collections.abc import Callable, Iterator

_PNG = b"\x89PNG\r\n\x1a\n"
# What a decoder needs, and what says how bright and how large (PNG, third edition, 5.6 and 11).
_PNG_KEPT = frozenset(
    {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"bKGD", b"pHYs"}
    | {b"acTL", b"fcTL", b"fdAT"}
)
_JPEG = b"\xff\xd8\xff"
_SOI, _EOI, _SOS, _COMMENT = 0xD8, 0xD9, 0xDA, 0xFE
_JFIF, _EXIF, _ADOBE = 0xE0, 0xE1, 0xEE
_APPLICATION = range(0xE0, 0xF0)
_ALONE = frozenset({0x01, *range(0xD0, 0xD9)})
"""Markers without a length; a restart marker is one."""
_ORIENTATION = 0x0112

_SVG_OUT = (
    re.compile(r"<!--.*?-->", re.DOTALL),
    re.compile(r"<\?(?!xml\s).*?\?>", re.DOTALL),
    re.compile(r"<!DOCTYPE[^>\[]*(?:\[.*?\]\s*)?>", re.DOTALL | re.IGNORECASE),
    re.compile(r"<(?:\w+:)?metadata\b(?:[^>]*/>|.*?</(?:\w+:)?metadata\s*>)", re.DOTALL),
    re.compile(r"<sodipodi:\w+\b(?:[^>]*/>|.*?</sodipodi:\w+\s*>)", re.DOTALL),
    re.compile(r"\s(?:sodipodi|inkscape|xml):(?!space|lang)[\w-]+\s*=\s*(?:\"[^\"]*\"|'[^']*')"),
)


def is_png(data: bytes) -> bool:
    """Return whether bytes begin as a PNG does."""
    return data.startswith(_PNG)


def is_jpeg(data: bytes) -> bool:
    """Return whether bytes begin as a JPEG does."""
    return data.startswith(_JPEG)


def stripped(data: bytes) -> bytes:
    """Return a PNG or JPEG without its metadata; it looks the same.

    Raises
    ------
    ValueError
        If it is neither, or damaged.
    """
    if is_png(data):
        return _PNG + b"".join(_png_parts(data))
    if is_jpeg(data):
        return b"\xff\xd8" + b"".join(_jpeg_parts(data))
    raise ValueError("neither PNG nor JPEG")


def svg(text: str) -> str:
    """Return a drawing's text without metadata, comments and what its editor noted."""
    for pattern in _SVG_OUT:
        text = pattern.sub("", text)
    return text


def _png_parts(data: bytes) -> Iterator[bytes]:
    """Walk the chunks to keep; what comes after the last one is no part of the picture."""
    offset, kind = len(_PNG), b""
    while kind != b"IEND":
        if offset + 12 > len(data):
            raise ValueError("the picture is cut off")
        length, kind = struct.unpack_from(">I4s", data, offset)
        end = offset + 12 + length
        if end > len(data) or zlib.crc32(data[offset + 4 : end - 4]) != int.from_bytes(data[end - 4 : end]):
            raise ValueError("the picture is damaged")
        if kind in _PNG_KEPT:
            yield data[offset:end]
        offset = end


def _jpeg_parts(data: bytes) -> Iterator[bytes]:
    """Walk the segments to keep, each with the coded lines behind it, up to the picture's end."""
    offset = 2
    while True:
        marker, start = _marker(data, offset)
        if marker == _EOI:
            yield b"\xff\xd9"
            return
        end = start if marker in _ALONE else start + int.from_bytes(data[start : start + 2])
        if end > len(data) or (marker not in _ALONE and end < start + 2):
            raise ValueError("the picture is cut off")
        yield from _kept(marker, data[start:end])
        offset = _coded_end(data, end) if marker == _SOS else end
        yield data[end:offset]


def _marker(data: bytes, offset: int) -> tuple[int, int]:
    """Return a marker and where what belongs to it starts."""
    start = offset
    while data[start : start + 1] == b"\xff":
        start += 1
    if start in (offset, len(data)):
        raise ValueError("the picture is damaged")
    return data[start], start + 1


def _kept(marker: int, segment: bytes) -> Iterator[bytes]:
    head = bytes((0xFF, marker))
    if marker == _JFIF and segment[2:7] == b"JFIF\0" and len(segment) >= 14:
        # Without the small picture that it may hold.
        yield head + b"\0\x10" + segment[2:14] + b"\0\0"
    elif marker == _EXIF:
        yield from _turned(segment)
    elif marker == _ADOBE or (marker not in _APPLICATION and marker != _COMMENT):
        yield head + segment


def _turned(segment: bytes) -> Iterator[bytes]:
    """Yield a segment that says how the camera was held, and nothing else of what this one says."""
    way = _orientation(segment[8:]) if segment[2:8] == b"Exif\0\0" else 1
    if way in range(2, 9):
        entry = struct.pack(">HHIHH", _ORIENTATION, 3, 1, way, 0)
        body = b"Exif\0\0MM\0*" + struct.pack(">IH", 8, 1) + entry + bytes(4)
        yield b"\xff\xe1" + (len(body) + 2).to_bytes(2) + body


def _orientation(tiff: bytes) -> int:
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None or len(tiff) < 8:
        return 1
    (offset,) = struct.unpack_from(f"{order}I", tiff, 4)
    count = struct.unpack_from(f"{order}H", tiff, offset)[0] if offset + 2 <= len(tiff) else 0
    for start in range(offset + 2, min(offset + 2 + 12 * count, len(tiff) - 11), 12):
        tag, kind, number, way = struct.unpack_from(f"{order}HHIH", tiff, start)
        if (tag, kind, number) == (_ORIENTATION, 3, 1):
            return int(way)
    return 1


def _coded_end(data: bytes, offset: int) -> int:
    """Return where coded lines end: before the next marker that is none of theirs."""
    while True:
        offset = data.find(b"\xff", offset)
        if offset < 0 or offset + 1 >= len(data):
            raise ValueError("the picture is cut off")
        if data[offset + 1] != 0 and data[offset + 1] not in range(0xD0, 0xD8):
            return offset
        offset += 2


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
    clean : callable
        Takes out of a text what is private.
    """
    return _CODED.sub(lambda found: _again(found[0], clean), text)


def picture(content: str) -> str | None:
    """Return a PNG or JPEG, in base64, without metadata; None if it is neither or damaged."""
    try:
        return base64.b64encode(stripped(_decoded(content))).decode()
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
    if is_png(data) or is_jpeg(data):
        try:
            return stripped(data)
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
    return clean(svg(text) if "<svg" in text else text).encode()


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
