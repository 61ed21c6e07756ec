"""Runs the sections of any number of reviews in one queue and collects what they found."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from reviewkit import harvest, records, sections
from reviewkit.errors import SectionError
from reviewkit.execute import Outcome, Task, execute
from reviewkit.finding import Findings
from reviewkit.review import ReviewFile
from reviewkit.scrub import Scrubber, for_machine
from reviewkit.sections import Section

NOTEBOOKS = "notebooks"
"""Folder of the executed notebooks inside a published review."""


@dataclass(frozen=True)
class SectionResult:
    """One section of one review, run.

    Parameters
    ----------
    section : Section
    notebook : nbformat.NotebookNode
        The executed notebook, fit to publish; up to the cell that failed.
    findings : Findings
        Empty if it failed.
    message : str
        Why it failed, in a line fit to publish; empty if it did not.
    outcome : Outcome
        As it was executed; not to be published.
    """

    section: Section
    notebook: Any = field(repr=False)
    findings: Findings
    message: str
    outcome: Outcome

    @property
    def ok(self) -> bool:
        """Whether it ran to its end and its findings could be read."""
        return not self.message

    @property
    def page(self) -> str:
        """The file name of the section's page."""
        return f"{self.section.name}.html"

    def entry(self) -> dict[str, Any]:
        """Return the section's entry in `findings.json`."""
        return {
            "name": self.section.name,
            "title": self.section.title,
            "place": self.section.place,
            "page": self.page,
            "status": "done" if self.ok else "failed",
            "message": self.message,
        }


@dataclass(frozen=True)
class Reviewed:
    """One review, run, its findings and notebooks in the staging folder and no pages yet.

    Parameters
    ----------
    file : ReviewFile
    staged : pathlib.Path
        Holds `findings.json`, `findings.csv` and the executed notebooks.
    sections : tuple of SectionResult
        In their order.
    summary : SectionResult or None
        None where there is no summary template.
    """

    file: ReviewFile
    staged: Path
    sections: tuple[SectionResult, ...]
    summary: SectionResult | None = None

    @property
    def findings(self) -> Findings:
        """The findings of all sections."""
        return Findings(tuple(item for result in self.sections for item in result.findings))

    @property
    def failed(self) -> tuple[SectionResult, ...]:
        """The sections that failed, the summary included."""
        ran = (*self.sections, self.summary) if self.summary else self.sections
        return tuple(result for result in ran if not result.ok)


@dataclass
class _Work:
    """A review under way."""

    file: ReviewFile
    staged: Path
    scrubber: Scrubber
    waiting: int
    results: list[SectionResult] = field(default_factory=list)


Waiting = dict["Future[Outcome]", tuple[_Work, Section]]


class Progress:
    """Told which section is done; this one keeps it to itself."""

    def start(self, total: int) -> None:
        """Note how many notebooks there are."""

    def done(self, review: str, title: str) -> None:
        """Note that one has ended."""


def run(
    reviews: Sequence[tuple[ReviewFile, Path]],
    templates: Iterable[Section],
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Iterator[Reviewed]:
    """Run all sections of all reviews, then each review's summary; yield each review when it is done.

    Parameters
    ----------
    reviews : sequence of (ReviewFile, pathlib.Path)
        Each with the empty folder to leave its files in.
    templates : iterable of Section
    executor : concurrent.futures.Executor, optional
        What runs the notebooks. Default: as many threads as there are processors, each of which minds
        one kernel.
    progress : Progress, optional

    Yields
    ------
    Reviewed
        A section that failed is among its `failed` and has cost the others nothing.
    """
    parts = tuple(templates)
    bodies = sections.of_kind("section", parts)
    summary = next(iter(sections.of_kind("summary", parts)), None)
    told = progress or Progress()
    told.start(len(reviews) * (len(bodies) + (summary is not None)))
    with _ready(executor) as pool:
        waiting: Waiting = {}
        for file, staged in reviews:
            (staged / NOTEBOOKS).mkdir(parents=True)
            work = _Work(file, staged, for_machine(file.folder, public=_words(file)), len(bodies))
            for section in bodies:
                waiting[pool.submit(execute, _task(section, file.values, file.folder))] = work, section
        yield from _collect(waiting, pool, summary, told)


def _ready(executor: Executor | None) -> AbstractContextManager[Executor]:
    return nullcontext(executor) if executor else ThreadPoolExecutor(os.cpu_count() or 1)


def _words(file: ReviewFile) -> str:
    return json.dumps(file.values, ensure_ascii=False, default=str)


def _task(section: Section, values: Mapping[str, Any], folder: Path) -> Task:
    return Task(section.path, section.own(values), folder)


def _collect(waiting: Waiting, pool: Executor, summary: Section | None, told: Progress) -> Iterator[Reviewed]:
    while waiting:
        ended, _ = wait(waiting, return_when=FIRST_COMPLETED)
        for future in ended:
            work, section = waiting.pop(future)
            result = _result(section, future.result(), work)
            told.done(work.file.device.name, section.title)
            if section.kind == "summary":
                yield replace(_reviewed(work), summary=result)
                continue
            work.results.append(result)
            if len(work.results) == work.waiting:
                yield from _close(work, waiting, pool, summary)


def _close(work: _Work, waiting: Waiting, pool: Executor, summary: Section | None) -> Iterator[Reviewed]:
    """Write down what the sections found and send the summary after them."""
    work.results.sort(key=lambda result: (result.section.place, result.section.name))
    work.results = _without_doubles(work.results)
    done = _reviewed(work)
    records.write(work.staged, work.file, [result.entry() for result in done.sections], done.findings)
    if summary is None:
        yield done
        return
    values = {**work.file.values, "findings": records.JSON_FILE}
    waiting[pool.submit(execute, _task(summary, values, work.staged))] = work, summary


def _reviewed(work: _Work) -> Reviewed:
    return Reviewed(work.file, work.staged, tuple(work.results))


def _result(section: Section, outcome: Outcome, work: _Work) -> SectionResult:
    import nbformat

    message = work.scrubber.text(outcome.message)
    executed = nbformat.reads(outcome.notebook, as_version=4)  # type: ignore[no-untyped-call]
    notebook = nbformat.from_dict(work.scrubber.notebook(executed, failure=message))  # type: ignore[no-untyped-call]
    found = Findings()
    if outcome.ok and section.kind == "section":
        try:
            found = harvest.findings(notebook)
        except SectionError as error:
            message = str(error)
    nbformat.write(notebook, work.staged / NOTEBOOKS / f"{section.name}.ipynb")  # type: ignore[no-untyped-call]
    return SectionResult(section, notebook, found, message, outcome)


def _without_doubles(results: Iterable[SectionResult]) -> list[SectionResult]:
    """Mark a section as failed that makes a finding which an earlier one makes already."""
    seen: set[str] = set()
    kept = []
    for result in results:
        keys = {item.key for item in result.findings}
        if keys & seen:
            double = ", ".join(sorted(keys & seen))
            result = replace(result, findings=Findings(), message=f"another section makes {double} already")
        seen |= keys
        kept.append(result)
    return kept
