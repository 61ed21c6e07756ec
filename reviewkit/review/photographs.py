"""Photographs in an author's words: which are named, what is refused, and each as it is published.

They are published upright, sized for a page and without what the camera wrote into them; nobody's position
or serial number leaves the machine with a picture.
"""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from reviewkit.errors import InputError, ReviewFileError, add
from reviewkit.findings.findings_file import WORDS
from reviewkit.tables import files, keys

if TYPE_CHECKING:
    from markdown_it import MarkdownIt
    from markdown_it.token import Token

FOLDER = "photos"
"""Of the published review."""
MOST_PIXELS = 1600
"""Longest edge as published. Chosen: twice the width of the text on a wide screen, for sharp displays."""
MOST_BYTES = 400_000
"""Of a photograph as published. Chosen: some two pages' own weight; it is loaded when it nears the screen."""
_EDGES = (MOST_PIXELS, 1200, 900, 600)
_QUALITIES = (82, 70, 58)
"""Tried in this order until the weight is met. Chosen: by eye, no grain is seen at the first."""
_MOST_READ_BYTES = 60 << 20
_MOST_READ_PIXELS = 120_000_000
"""Chosen: more than a phone's largest picture, and what unpacks in memory without harm."""
_FORMATS = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp"}
_ELSEWHERE = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:|//")
_HEIF = re.compile(rb"....ftyp(?:hei|hev|mif1|msf1|avi)", re.DOTALL)
"""How a file begins in the high-efficiency formats (ISO/IEC 23008-12)."""
_LIKE = "![what it shows](photos/lamp.jpg)"


@dataclass(frozen=True)
class Photograph:
    """A photograph as words name it.

    Parameters
    ----------
    path : str
        As written, relative to the review folder.
    alt : str
        What it shows, for those who can't see it.
    line : int
        Where its paragraph begins in the words, counted from 1.
    """

    path: str
    alt: str
    line: int


@dataclass(frozen=True)
class Sized:
    """A photograph as it is published.

    Parameters
    ----------
    name : str
        Its file in the published review.
    width, height : int [px]
    """

    name: str
    data: bytes
    width: int
    height: int


def parser() -> MarkdownIt:
    """Return the reader of Markdown in which a picture is one."""
    from markdown_it import MarkdownIt  # words without a picture are checked without

    return MarkdownIt("commonmark", {"html": False}).enable("table")


def named(text: str) -> tuple[Photograph, ...]:
    """Return the photographs that an author's words name, in their order."""
    return tuple(photo for photo, _ in _walk(text) if photo)


def _walk(text: str) -> Iterator[tuple[Photograph | None, int]]:
    """Walk each photograph, and each line in which something looks like one and is none."""
    if "![" not in text:
        return
    for block in parser().parse(text):
        line = (block.map or [0])[0] + 1
        children = block.children or [] if block.type == "inline" else []
        yield from ((source(child, line), line) for child in children if child.type == "image")
        if "![" in "".join(child.content for child in children if child.type == "text"):
            yield None, line


def source(token: Token, line: int = 0) -> Photograph:
    """Return the photograph that a token of Markdown names."""
    return Photograph(unquote(str(token.attrs.get("src", ""))), token.content.strip(), line)


def faults(folder: Path, text: str) -> list[InputError]:
    """Return what is wrong with the photographs that an author's words name."""
    found: list[InputError] = []
    add(found, (fault for photo, line in _walk(text) if (fault := _fault(folder, photo, line))))
    return found


def _fault(folder: Path, photo: Photograph | None, line: int) -> ReviewFileError | None:
    place = f"line {line}"
    if photo is None:
        remedy = "Write a blank in a file's name as %20; take the '!' off where no picture is meant."
        return ReviewFileError(
            "what begins with '![' is no picture", file=WORDS, place=place, expected=_LIKE, remedy=remedy
        )
    try:
        if not photo.alt:
            raise ReviewFileError(
                f"the picture '{photo.path}' has no words for those who can't see it",
                expected="what it shows, between the square brackets",
                remedy=f"Write {_LIKE}.",
            )
        sized(folder, photo.path)
    except InputError as fault:
        problem = (
            fault.problem if photo.path in fault.problem else f"the picture '{photo.path}': {fault.problem}"
        )
        remedy = fault.remedy or f"Copy it into the folder, and write {_LIKE}."
        return ReviewFileError(problem, file=WORDS, place=place, expected=fault.expected, remedy=remedy)
    return None


def sized(folder: Path, path: str) -> Sized:
    """Return a photograph as it is published: upright, at most 1600 px, in sRGB, without metadata.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    path : str
        As the words name it.

    Raises
    ------
    ReviewFileError
        If it lies elsewhere, is missing, damaged, too large, or in a format that browsers don't show.
    """
    if _ELSEWHERE.match(path):
        raise ReviewFileError(
            "it lies elsewhere: who reads the page would be known there",
            expected="a file of the review folder",
            remedy=f"Copy it into the folder, and write {_LIKE}.",
        )
    target = files.locate(path, folder=folder, error=ReviewFileError)
    status = target.stat()
    return _made(target, status.st_size, status.st_mtime_ns)


@lru_cache(maxsize=64)
def _made(path: Path, size: int, _written_ns: int) -> Sized:
    if size > _MOST_READ_BYTES:
        raise ReviewFileError("it is larger than 60 MB", remedy="Export it smaller.")
    image, kind = _opened(
        files.content(path, file=path.name, error=ReviewFileError, remedy="Export it again.")
    )
    data, shown = _light(image, kind)
    name = f"{keys.key(path.stem) or 'photo'}-{hashlib.sha256(data).hexdigest()[:8]}{_FORMATS[kind]}"
    return Sized(f"{FOLDER}/{name}", data, *shown.size)


def _opened(data: bytes) -> tuple[Any, str]:
    """Return a picture upright and in sRGB, and its format."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    if _HEIF.match(data[:32]):
        raise ReviewFileError(
            "it is in a high-efficiency format (HEIC), which many browsers don't show",
            expected="JPEG, PNG or WebP",
            remedy="Export it as JPEG: most phones do when they mail it, or are set to 'most compatible'.",
        )
    try:
        image = Image.open(io.BytesIO(data), formats=list(_FORMATS))
        kind = str(image.format)
        if image.width * image.height > _MOST_READ_PIXELS:
            raise ReviewFileError("it has more than 120 million pixels", remedy="Export it smaller.")
        # A JPEG can be unpacked at a fraction of its size.
        image.draft("RGB", (2 * MOST_PIXELS, 2 * MOST_PIXELS))
        image.load()
    except UnidentifiedImageError:
        raise ReviewFileError(
            "it is no picture that can be read", expected="JPEG, PNG or WebP", remedy="Export it again."
        ) from None
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise ReviewFileError("it is damaged, or cut off", remedy="Export or copy it again.") from error
    return _in_srgb(ImageOps.exif_transpose(image)), kind


def _in_srgb(image: Any) -> Any:
    """Return a picture in the colours that a browser takes it to be in once its profile is gone."""
    from PIL import ImageCms

    mode = "RGBA" if "A" in image.getbands() or "transparency" in image.info else "RGB"
    profile = image.info.get("icc_profile")
    if profile:
        # A profile that can't be used is left aside, as browsers do.
        with suppress(ImageCms.PyCMSError, OSError):
            own, srgb = ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB")
            image = ImageCms.profileToProfile(image, own, srgb, outputMode=mode)
    return image.convert(mode)


def _light(image: Any, kind: str) -> tuple[bytes, Any]:
    """Return a picture's bytes, as large and as good as the weight allows, and the picture itself."""
    for edge, quality in _tries(kind):
        shown = image.copy()
        shown.thumbnail((edge, edge))
        bare = shown.convert("RGB") if kind == "JPEG" else shown
        # What was noted in the file goes with it: only pixels are taken over.
        bare.info = {}
        stream = io.BytesIO()
        options = (
            {"optimize": True} if kind == "PNG" else {"quality": quality, "exif": b"", "icc_profile": b""}
        )
        bare.save(stream, kind, **options)
        if stream.tell() <= MOST_BYTES:
            break
    return stream.getvalue(), bare


def _tries(kind: str) -> Iterable[tuple[int, int]]:
    qualities = _QUALITIES[:1] if kind == "PNG" else _QUALITIES
    return [(edge, quality) for edge in _EDGES for quality in qualities]
