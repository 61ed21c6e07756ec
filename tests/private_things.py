"""Things that must stay private, a template that tells them in every way it can, and a search for them."""

from __future__ import annotations

import base64
import gzip
import html
import io
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes

_CODED = re.compile(rb"[A-Za-z0-9+/]{12,}={0,2}")
_ESCAPED = re.compile(rb"(?:\\u[0-9a-fA-F]{4})+")
_DEPTH = 3


def say(word: str) -> str:
    """A marker, which a template's source does not hold."""
    return f"{word}marker"


def png(texts: dict[str, str]) -> bytes:
    """A small picture with texts in every kind of chunk that holds one, and behind its end."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    rows = b"".join(b"\0" + bytes((row * 30, 99, 9)) * 8 for row in range(8))
    parts = [chunk(b"IHDR", struct.pack(">IIBBBBB", 8, 8, 8, 2, 0, 0, 0))]
    for number, (name, text) in enumerate(texts.items()):
        coded = text.encode()
        parts += {
            0: [chunk(b"tEXt", name.encode() + b"\0" + coded)],
            1: [chunk(b"zTXt", name.encode() + b"\0\0" + zlib.compress(coded))],
            2: [chunk(b"iTXt", name.encode() + b"\0\0\0\0\0" + coded)],
            3: [
                chunk(b"eXIf", b"II*\0\x08\0\0\0\0\0" + coded),
                chunk(b"iCCP", name.encode() + b"\0\0" + zlib.compress(coded)),
            ],
        }[number % 4]
    parts += [chunk(b"tIME", b"\x07\xea\x02\x0e\0\0\0"), chunk(b"IDAT", zlib.compress(rows))]
    parts += [chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts) + texts["behind"].encode()


# One grey square of 8 by 8 pixels, as any encoder writes it with the tables of ITU-T T.81, annex K.
_TABLES = {
    "quantities": "ffdb004300" + "10" * 64,
    "frame": "ffc0000b080008000801011100",
    "direct": "ffc4001f0000010501010101010100000000000000000102030405060708090a0b",
    "alternating": "ffc400b5100002010303020403050504040000017d"
    "0102030004110512213141061351610722711432819"
    + "1a1082342b1c11552d1f02433627282090a161718191a25262728292a"
    "3435363738393a434445464748494a535455565758595a636465666768696a737475767778797a838485868788898a"
    "92939495969798999aa2a3a4a5a6a7a8a9aab2b3b4b5b6b7b8b9bac2c3c4c5c6c7c8c9cad2d3d4d5d6d7d8d9da"
    "e1e2e3e4e5e6e7e8e9eaf1f2f3f4f5f6f7f8f9fa",
    "scan": "ffda0008010100003f00" + "d2cf20",
}


def jpeg(text: str, *, turned: int = 6) -> bytes:
    """A small photograph that says how it was held, and has text in every segment that may hold some."""

    def segment(marker: int, body: bytes) -> bytes:
        return bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body

    coded = text.encode()
    entries = struct.pack("<HHHIHHHHII", 2, 0x0112, 3, 1, turned, 0, 0x013B, 2, len(coded), 38) + bytes(4)
    exif = b"Exif\0\0II*\0\x08\0\0\0" + entries + coded
    head = segment(0xE0, b"JFIF\0\x01\x01\0\0\x01\0\x01\0\0") + segment(0xE1, exif)
    head += segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x>" + coded + b"</x>")
    head += segment(0xED, b"Photoshop 3.0\0" + coded) + segment(0xFE, coded)
    return b"\xff\xd8" + head + bytes.fromhex("".join(_TABLES.values())) + b"\xff\xd9" + coded


def svg(text: str) -> str:
    return (
        f"<!-- {text} --><svg xmlns='http://www.w3.org/2000/svg' xmlns:i='urn:i' xmlns:inkscape='urn:k' "
        f'width="9" height="9" inkscape:export-filename="/nowhere/{text}.png"><metadata>{text}</metadata>'
        f"<i:metadata>{text}</i:metadata><circle cx='4' cy='4' r='3'/></svg>"
    )


PARAMETERS = {
    "section": 'log: str = ""  # file with the readings',
    "summary": 'findings: str = "findings.json"  # the findings of all sections',
    "compare": 'first: str = ""  # the first review\nsecond: str = ""  # the second',
}


def template(lines: str, *, kind: str = "section") -> str:
    """A template whose cells are the pieces between blank lines."""
    cells: list[dict[str, Any]] = [_code("parameters", PARAMETERS[kind], tags=["parameters"])]
    cells += [_code(f"cell-{number}", piece) for number, piece in enumerate(lines.strip().split("\n\n"))]
    about: dict[str, Any] = {"kind": kind, "title": "Telling", "place": 15, "makes": []}
    if kind == "summary":
        about["figures"] = ["lamp.reading", "telling.text"]
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    whole = {
        "cells": cells,
        "metadata": {"kernelspec": kernel, "language_info": {"name": "python"}, "reviewkit": about},
        "nbformat": 4,
        "nbformat_minor": 5,
    }
    return json.dumps(whole)


def _code(name: str, source: str, **metadata: Any) -> dict[str, Any]:
    return {
        "cell_type": "code",
        "id": name,
        "metadata": metadata,
        "source": source,
        "execution_count": None,
        "outputs": [],
    }


def pieces(content: bytes, depth: int = _DEPTH) -> Iterator[bytes]:
    """Walk a file's content and everything that is coded or packed in it, down to some depth."""
    yield content
    if not depth:
        return
    for inner in _inner(content):
        if inner != content:
            yield from pieces(inner, depth - 1)


def _inner(content: bytes) -> Iterator[bytes]:
    if content.startswith(b"PK\x03\x04"):
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            yield from (
                repr((item.filename, item.comment, item.extra)).encode() for item in archive.infolist()
            )
            yield from map(archive.read, archive.infolist())
    elif content.startswith(b"\x1f\x8b"):
        yield gzip.decompress(content)
    else:
        yield from _inflated(content) if content.startswith(b"\x89PNG") else _written_otherwise(content)


def _written_otherwise(content: bytes) -> Iterator[bytes]:
    """Walk a text without its escapes, and what it holds in base64."""
    if b"\\u" in content:
        yield _ESCAPED.sub(
            lambda found: found[0].decode("unicode-escape").encode("utf-8", "replace"), content
        )
    if b"%" in content:
        yield unquote_to_bytes(content)
    if b"&" in content:
        yield html.unescape(content.decode("utf-8", "replace")).encode("utf-8", "replace")
    for found in _CODED.findall(content.replace(b"\\n", b"")):
        bare = found.rstrip(b"=")
        # Of a word that is no whole number of bytes, what it holds whole.
        yield base64.b64decode(bare[: len(bare) - (len(bare) % 4 == 1)] + b"=" * (-len(bare) % 4 % 3))


def _inflated(content: bytes) -> Iterator[bytes]:
    """Walk what is deflated anywhere in a PNG."""
    for found in re.finditer(rb"x[\x01\x5e\x9c\xda]", content):
        try:
            yield zlib.decompressobj().decompress(content[found.start() :], 1 << 20)
        except zlib.error:
            continue


def told(content: bytes, markers: set[str]) -> set[str]:
    """The markers that a file tells, however they are written."""
    found: set[str] = set()
    for piece in pieces(content):
        low = piece.lower()
        found |= {marker for marker in markers - found if marker.encode() in low}
    return found


def files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }
