"""Runs published reviews again from their raw data and says of each finding whether it still stands."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.errors import Faults, InputError, gathered
from reviewkit.execution import forkserver
from reviewkit.findings import Finding, verdict_text
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.pipeline import loading, runner
from reviewkit.pipeline.results import SectionResult
from reviewkit.pipeline.runner import Bar
from reviewkit.publishing import editions, evidence
from reviewkit.publishing.editions import Record
from reviewkit.review.review_file import FILE, ReviewFile
from reviewkit.sections import template
from reviewkit.sections.template import Section
from reviewkit.system import disk
from reviewkit.tables import files

OF_UNCERTAINTY = 0.01
"""Two numbers are the same up to this part of the uncertainty behind them …"""
OF_NUMBER = 1e-6
"""… or of the number itself, whichever is more: what other versions of the libraries may make of it."""

# A stranger's text must not steer the terminal that shows it.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


@dataclass(frozen=True)
class Check:
    """One finding, as it was published and as it came out again.

    Parameters
    ----------
    published, again : Finding or None
        None where it was not published, or did not come out again.
    """

    key: str
    published: Finding | None
    again: Finding | None

    @property
    def stands(self) -> bool:
        """Whether value, interval, limit and verdict are the same, within rounding."""
        return self.published is not None and self.again is not None and same(self.published, self.again)

    @property
    def text(self) -> str:
        """One line: the finding if it stands, else what was published and what came out."""
        told = _told(self.published)
        line = f"{self.key}: {told}" if self.stands else f"{self.key}: {told}; now {_told(self.again)}"
        return _CONTROL.sub("\ufffd", line)


@dataclass(frozen=True)
class Verified:
    """A published review, run again.

    Parameters
    ----------
    name : str
        What was verified, as it was named.
    checks : tuple of Check
        One for each finding, those first that were published.
    failed : tuple of SectionResult
        The sections that did not run to their end.
    """

    name: str
    checks: tuple[Check, ...]
    failed: tuple[SectionResult, ...]

    @property
    def changed(self) -> tuple[Check, ...]:
        """The findings that do not stand."""
        return tuple(item for item in self.checks if not item.stands)

    @property
    def stands(self) -> bool:
        """Whether every section ran and every finding stands."""
        return not self.changed and not self.failed

    @property
    def text(self) -> str:
        """The result in a line."""
        total, changed = len(self.checks), len(self.changed)
        return f"{self.name}: {total - changed} of {total} findings still stand"


def checks(published: Iterable[Finding], again: Iterable[Finding]) -> tuple[Check, ...]:
    """Return a check for each finding of either, by key."""
    before = {item.key: item for item in published}
    after = {item.key: item for item in again}
    return tuple(Check(key, before.get(key), after.get(key)) for key in before | after)


def same(published: Finding, again: Finding, *, of_uncertainty: float = OF_UNCERTAINTY) -> bool:
    """Return whether two findings say the same, within rounding; their words beside the number may differ.

    Parameters
    ----------
    of_uncertainty : float
        Part of the uncertainty behind a number by which it may differ.
    """
    slack = of_uncertainty * min(half_width(published), half_width(again))
    return (
        (published.unit, published.verdict) == (again.unit, again.verdict)
        and _alike(_numbers(published), _numbers(again), slack)
        and _alike(published.value, again.value, slack)
    )


def half_width(item: Finding) -> float:
    """Return half the width of what a finding leaves open, in its own unit."""
    if item.uncertainty is not None:
        return abs(item.uncertainty)
    return abs(item.high - item.low) / 2 if item.low is not None and item.high is not None else 0.0


def _numbers(item: Finding) -> list[Any]:
    limit = [item.limit.low, item.limit.high, item.limit.source] if item.limit else None
    return [item.uncertainty, item.low, item.high, limit]


def _alike(old: Any, new: Any, slack: float) -> bool:
    if _is_number(old) and _is_number(new):
        return math.isclose(old, new, rel_tol=OF_NUMBER, abs_tol=slack)
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        return old.keys() == new.keys() and all(_alike(old[key], new[key], slack) for key in old)
    if _is_list(old) and _is_list(new):
        return len(old) == len(new) and all(_alike(a, b, slack) for a, b in zip(old, new, strict=True))
    return type(old) is type(new) and bool(old == new)


def _is_number(value: Any) -> bool:
    # A whole number of hundreds of digits, inside a list, is compared as it is.
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300


def _is_list(value: Any) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)


def _told(item: Finding | None) -> str:
    if item is None:
        return "not there"
    verdict = verdict_text(item)
    return f"{item.text}, {verdict}" if verdict and verdict != item.text else item.text


@dataclass(frozen=True)
class _Opened:
    """A published review whose evidence is unpacked and has the fingerprints that were published."""

    name: str
    record: Record
    file: ReviewFile


def verify(
    *places: str | Path,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
    executor: Executor | None = None,
) -> tuple[Verified, ...]:
    """Run published reviews again from their raw data, in a temporary folder.

    No notebook that came with the evidence is executed: the templates are the kit's own.

    Parameters
    ----------
    *places : str or pathlib.Path
        Published reviews, their `evidence.zip`, or folders that hold several published reviews.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them. They are programs.
    executor : concurrent.futures.Executor, optional
        What runs the notebooks.

    Returns
    -------
    tuple of Verified
        In the order of `places`.

    Raises
    ------
    Faults
        Everything wrong with the evidence, before anything is run: no review, a zip refused, a file that
        has not the fingerprint that was published.

    Examples
    --------
    >>> (verified,) = reviewkit.verify(site / "alder" / "evidence.zip")
    >>> verified.stands
    True
    """
    parts = template.discover(templates, only=only_templates)
    with forkserver.serving(), disk.temporary_folder() as own:
        opened = _all_opened(places, parts, own)
        return tuple(_run_again(opened, parts, executor, own))


def _all_opened(places: Sequence[str | Path], parts: Sequence[Section], room: Path) -> list[_Opened]:
    found: list[InputError] = []
    opened = []
    for number, folder in enumerate(_reviews(places, found)):
        own: list[InputError] = []
        with gathered(own):
            opened.append(_opened(folder, parts, room / str(number)))
        # Which of several is at fault is said in front of what is.
        found += [InputError(fault.message.removesuffix("."), file=str(folder)) for fault in own]
    if found:
        raise Faults(found)
    return opened


def _reviews(places: Sequence[str | Path], found: list[InputError]) -> Iterator[Path]:
    """Walk the published reviews and zips behind what was named."""
    for one in map(Path, places):
        if one.is_file() or (one / evidence.ZIP).is_file():
            yield one
            continue
        inside = [path.parent for path in sorted(one.glob(f"*/{evidence.ZIP}"))]
        # A name with a dot is a draft's, or of a run under way.
        good = [folder for folder in inside if "." not in folder.name]
        if not good:
            remedy = "Name a published review, its evidence.zip, or the folder that holds several."
            found.append(InputError("no published review is here", file=str(one), remedy=remedy))
        yield from good


def _opened(folder: Path, parts: Sequence[Section], into: Path) -> _Opened:
    raw = into / evidence.RAW
    raw.mkdir(parents=True)
    packed = folder if folder.is_file() else folder / evidence.ZIP
    evidence.unpack(packed, into, wanted=_is_wanted)
    # Of a published folder it is the findings that lie open there which must stand.
    record = editions.read((into if folder.is_file() else folder) / JSON_FILE)
    if FILE not in record.sums:
        raise InputError("it names no review file among what it was made from", file=JSON_FILE)
    faults = [fault for name, digest in record.sums.items() if (fault := _unlike(name, digest, raw, record))]
    if faults:
        raise Faults(faults)
    (file,) = loading.read([raw], parts, above=False)
    return _Opened(str(folder), record, file)


def _is_wanted(name: str) -> bool:
    return name == JSON_FILE or name.startswith(f"{evidence.RAW}/")


def _unlike(name: str, digest: str, raw: Path, record: Record) -> InputError | None:
    """Return what is wrong with a file that has not the fingerprint which was published."""
    if name == record.video:
        return None
    try:
        with files.locate(name, folder=raw).open("rb") as stream:
            same = hashlib.file_digest(stream, "sha256").hexdigest() == digest
    except InputError as error:
        return error
    problem = "the file is not the one that the published findings were made from (its SHA-256 differs)"
    return None if same else InputError(problem, file=name)


def _run_again(
    opened: Sequence[_Opened], parts: Sequence[Section], executor: Executor | None, room: Path
) -> Iterator[Verified]:
    staged: list[Any] = [(item.file, room / f"again-{number}") for number, item in enumerate(opened)]
    bodies = template.of_kind("section", parts)
    ended = runner.run(staged, bodies, executor=executor, progress=Bar())
    again = {review.file.folder: review for review in ended}
    for item in opened:
        review = again[item.file.folder]
        yield Verified(item.name, checks(item.record.findings, review.findings), review.failed)
