"""What the kit does for its user, as functions: the command line and the notebooks call these."""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit import (
    bench_sheet,
    comparison,
    editions,
    evidence,
    harvest,
    intake,
    outline,
    overwriting,
    publish,
    review,
    runner,
    sections,
    site,
)
from reviewkit import stills as drawing
from reviewkit.errors import Faults, InputError, gathered
from reviewkit.finding import PLOTLY_MIME, Findings
from reviewkit.progress import Bar
from reviewkit.results import Reviewed, SectionResult

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
        return self.place.name.endswith(publish.DRAFT)


def start(folder: str | Path, *, name: str = "", templates: Iterable[str | Path] = ()) -> tuple[Path, ...]:
    """Make a review folder to fill in, with a bench sheet to print.

    Parameters
    ----------
    folder : str or pathlib.Path
        Made if it does not exist.
    name : str
        The device's. Default: the folder's name.
    templates : iterable of str or pathlib.Path
        Folders with section templates to use in place of the kit's own.

    Returns
    -------
    tuple of pathlib.Path
        The files written.

    Raises
    ------
    InputError
        If the folder holds a review already; nothing is written over.
    """
    place = Path(folder)
    if (place / review.FILE).exists():
        raise InputError("there is a review file here already", file=str(place / review.FILE))
    called = name or place.resolve().name.replace("-", " ").capitalize()
    parts = sections.of_kind("section", sections.discover(Path(item) for item in templates))
    texts = {
        review.FILE: outline.review_file(called, parts),
        "bench-sheet.html": bench_sheet.page(called, parts),
        **{file: header + "\n" for part in parts for file, header in part.about.bench.files.items()},
    }
    (place / "logs").mkdir(parents=True, exist_ok=True)
    new = {place / file: text for file, text in texts.items() if not (place / file).exists()}
    for path, text in new.items():
        path.write_text(text, encoding="utf-8")
    return tuple(new)


def run(
    *folders: str | Path,
    out: str | Path = OUT,
    templates: Iterable[str | Path] = (),
    executor: Executor | None = None,
    single_file: bool = False,
    stills: bool = False,
    browser: str | Path = "",
    charts_script: str | Path | None = None,
) -> tuple[Published, ...]:
    """Run whole reviews and publish them.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Review folders.
    out : str or pathlib.Path
        Where the published folders go, one for each review.
    templates : iterable of str or pathlib.Path
        Folders with section templates to use in place of the kit's own.
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
    extras = _Extras(
        single_file=single_file,
        program=drawing.browser(browser) if stills else None,
        charts_script=site.charts_source(Path(charts_script)) if charts_script else None,
    )
    parts = sections.discover(Path(folder) for folder in templates)
    files = intake.read(folders, parts, reserved=(site.ASSETS,))
    intake.films(files)
    done: list[Published] = []
    faults: list[InputError] = []
    with publish.site(Path(out)) as place:
        intake.refuse(files, lambda file: overwriting.faults(file, place))
        staged = [(file, publish.stage(place, file.name)) for file in files]
        for file, folder in staged:
            editions.carry(place / file.name, folder, edition=file.review.edition)
        for ended in runner.run(staged, parts, executor=executor, progress=Bar()):
            with gathered(faults):
                done.append(_publish(ended, place, extras))
        site.write_shelf(place, charts_script=extras.charts_script)
    if faults:
        raise Faults(faults)
    order = {file.folder: number for number, file in enumerate(files)}
    return tuple(sorted(done, key=lambda item: order[item.review.file.folder]))


@dataclass(frozen=True)
class _Extras:
    """What is wanted of the pages beyond themselves."""

    single_file: bool
    program: Path | None
    charts_script: Path | None


def _publish(ended: Reviewed, out: Path, extras: _Extras) -> Published:
    faults: list[InputError] = list(ended.strange_chapters())
    script = extras.charts_script
    with gathered(faults):
        site.write_review(ended, charts_script=script)
    if faults:
        raise Faults(faults)
    evidence.write(ended)
    if extras.single_file:
        pages = [result.page for result in ended.sections]
        site.join(ended.staged, ended.file.name, sections=pages, carried=evidence.ZIP, charts_script=script)
    # A browser at fault costs the pictures, not the review.
    with gathered(faults):
        if extras.program and not ended.failed:
            drawing.add(ended, program=extras.program, charts_script=script)
    file = ended.file
    good = not ended.failed and editions.is_to_replace(out, file.name, file.review.edition)
    published = Published(ended, publish.put(ended.staged, out, file.name, good=good))
    if faults:
        raise Faults(faults)
    return published


@dataclass(frozen=True)
class SideBySide:
    """Two published reviews and the page that compares them.

    Parameters
    ----------
    reviews : tuple of Published
    result : SectionResult
        The comparison's notebook, executed.
    place : pathlib.Path
        The folder that holds its page.
    """

    reviews: tuple[Published, ...]
    result: SectionResult
    place: Path

    @property
    def index(self) -> Path:
        """The comparison's page."""
        return self.place / "index.html"

    def show(self) -> None:
        """Show what the comparison displays, in a notebook."""
        from IPython import display

        show: Any = display.display
        for data in harvest.outputs(self.result.notebook):
            show(data, raw=True)


def compare(
    first: str | Path,
    second: str | Path,
    *,
    out: str | Path = OUT,
    templates: Iterable[str | Path] = (),
    executor: Executor | None = None,
) -> SideBySide:
    """Run two reviews and publish them side by side: two devices, or two editions of one.

    Parameters
    ----------
    first, second : str or pathlib.Path
        Review folders.
    out : str or pathlib.Path
        Where the published folders go: one for each review, and one for the comparison.
    templates : iterable of str or pathlib.Path
        Folders with section templates to use in place of the kit's own.
    executor : concurrent.futures.Executor, optional
        What runs the notebooks.

    Raises
    ------
    InputError
        As `run` does; or if both are the same folder.
    """
    if Path(first).resolve() == Path(second).resolve():
        raise InputError("both are the same folder", file=str(first), remedy="Name two reviews.")
    parts = sections.discover(Path(folder) for folder in templates)
    template = next(iter(sections.of_kind("compare", parts)), None)
    if template is None:
        raise InputError("there is no template that compares in the folders of templates")
    reviews = run(first, second, out=out, templates=templates, executor=executor)
    called = site.beside(*(item.review.file.name for item in reviews))
    with publish.site(Path(out)) as place:
        staged = publish.stage(place, called)
        pair = [(item.review.file, item.place.name) for item in reviews]
        result = comparison.made(template, pair, place, staged)
        result_place = publish.put(staged, place, called, good=result.ok)
        site.write_shelf(place)
    return SideBySide(reviews, result, result_place)


def check(*folders: str | Path, templates: Iterable[str | Path] = ()) -> tuple[InputError, ...]:
    """Return everything about the folders that can be known to be at fault without running them.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Review folders.
    templates : iterable of str or pathlib.Path
        Folders with section templates to use in place of the kit's own.

    Returns
    -------
    tuple of InputError
        Empty if all is well.
    """
    parts = sections.discover(Path(folder) for folder in templates)
    return tuple(intake.faults(folders, parts))


def remarks(*folders: str | Path) -> tuple[str, ...]:
    """Return what is no fault but worth a look: numbers in the authors' words that no finding stands behind.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Review folders.

    Raises
    ------
    InputError
        If an author's words can't be read as text.
    """
    return tuple(
        f"{Path(folder).name}/words.md, line {typed.line}: '{typed.text}' is typed by hand; "
        "a placeholder such as {charge.plateau_current} stays right when the data change."
        for folder in folders
        for typed in site.hand_typed(Path(folder))
    )
