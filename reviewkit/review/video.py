"""The video beside a review: where it is, and its chapters as players and descriptions want them."""

from __future__ import annotations

import html
import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from reviewkit.errors import InputError, ReviewFileError, gathered
from reviewkit.review import chapters
from reviewkit.review.chapters import Cue
from reviewkit.review.review_file import FILE, ReviewFile
from reviewkit.tables import csv_table, files

CHAPTERS = "chapters.vtt"
TIMESTAMPS = "timestamps.txt"
KINDS = {".mp4": "video/mp4", ".m4v": "video/mp4", ".webm": "video/webm", ".ogv": "video/ogg"}
"""Endings of the files that browsers play, with their media types."""

# WebVTT wants an end. A player stops at the video's own, which comes before this one.
_OPEN_END_S = 360_000.0 - 0.001


@dataclass(frozen=True)
class Film:
    """A review's video as its pages refer to it.

    Parameters
    ----------
    href : str
        An address elsewhere, or a file beside the pages.
    kind : str
        Its media type where it lies beside the pages; empty for one elsewhere.
    caution : str
        What stands before it; empty: nothing.
    """

    href: str
    kind: str
    cues: tuple[Cue, ...]
    caution: str = ""

    def at(self, moment_s: float) -> str:
        """Return the address of a moment."""
        return self.href + csv_table.fragment(moment_s)


def film(review: ReviewFile) -> Film | None:
    """Return a review's video; None where it has none that a page may refer to."""
    named = review.review.video
    cues, caution = chapters.cues(review.chapters), review.review.video_caution
    if is_address(named):
        return Film(named.partition("#")[0], "", cues, caution)
    if _local(named):
        ending = Path(named).suffix.lower()
        return Film(f"video{ending}", KINDS[ending], cues, caution)
    return None


def is_address(text: str) -> bool:
    """Whether a text is an https address that a link may lead to."""
    if any(sign.isspace() or not sign.isprintable() for sign in text):
        return False
    try:
        parts = urlsplit(text)
    except ValueError:
        return False
    return parts.scheme == "https" and bool(parts.hostname)


def _local(text: str) -> bool:
    return ":" not in text and Path(text).suffix.lower() in KINDS


def faults(review: ReviewFile) -> list[InputError]:
    """Return what is wrong with the video that a review file names."""
    named = review.review.video
    found: list[InputError] = []
    if not named or is_address(named):
        return found
    if not _local(named):
        found.append(
            ReviewFileError(
                f"'{named[:80]}' is no video",
                file=FILE,
                place="review.video",
                expected=f"an address with https:// or a file ({', '.join(KINDS)}) in the review folder",
                remedy="Leave it empty where there is none.",
            )
        )
        return found
    with gathered(found):
        files.locate(named, folder=review.folder, error=ReviewFileError)
    return found


def write(folder: Path, review: ReviewFile) -> None:
    """Leave the chapters, and the video if it is a file of the review folder, in the published folder.

    Parameters
    ----------
    review : ReviewFile
        A video that is not there costs its pages nothing else.
    """
    cues = chapters.cues(review.chapters)
    if cues:
        (folder / CHAPTERS).write_text(webvtt(cues), encoding="utf-8", newline="\n")
        (folder / TIMESTAMPS).write_text(timestamps(cues), encoding="utf-8", newline="\n")
    shown = film(review)
    if shown and shown.kind and not faults(review):
        source = files.locate(review.review.video, folder=review.folder, error=ReviewFileError)
        shutil.copyfile(source, folder / shown.href)


def webvtt(cues: Iterable[Cue]) -> str:
    """Return chapters as a WebVTT file (W3C), for a track element of kind "chapters"."""
    blocks = [
        f"{csv_table.precise(cue.start_s)} --> "
        f"{csv_table.precise(_OPEN_END_S if cue.end_s is None else cue.end_s)}\n"
        f"{html.escape(cue.title, quote=False)}\n"
        for cue in cues
    ]
    return "\n".join(["WEBVTT\n", *blocks])


def timestamps(cues: Iterable[Cue]) -> str:
    """Return chapters as lines for a video's description: "0:40 How many blinks"."""
    return "".join(f"{csv_table.stamp(cue.start_s)} {cue.title}\n" for cue in cues)
