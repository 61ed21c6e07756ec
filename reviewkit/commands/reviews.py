"""Whole reviews: run and published."""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from threading import Thread
from types import ModuleType
from typing import Any

from reviewkit.commands.extras import wanted
from reviewkit.errors import Faults, InputError, gathered
from reviewkit.findings import PLOTLY_MIME, Findings
from reviewkit.pipeline import harvest, loading, runner
from reviewkit.pipeline.cache import RunOptions, SectionCache, remember
from reviewkit.pipeline.progress import Bar
from reviewkit.pipeline.results import ASSETS, Reviewed
from reviewkit.publishing import atomic, edition_guard, editions
from reviewkit.sections import discovery
from reviewkit.sections.template import Section

OUT = Path("site")


@dataclass(frozen=True)
class Published:
    """A review in its published place.

    Parameters
    ----------
    review : Reviewed
    place : pathlib.Path
        The folder that holds its pages.
    """

    review: Reviewed
    place: Path

    @property
    def index(self) -> Path:
        """The review's page."""
        return self.place / "index.html"

    @property
    def findings(self) -> Findings:
        """Everything the bench found."""
        return self.review.findings

    def key_figures(self) -> None:
        """Show the first figure of each section, in a notebook."""
        from IPython import display

        show: Any = display.display
        for result in self.review.sections:
            figure = next(harvest.displayed(result.notebook, PLOTLY_MIME), None)
            if figure is not None:
                show({PLOTLY_MIME: figure, "text/plain": result.section.title}, raw=True)

    @property
    def is_draft(self) -> bool:
        """Whether a section failed, or an edition stays in its place, so that this is not the one to show."""
        return self.place.name.endswith(atomic.DRAFT)


def run(
    *folders: str | Path,
    out: str | Path = OUT,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
    executor: Executor | None = None,
    single_file: bool = False,
    stills: bool = False,
    browser: str | Path = "",
    charts_script: str | Path | None = None,
    fresh: bool = False,
) -> tuple[Published, ...]:
    """Run whole reviews and publish them.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Review folders.
    out : str or pathlib.Path
        Where the published folders go, one for each review.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them.
    executor : concurrent.futures.Executor, optional
        What runs the notebooks.
    single_file : bool
        Whether to write all pages of each review into one file as well, to be mailed.
    stills : bool
        Whether to draw pictures for a video as well.
    browser : str or pathlib.Path
        The program that draws them. Default: the first browser found.
    charts_script : str or pathlib.Path, optional
        A smaller build of the charts' script, to be shared by the pages in place of plotly's own.
    fresh : bool
        Whether to run every section, those too whose template, values and files are what they were.

    Returns
    -------
    tuple of Published
        In the order of `folders`. A review of which a section failed is a draft; the last good one
        stays as it was. So is a working copy (edition 0) where an edition is published.

    Raises
    ------
    Faults
        Everything wrong with the review files, before anything is run; an edition that was published from
        other data is refused. Or, once the other reviews are
        published, what is wrong with the authors' own words.
    """
    options = RunOptions(Path(out), single_file, stills, browser, charts_script)
    extras = wanted(options)
    own = tuple(templates), tuple(only_templates)
    parts = discovery.discover(own[0], only=own[1])
    # What writes pages is loaded while others load what the sections need.
    Thread(target=_pages, daemon=True).start()
    files = loading.read(folders, parts, reserved=(ASSETS,))
    loading.films(files)
    done: list[Published] = []
    faults: list[InputError] = []
    keep = SectionCache() if not fresh else None
    with atomic.site(Path(out)) as place:
        loading.refuse(files, lambda file: edition_guard.faults(file, place))
        staged = [(file, atomic.stage(place, file.name)) for file in files]
        for file, folder in staged:
            editions.carry(place / file.name, folder, edition=file.review.edition)
        running = runner.run(
            staged,
            parts,
            executor=executor,
            progress=Bar(),
            keep=keep,
            closed=lambda review: _pages().begin(review, extras),
        )
        with closing(running):
            for ended in running:
                with gathered(faults):
                    item = Published(ended, _pages().put(ended, place, extras))
                    done.append(item)
                    # Not before: what is packed has by then been held against what was read.
                    if keep:
                        keep.put(ended.made)
        _pages().shelve(place, extras)
    if keep:
        keep.trim()
    if not any(own):
        _remember(done, parts, options)
    if faults:
        raise Faults(faults)
    order = {file.folder: number for number, file in enumerate(files)}
    return tuple(sorted(done, key=lambda item: order[item.review.file.folder]))


def _remember(done: Iterable[Published], parts: Iterable[Section], options: RunOptions) -> None:
    """Note of each review that is no draft what it was made from: until that changes it need not run."""
    if not all(section.about.repeatable for section in discovery.of_kind("section", parts)):
        return
    for item in done:
        if not item.is_draft:
            file = item.review.file
            files = {seen.path: seen.sha256 for seen in file.seen}
            remember(file.folder, options, place=item.place, files=files)


def _pages() -> ModuleType:
    from reviewkit.commands import pages

    return pages
