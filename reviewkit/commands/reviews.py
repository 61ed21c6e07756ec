"""Whole reviews: run and published."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Thread
from types import ModuleType
from typing import Any

from reviewkit.commands.folders import place_faults
from reviewkit.commands.pages import settled, wanted
from reviewkit.errors import Faults, InputError, gathered
from reviewkit.findings import PLOTLY_MIME, Findings
from reviewkit.pipeline import harvest, loading, runner
from reviewkit.pipeline.cache import RunOptions, SectionCache, is_reworded, remember
from reviewkit.pipeline.results import ASSETS, Reviewed
from reviewkit.pipeline.runner import Bar
from reviewkit.publishing import atomic, editions, written
from reviewkit.review import author_text
from reviewkit.review.fingerprints import fingerprints
from reviewkit.review.review_file import ReviewFile
from reviewkit.sections import template
from reviewkit.sections.template import Section

OUT = Path("site")


@dataclass(frozen=True)
class Published:
    """A review in its published place.

    Parameters
    ----------
    place : pathlib.Path
        The folder that holds its pages.
    gone : tuple of str
        Files that were published there before, and are not any more.
    faults : tuple of InputError
        What is wrong with the author's own words, where a section failed as well.
    """

    review: Reviewed
    place: Path
    gone: tuple[str, ...] = ()
    faults: tuple[InputError, ...] = ()

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
    single_file: bool | None = None,
    stills: bool | None = None,
    charts_script: str | Path | None = None,
    list_name: str = "",
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
    single_file : bool, optional
        Whether to write all pages of each review into one file as well, to be mailed. Default: as it was
        published before, so that no link dies.
    stills : bool, optional
        Whether to draw pictures for a video as well. Default: likewise.
    charts_script : str or pathlib.Path, optional
        A smaller build of the charts' script, to be shared by the pages in place of plotly's own.
    list_name : str
        What the page that lists all reviews is called. Default: as it was; at first ``index.html``, or
        ``reviews.html`` where somebody else's ``index.html`` lies there.
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
        Everything wrong with the review files and the place to publish in, before anything is run. Or, once
        the other reviews are published, what is wrong with the authors' own words.

    Examples
    --------
    >>> (alder,) = reviewkit.run("examples/alder", out=site)
    >>> alder.place == site / "alder", alder.is_draft
    (True, False)
    """
    options = RunOptions(Path(out), single_file, stills, charts_script, list_name)
    wanted(options)
    refuse_place(Path(out), folders, list_name)
    own = tuple(templates), tuple(only_templates)
    parts = template.discover(own[0], only=own[1])
    # What writes pages is loaded while others load what the sections need.
    renders = fresh or not is_reworded(map(Path, folders), options)
    Thread(target=_load_pages, args=(renders,), daemon=True).start()
    files = loading.read(folders, parts, reserved=(ASSETS,))
    loading.films(files)
    done: list[Published] = []
    faults: list[InputError] = []
    keep = SectionCache() if not fresh else None
    with atomic.site(Path(out)) as place:
        loading.refuse(files, lambda file: place_faults(file, place))
        options = replace(options, list_name=written.list_page(place, list_name))
        each = {file.name: settled(options, _replaced(place, file)) for file in files}
        extras = {name: wanted(settled_ones, fresh=fresh) for name, settled_ones in each.items()}
        staged = [(file, atomic.stage(place, file.name)) for file in files]
        for file, folder in staged:
            editions.carry(place / file.name, folder, edition=file.review.edition)
        running = runner.run(
            staged,
            parts,
            executor=executor,
            progress=Bar(),
            keep=keep,
            closed=lambda review: _pages().begin(review, extras[review.file.name]),
        )
        with closing(running):
            for ended in running:
                with gathered(faults):
                    item = Published(ended, *_pages().put(ended, place, extras[ended.file.name]))
                    done.append(item)
                    # Not before: what is packed has by then been held against what was read.
                    if keep:
                        keep.put(ended.made)
        _pages().list_all(place, wanted(replace(options, stills=False), fresh=fresh))
    if keep:
        keep.trim()
    if not any(own):
        _remember(done, parts, each)
    if faults:
        raise Faults(faults)
    order = {file.folder: number for number, file in enumerate(files)}
    return tuple(sorted(done, key=lambda item: order[item.review.file.folder]))


def refuse_place(out: Path, folders: Iterable[str | Path], list_name: str = "") -> None:
    """Make sure that a place to publish in is none of the review folders', and not somebody else's.

    Raises
    ------
    Faults
    """
    found = atomic.location(out, map(Path, folders)) or atomic.shared(out.resolve(), list_name)
    if found:
        raise Faults(found)


def _replaced(out: Path, file: ReviewFile) -> Path:
    """Return the folder that a good review takes the place of."""
    good = editions.is_to_replace(out, file.name, file.review.edition)
    return out / (file.name if good else file.name + atomic.DRAFT)


def _remember(done: Iterable[Published], parts: Iterable[Section], options: Mapping[str, RunOptions]) -> None:
    """Note of each review that is no draft what it was made from: until that changes it need not run."""
    if not all(section.about.repeatable for section in template.of_kind("section", parts)):
        return
    for item in done:
        if not item.is_draft:
            file = item.review.file
            digests = {seen.path: seen.sha256 for seen in file.seen if seen.path in file.files}
            # A page shows photographs, no finding reads them.
            shown = fingerprints(file.folder, author_text.pictured(file.folder))
            digests |= {seen.path: seen.sha256 for seen in shown}
            remember(file.folder, options[file.name], place=item.place, digests=digests, meters=file.meters)


def _load_pages(renders: bool) -> None:
    """Load what writes pages, and where more than words has changed, what renders them."""
    _pages()
    if renders:
        from reviewkit.publishing.site import exporter  # noqa: F401


def _pages() -> ModuleType:
    from reviewkit.commands import pages

    return pages
