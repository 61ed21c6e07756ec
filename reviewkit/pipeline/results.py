"""What running a section gives, and a whole review before it has pages."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError, SectionError
from reviewkit.execution.papermill_run import Outcome
from reviewkit.findings import Findings
from reviewkit.findings.displays import ExtraPage
from reviewkit.pipeline import harvest
from reviewkit.privacy.notebook import Scrubber
from reviewkit.review import chapters
from reviewkit.review.chapters import Chapter
from reviewkit.review.review_file import ReviewFile
from reviewkit.sections.template import Section
from reviewkit.system import kit

NOTEBOOKS = "notebooks"
"""Folder of the executed notebooks inside a published review."""
ASSETS = "assets"
"""Folder beside the published reviews of what they share."""


@dataclass(frozen=True)
class SectionResult:
    """One section of one review, run.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        The executed notebook, fit to publish; up to the cell that failed.
    findings : Findings
        Empty if it failed.
    message : str
        Why it failed, in a line fit to publish; empty if it did not.
    outcome : Outcome
        As it was executed; not to be published.
    tables : tuple of mapping
        The tables it displayed, as `harvest` holds them.
    extra_pages : tuple of ExtraPage
        The pages of their own that it displayed.
    video_s : float or None [s]
        Moment of the video that shows it.
    """

    section: Section
    notebook: Any = field(repr=False)
    findings: Findings
    message: str
    outcome: Outcome
    tables: tuple[Mapping[str, Any], ...] = field(default=(), repr=False)
    extra_pages: tuple[ExtraPage, ...] = ()
    video_s: float | None = None

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
            "video_s": self.video_s,
        }


@dataclass(frozen=True)
class Reviewed:
    """One review, run, its findings and notebooks in the staging folder and no pages yet.

    Parameters
    ----------
    staged : pathlib.Path
        Holds `findings.json`, `findings.csv` and the executed notebooks.
    sections : tuple of SectionResult
        In their order.
    summary : SectionResult or None
        None where there is no summary template.
    made : mapping of str to Outcome
        What is to be kept once the review is published, by its key.
    """

    file: ReviewFile
    staged: Path
    sections: tuple[SectionResult, ...]
    summary: SectionResult | None = None
    made: Mapping[str, Outcome] = field(default_factory=dict, repr=False)

    @property
    def findings(self) -> Findings:
        """The findings of all sections."""
        return Findings(tuple(item for result in self.sections for item in result.findings))

    @property
    def tables(self) -> tuple[Mapping[str, Any], ...]:
        """The tables of all sections, as `harvest` holds them."""
        return tuple(table for result in self.sections for table in result.tables)

    @property
    def failed(self) -> tuple[SectionResult, ...]:
        """The sections that failed, the summary included."""
        ran = (*self.sections, self.summary) if self.summary else self.sections
        return tuple(result for result in ran if not result.ok)

    @property
    def lost(self) -> set[str]:
        """What the keys start with that the sections would have made which failed."""
        return {head for result in self.sections if not result.ok for head in result.section.prefixes}

    def strange_chapters(self) -> list[InputError]:
        """Return an error for each chapter about a finding that nobody has made, though all could."""
        return chapters.unknown(
            self.file.chapters,
            names={item.key for item in self.findings} | {result.section.name for result in self.sections},
            prefixes=self.lost,
        )


def collected(section: Section, outcome: Outcome, scrubber: Scrubber, staged: Path) -> SectionResult:
    """Return what an executed section found, and leave its notebook, fit to publish, in the staging folder.

    Parameters
    ----------
    outcome : Outcome
        A section that ran but whose findings can't be read has failed all the same.
    staged : pathlib.Path
        Has a folder for notebooks.
    """
    with kit.imports_without(*kit.SCHEMA_EXTRAS):
        import nbformat

    lib: Any = nbformat
    message = scrubber.text(outcome.message)
    # Who executed it has held it against the format: asking once more takes as long as all that follows.
    executed = lib.convert(lib.reader.reads(outcome.notebook), 4)
    notebook = lib.from_dict(scrubber.notebook(executed, failure=message))
    flaw = harvest.sweep(notebook)
    message = message or flaw
    result = SectionResult(section, notebook, Findings(), message, outcome)
    if result.ok and section.kind == "section":
        try:
            tables = tuple(harvest.take_out(notebook))
            found, pages = harvest.findings(notebook), harvest.extra_pages(notebook)
            result = replace(result, findings=found, tables=tables, extra_pages=pages)
        except SectionError as error:
            result = replace(result, message=str(error))
    write_notebook(result, staged)
    return result


def write_notebook(result: SectionResult, staged: Path) -> None:
    """Write a notebook as its format has it, without the copy and the spaces that cost most of the time."""
    from nbformat.v4 import rwbase

    lines: Any = rwbase
    text = json.dumps(lines.split_lines(result.notebook), ensure_ascii=False, sort_keys=True)
    lines.rejoin_lines(result.notebook)
    path = staged / NOTEBOOKS / f"{result.section.name}.ipynb"
    path.write_text(f"{text}\n", encoding="utf-8", newline="\n")


def without_doubles(found: Iterable[SectionResult]) -> list[SectionResult]:
    """Mark a section as failed that makes a finding, table or page which there is already."""
    results = list(found)
    seen = {"index.html", *(result.page for result in results)}
    kept = []
    for result in results:
        names = set(_makes(result))
        if names & seen:
            double = ", ".join(sorted(names & seen))
            message = f"another section makes {double} already"
            result = replace(result, findings=Findings(), tables=(), extra_pages=(), message=message)
        seen |= names
        kept.append(result)
    return kept


def _makes(result: SectionResult) -> Iterator[str]:
    """Walk what a section makes: its findings' keys, its files."""
    yield from (item.key for item in result.findings)
    yield from (f"data/{table['name']}.csv" for table in result.tables)
    yield from (item.page for item in result.extra_pages)


def with_moments(found: Iterable[SectionResult], listed: Iterable[Chapter]) -> list[SectionResult]:
    """Return the results with the moments of the video that the review's chapters name."""
    results = list(found)
    moment = chapters.shown_at(listed, (item for result in results for item in result.findings))
    return [
        replace(
            result,
            video_s=moment.get(result.section.name),
            findings=Findings(
                tuple(replace(item, video_s=moment.get(item.key, item.video_s)) for item in result.findings)
            ),
        )
        for result in results
    ]
