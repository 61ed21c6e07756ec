"""The review file: who reviewed what, and the parameter values of every section.

This module knows the blocks that belong to the review itself (`device`, `claims`, `review`). What the
sections read, they declare themselves: see `reviewkit.sections.discovery`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from pydantic import Field, model_validator

from reviewkit.errors import InputError, ReviewFileError, gathered
from reviewkit.findings.finding_keys import FindingKeys
from reviewkit.metrology import units
from reviewkit.review import chapters, fingerprints, strict_yaml
from reviewkit.review.chapters import Chapter
from reviewkit.review.fingerprints import Fingerprint
from reviewkit.schema import instruments, quantities
from reviewkit.schema.blocks import spelled_alike
from reviewkit.schema.instruments import NONE, Used
from reviewkit.schema.quantities import Block, Celsius, Day, Percent
from reviewkit.tables import keys

FILE = "review.yaml"
SCHEMA = 1
"""The newest spelling of the file that is known here; a file that says none is of this one."""
_VIDEO = "review.video"


class Device(Block):
    """The device reviewed and the sample at hand; the disclosure stands at the start of every page.

    `formerly`: names and serial numbers under which the same device was published before.
    """

    name: str = Field(min_length=1, max_length=120)
    kind: str = ""
    maker: str = ""
    serial: str = ""
    formerly: tuple[str, ...] = ()
    firmware: str = ""
    sample: str = ""
    afterwards: str = ""
    payment: str = ""
    links: str = ""
    maker_saw_first: bool | None = None
    disclosure: str = ""


_BEGINS_WITH_NUMBER = re.compile(r"\s*[+\-−]?\d")


def _exceeds(low: float | str | None, high: float | str | None) -> bool:
    """Whether one quantity is more than another of the same kind; not, where they can't be compared."""
    if low is None or high is None:
        return False
    unit = str(high).strip().lstrip("+-−.,0123456789eE ")
    try:
        return units.to_unit(low, unit) > units.to_unit(high, unit)
    except ValueError:
        return False


class Claim(Block):
    """A claim of the maker's about one finding, to stand beside what was measured.

    `at_most`, `at_least` and `about_equal` are numbers with a unit ("0.1 V"), or bare numbers in the
    finding's own unit.
    """

    about: str = Field(min_length=1)
    at_most: float | str | None = None
    at_least: float | str | None = None
    about_equal: float | str | None = None
    says: str = ""
    source: str = ""

    @model_validator(mode="after")
    def _claims_something(self) -> Claim:
        if (self.at_most, self.at_least, self.about_equal) == (None, None, None) and not self.says:
            raise ValueError("a claim needs 'at_most', 'at_least', 'about_equal' or, in words, 'says'")
        for name in ("at_most", "at_least", "about_equal"):
            told = getattr(self, name)
            if isinstance(told, str) and not _BEGINS_WITH_NUMBER.match(told):
                raise ValueError(f"{name}: '{told[:60]}' is not a number with a unit, such as '0.1 V'")
        if _exceeds(self.at_least, self.at_most):
            raise ValueError(
                f"at_least, {self.at_least}, is more than at_most, {self.at_most}; exchange them"
            )
        return self


class About(Block):
    """The review itself: its title, edition, place beside a video, and the conditions at the bench.

    Edition 0 is a working copy, of which nothing is kept. `site`: the address at which the folder of all
    reviews is published; `video_date`: the day on which the video was, as in 2026-11-27; `video_caution`:
    what stands before the video and before pictures taken from a film that flashes so that it may harm.
    """

    title: str = ""
    author: str = ""
    date: Day = ""
    edition: int = Field(default=1, ge=0)
    changes: tuple[str, ...] = ()
    video: str = ""
    video_date: Day = Field(default="", pattern=r"^(\d{4}-\d\d-\d\d)?$")
    video_caution: str = ""
    site: str = Field(default="", pattern=r"^(https://[^\s?#\"<>]+)?$")
    ambient_C: Celsius | None = Field(default=None, ge=-60, le=80)
    ambient_humidity_percent: Percent | None = Field(default=None, ge=0, le=100)
    place: str = ""
    method: str = ""
    source: str = ""
    cautions: tuple[str, ...] = ()
    notice: str = ""
    licence: str = ""


class _Own(Block):
    device: Device
    claims: tuple[Claim, ...] = ()
    review: About = About()


OWN = tuple(_Own.model_fields)
"""The blocks of the review itself."""


class OutsideError(ReviewFileError):
    """A value names a file outside the review folder.

    Parameters
    ----------
    named : str
        As written.
    place : str
        Its key.
    """

    def __init__(self, named: str, place: str) -> None:
        self.named = named
        problem = f"'{named}' lies outside the review folder"
        super().__init__(problem, file=FILE, place=place, remedy="Copy the file into the folder.")


@dataclass(frozen=True)
class ReviewFile:
    """A review file, read and checked as far as it is about the review itself.

    Parameters
    ----------
    folder : pathlib.Path
        Absolute.
    values : mapping
        Every key as written, the sections' included.
    files : tuple of str
        The files of the folder that the review reads, relative to it; a video is shown, not read.
    chapters : tuple of Chapter
        Of the video beside the review.
    meters : Used
        Those that stand there by name.
    """

    folder: Path
    values: Mapping[str, Any]
    device: Device
    claims: tuple[Claim, ...]
    review: About
    files: tuple[str, ...]
    chapters: tuple[Chapter, ...] = ()
    meters: Used = NONE

    @cached_property
    def seen(self) -> tuple[Fingerprint, ...]:
        """Fingerprints of `files`, taken once: when they are first asked for, before a section reads any.

        Of the file that declares meters it is that of those used: what else stands there is no matter here.
        """
        used = fingerprints.of_text(instruments.FILE, self.meters.text)
        return (*fingerprints.fingerprints(self.folder, self.files), *([used] if self.meters else []))

    def is_still_so(self) -> bool:
        """Whether every file that it reads, and every meter that it names, is what it was."""
        own = [item for item in self.seen if item.path in self.files]
        same = not self.meters or self.meters.again(self.folder) == self.meters.text
        return same and fingerprints.still(self.folder, own)

    @property
    def name(self) -> str:
        """The review's name in a published folder."""
        return keys.published_name(self.folder)

    @property
    def is_working_copy(self) -> bool:
        """Whether it is not meant to be published yet."""
        return self.review.edition == 0

    def address(self, page: str) -> str:
        """Return where a file of the published review stands on the web; empty where that isn't stated."""
        site = self.review.site.rstrip("/")
        return f"{site}/{self.name}/{page}" if site else ""

    @property
    def title(self) -> str:
        """What the page is called."""
        return self.review.title or self.device.name


@dataclass(frozen=True)
class Written:
    """What a review file says.

    Parameters
    ----------
    values : mapping
        Every key, each meter that stands there by name written out; empty where the file can't be read.
    meters : Used
        Those meters.
    """

    values: Mapping[str, Any]
    meters: Used = NONE


def read_values(folder: Path, faults: list[InputError], *, above: bool = True) -> dict[str, Any]:
    """Return the keys and values of a folder's review file, as `written` reads them."""
    return dict(written(folder, faults, above=above).values)


def written(folder: Path, faults: list[InputError], *, above: bool = True) -> Written:
    """Return what a folder's review file says; nothing, with a fault, if it can't be read.

    Parameters
    ----------
    faults : list of InputError
        Added to, so that the faults found by several readers are reported together.
    above : bool
        Whether meters may be declared above the folder too: not where a review has brought its own along.
    """
    with gathered(faults):
        if not folder.is_dir():
            raise ReviewFileError("no such folder", file=str(folder))
        values = strict_yaml.load(folder / FILE)
        quantities.known_schema(values.pop("schema", SCHEMA), SCHEMA, file=FILE)
        named, meters = instruments.put_in(values, folder, faults, above=above)
        return Written(spelled_alike(named), meters)
    return Written({})


def bind(
    folder: Path, values: Mapping[str, Any], faults: list[InputError], meters: Used = NONE
) -> ReviewFile | None:
    """Return the review file with its own blocks checked, or None with what is at fault added to `faults`."""
    folder = folder.resolve()
    named = _named_files(values, folder, faults)
    listed: tuple[Chapter, ...] = ()
    with gathered(faults):
        listed = chapters.read(folder)
    with gathered(faults):
        own = quantities.checked(_Own, {key: values[key] for key in OWN if key in values}, file=FILE)
        return ReviewFile(folder, values, own.device, own.claims, own.review, named, listed, meters)
    return None


def named_in(values: Mapping[str, Any], folder: Path) -> set[str]:
    """Return the files of a review folder that some of its values name, relative to it.

    Parameters
    ----------
    folder : pathlib.Path
        Absolute.
    """
    paths = (_existing(folder, text) for _, text in _texts(values))
    inside = (path.resolve() for path in paths if path)
    return {path.relative_to(folder).as_posix() for path in inside if path.is_relative_to(folder)}


def strange_claims(file: ReviewFile, known: FindingKeys) -> list[InputError]:
    """Return an error for each claim about a finding that no section makes, or in a unit it can't have."""
    found: list[InputError] = []
    for number, claim in enumerate(file.claims, start=1):
        refused = known.refused(claim.about)
        if refused:
            expected, near = refused
            found.append(
                ReviewFileError(
                    f"no section makes a finding '{claim.about}'",
                    file=FILE,
                    place=f"claims[{number}].about",
                    expected=expected,
                    remedy=f"Did you mean '{near}'?" if near else "",
                )
            )
        found += _other_units(claim, known.unit(claim.about), f"claims[{number}]")
    return found


def _other_units(claim: Claim, unit: str | None, place: str) -> Iterator[InputError]:
    """Give what a claim tells in a unit of another kind than its finding's."""
    for name in () if unit is None else ("at_most", "at_least", "about_equal"):
        told = getattr(claim, name)
        try:
            units.to_unit(0.0 if told is None else told, unit or "1")
        except ValueError as fault:
            spelled = unit.replace(".", "") if unit else ""
            expected = (
                f"a number in {spelled}, or in a unit of its kind" if spelled else "a number without a unit"
            )
            yield ReviewFileError(str(fault), file=FILE, place=f"{place}.{name}", expected=expected)


def _named_files(values: Mapping[str, Any], folder: Path, faults: list[InputError]) -> tuple[str, ...]:
    """Return the files that the values name, and report those that lie outside the folder."""
    found = {name for name in (FILE, "words.md", chapters.FILE) if (folder / name).is_file()}
    for place, text in _texts(values):
        path = _existing(folder, text)
        if path is None or path.name == instruments.FILE:
            continue
        if place == _VIDEO and path.resolve().is_relative_to(folder):
            continue
        if path.resolve().is_relative_to(folder):
            found.add(path.resolve().relative_to(folder).as_posix())
        else:
            faults.append(OutsideError(text, place))
    return tuple(sorted(found))


def _existing(folder: Path, text: str) -> Path | None:
    if not 0 < len(text) < 300 or "\n" in text or "\0" in text:
        return None
    path = folder / text.replace("\\", "/")
    try:
        return path if path.is_file() else None
    except (OSError, ValueError):
        return None


def texts(value: Any) -> Iterator[str]:
    """Walk all texts in a value of a review file."""
    yield from (text for _, text in _texts(value))


def _texts(value: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """Walk all texts with the keys that they stand under."""
    if isinstance(value, str):
        yield place, value
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from _texts(item, f"{place}.{key}" if place else str(key))
    elif isinstance(value, list):
        for number, item in enumerate(value, 1):
            yield from _texts(item, f"{place}[{number}]")
