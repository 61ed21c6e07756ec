"""Makes a review's pages again after a change: what has not changed is taken as it was."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from reviewkit import errors
from reviewkit.errors import InputError, add, gathered
from reviewkit.execution import forkserver
from reviewkit.execution.papermill_run import Outcome
from reviewkit.findings import finding_keys
from reviewkit.pipeline import loading, results, runner
from reviewkit.pipeline.cache import SectionCache
from reviewkit.pipeline.results import ASSETS, NOTEBOOKS, Reviewed, SectionResult
from reviewkit.privacy.notebook import Scrubber
from reviewkit.publishing import site
from reviewkit.review import author_text, photographs, review_file
from reviewkit.review.review_file import ReviewFile
from reviewkit.schema import instruments
from reviewkit.sections import template
from reviewkit.sections.template import Section


@dataclass(frozen=True)
class PlacedFault:
    """A fault of the input and where on the pages it belongs.

    Parameters
    ----------
    text : str
        Its message, as `check` tells it.
    page : str
        The page that it is about, with the part of it; empty where it is about the whole review.
    section : str
        The section; empty where it is about none, or about several.
    """

    text: str
    page: str = ""
    section: str = ""


@dataclass(frozen=True)
class State:
    """What a preview shows.

    Parameters
    ----------
    pages : pathlib.Path or None
        The folder of the pages; None where there has been nothing to show yet.
    made_at : str
        When they were made, on this machine's clock.
    older : tuple of str
        Sections that are shown as they last were, for what is there now has a fault.
    is_new : bool
        Whether the pages were made from what is there now, as far as it has no fault.
    number : int
        Another one whenever there is something else to show.
    """

    pages: Path | None = None
    made_at: str = ""
    faults: tuple[PlacedFault, ...] = ()
    older: tuple[str, ...] = ()
    is_new: bool = True
    number: int = 0


class _Memory(SectionCache):
    """Outcomes at hand, before those on the disk: what is handed out twice is one and the same."""

    def __init__(self) -> None:
        super().__init__()
        self._own: dict[str, Outcome] = {}

    def get(self, key: str) -> Outcome | None:
        found = self._own.get(key) or super().get(key)
        if found:
            self._own[key] = found
        return found

    def put(self, outcomes: Mapping[str, Outcome]) -> None:
        self._own |= outcomes
        super().put(outcomes)


class Builder:
    """Makes the pages of one review, again and again.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder; it is read and never written to.
    path : pathlib.Path
        An empty folder for the pages.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them.
    """

    def __init__(
        self,
        folder: Path,
        path: Path,
        templates: Iterable[str | Path] = (),
        only_templates: Iterable[str | Path] = (),
    ) -> None:
        self.folder = folder.resolve()
        self._place = path
        self._own = tuple(map(str, templates)), tuple(map(str, only_templates))
        self._keep = _Memory()
        self._good: dict[str, SectionResult] = {}
        self._failed: dict[str, SectionResult] = {}
        self._known: site.KnownPages = {}
        self._words = ""
        self._file: ReviewFile | None = None
        self._told: Future[list[InputError]] = Future()
        self._checked: tuple[Seen, list[dict[str, Any]]] | None = None
        self.state = State()

    def build(self) -> State:
        """Return what there is to show now; the pages of the state before stay until after the next one."""
        parts = template.discover(self._own[0], only=self._own[1])
        found: list[InputError] = []
        pages, made_at, number = self.state.pages, self.state.made_at, self.state.number + 1
        self._failed.clear()
        # Within, before what runs beside is waited for; around it, if the waiting itself is interrupted.
        with _leaving_if_interrupted(), ThreadPoolExecutor(1) as beside, _leaving_if_interrupted():
            self._told = beside.submit(self._check, parts)
            with gathered(found):
                (file,) = loading.read([self.folder], parts, reserved=(ASSETS,))
                loading.films([file])
                self._file = file
                pages = self._made(file, parts, self._place / str(number), found)
                made_at = time.strftime("%H:%M:%S")
        faults = self._placed(found, parts)
        self._sweep(keep={pages, self.state.pages})
        older = tuple(sorted(set(self._failed) & set(self._good)))
        is_new = pages is not None and pages != self.state.pages
        self.state = State(pages, made_at, faults, older, is_new, number)
        return self.state

    def _check(self, parts: Sequence[Section]) -> list[InputError]:
        """Return what `check` finds besides the author's words; asked anew where another file has changed."""
        there = look([self.folder, *instruments.places(self.folder)], besides=author_text.FILE)
        if self._checked is None or self._checked[0] != there:
            arguments = str(self.folder), *self._own
            told = forkserver.call(faults_there, *arguments)
            self._checked = there, faults_there(*arguments) if told is None else told
        every = [errors.from_plain(item) for item in self._checked[1]]
        return [fault for fault in every if fault.file != author_text.FILE]

    def _made(
        self, file: ReviewFile, parts: Sequence[Section], staged: Path, found: list[InputError]
    ) -> Path:
        staged.mkdir()
        with gathered(found):
            self._words = author_text.read(file.folder)
        (ended,) = runner.run(
            [(file, staged)], parts, keep=self._keep, collect=partial(self._collected, parts)
        )
        self._remember(ended)
        found += ended.strange_chapters()
        add(found, photographs.faults(self.folder, self._words))
        with gathered(found):
            known = [item.key for item in ended.findings]
            finding_keys.check(self._words, known, file=author_text.FILE, lost=ended.lost)
        site.write_preview(ended, words=self._words, known=self._known)
        return staged

    def _collected(
        self, parts: Sequence[Section], section: Section, outcome: Outcome, scrubber: Scrubber, staged: Path
    ) -> SectionResult:
        """Return what a section found; where something is at fault, what it found when nothing was."""
        before = self._good.get(section.name)
        is_at_fault = any(self._where(fault, parts).section == section.name for fault in self._told.result())
        if before is not None and (before.outcome is outcome or is_at_fault):
            if before.outcome is not outcome:
                self._failed[section.name] = before
            written = Path(NOTEBOOKS, f"{section.name}.ipynb")
            if self.state.pages:
                shutil.copyfile(self.state.pages / written, staged / written)
            return before
        result = results.collected(section, outcome, scrubber, staged)
        if result.ok and not is_at_fault:
            self._good[section.name] = result
            return result
        self._failed[section.name] = result
        return before or result

    def _remember(self, ended: Reviewed) -> None:
        """Keep what sections found, if what they read is still there."""
        old = {id(result.outcome) for name, result in self._good.items() if name in self._failed}
        made = {key: outcome for key, outcome in ended.made.items() if id(outcome) not in old}
        if ended.file.is_still_so():
            self._keep.put(made)

    def _placed(self, found: Sequence[InputError], parts: Sequence[Section]) -> tuple[PlacedFault, ...]:
        """Return everything at fault, as `check` tells it, each with where it belongs."""
        every = self._told.result()
        known = {(fault.file, fault.place) for fault in every if fault.file and fault.place}
        # What only a run tells, and not what both tell in other words.
        add(every, (fault for fault in found if (fault.file, fault.place) not in known))
        placed = [self._where(fault, parts) for fault in every]
        said = {item.section for item in placed}
        for name, result in self._failed.items():
            if name not in said:
                lines = result.outcome.input_faults or (result.message,)
                placed += [PlacedFault(line, result.page, name) for line in lines]
        return tuple(placed)

    def _where(self, fault: InputError, parts: Sequence[Section]) -> PlacedFault:
        if fault.file == author_text.FILE:
            return PlacedFault(fault.message, "index.html#words")
        values = self._file.values if self._file else {}
        key = fault.place.partition(".")[0].partition("[")[0]
        about = [
            section
            for section in template.of_kind("section", parts)
            if (fault.file == review_file.FILE and key in section.names)
            or fault.file in review_file.texts(section.own(values))
        ]
        if len(about) != 1:
            return PlacedFault(fault.message)
        return PlacedFault(fault.message, f"{about[0].name}.html", about[0].name)

    def _sweep(self, keep: set[Path | None]) -> None:
        for old in self._place.iterdir():
            if old not in keep:
                shutil.rmtree(old, ignore_errors=True)


def faults_there(folder: str, templates: Sequence[str], only: Sequence[str]) -> list[dict[str, Any]]:
    """Return, as plain data, what `check` finds in a folder; done by a process that has all loaded."""
    parts = template.discover(templates, only=only)
    return [errors.to_plain(fault) for fault in loading.faults([folder], parts, reserved=(ASSETS,))]


Seen = dict[str, tuple[int, int]]


@contextmanager
def _leaving_if_interrupted() -> Iterator[None]:
    """Leave what runs elsewhere when it is interrupted: whoever waits for an answer waits no longer."""
    try:
        yield
    except KeyboardInterrupt:
        forkserver.abandon()
        raise


def look(folders: Iterable[Path], besides: str = "") -> Seen:
    """Return size and moment of writing of every file in folders, or named, but for those of one name."""
    found: Seen = {}
    for folder in folders:
        with suppress(OSError):
            status = folder.stat()
            found |= {} if folder.is_dir() else {str(folder): (status.st_size, status.st_mtime_ns)}
        for above, _, names in os.walk(folder):
            for path in (Path(above, name) for name in names if name != besides):
                # Gone in between, or a link that leads nowhere.
                with suppress(OSError):
                    status = path.stat()
                    found[str(path)] = status.st_size, status.st_mtime_ns
    return found
