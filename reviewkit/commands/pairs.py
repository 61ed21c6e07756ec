"""Several reviews side by side: the comparison's notebook, executed where they lie, and its page."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from reviewkit.commands.reviews import OUT, Published, refuse_place, run
from reviewkit.errors import InputError
from reviewkit.execution import forkserver
from reviewkit.execution.execute import execute
from reviewkit.execution.papermill_run import Task
from reviewkit.findings import findings_file
from reviewkit.metrology import formatting
from reviewkit.pipeline import harvest, results
from reviewkit.pipeline.results import SectionResult
from reviewkit.privacy.notebook import for_machine
from reviewkit.publishing import atomic, site, written
from reviewkit.sections.template import Section, discover, of_kind
from reviewkit.tables import keys


@dataclass(frozen=True)
class Side:
    """What the page of a comparison says of one review.

    Parameters
    ----------
    folder : str
        The name of its published folder.
    title, device : str
    notice : str
        What every page of it must say first.
    """

    folder: str
    title: str
    device: str
    notice: str = ""

    @classmethod
    def just_run(cls, item: Published) -> Side:
        """Return that of a review that has just been run."""
        file = item.review.file
        return cls(item.place.name, file.title, file.device.name, file.review.notice)

    @classmethod
    def published(cls, page: Path) -> Side:
        """Return that of a published review, by its page."""
        told = findings_file.of_this_schema(page.with_name(findings_file.FILE))
        device, review = told["device"]["name"], told["review"]
        return cls(page.parent.name, review["title"] or device, device, review["notice"])


def made(template: Section, sides: Sequence[Side], out: Path, staged: Path, *, home: str) -> SectionResult:
    """Execute the comparison's template and write its page into `staged`.

    Parameters
    ----------
    template : Section
        Takes the names of the published folders: `reviews`, or for two devices `first` and `second`.
    sides : sequence of Side
    out : pathlib.Path
        Holds the published folders.
    staged : pathlib.Path
        Empty.
    home : str
        The page that lists all reviews.
    """
    (staged / results.NOTEBOOKS).mkdir()
    places = [side.folder for side in sides]
    folders = {"reviews": places, **dict(zip(("first", "second"), places, strict=False))}
    outcome = execute(Task(template.path, template.own(folders), out, words=template.words))
    (staged / site.COMPARED).write_text(json.dumps({"reviews": places}), encoding="utf-8")
    result = results.collected(template, outcome, for_machine(out), staged)
    links = [site.Link(f"../{side.folder}/index.html", side.title) for side in sides]
    notices = dict.fromkeys(side.notice for side in sides if side.notice)
    title = formatting.listed(side.device for side in sides) + ", side by side"
    site.write_comparison(result, staged, title, links, notice=" ".join(notices), home=home)
    return result


MOST = 12
"""Reviews that one page compares."""


@dataclass(frozen=True)
class SideBySide:
    """Published reviews and the page that compares them.

    Parameters
    ----------
    reviews : tuple of Published
        Those that were run for it.
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
    *folders: str | Path,
    out: str | Path = OUT,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
    executor: Executor | None = None,
    list_name: str = "",
    unchanged: Mapping[Path, Path] = MappingProxyType({}),
) -> SideBySide:
    """Run reviews and publish them side by side: several devices, or editions of one.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Two or more review folders; the others are held against the first.
    out : str or pathlib.Path
        Where the published folders go: one for each review, and one for the comparison.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them.
    executor : concurrent.futures.Executor, optional
        What runs the notebooks.
    list_name : str
        What the page that lists all reviews is called, as for `run`.
    unchanged : mapping of pathlib.Path to pathlib.Path
        Review folders whose published pages, told beside them, stand as a run would make them.

    Raises
    ------
    InputError
        As `run` does; or if a folder is named twice, or there are too few or too many.

    Examples
    --------
    >>> together = reviewkit.compare("examples/alder", "examples/birch", out=site)
    >>> together.place == site / "alder-and-birch"
    True
    """
    if not 2 <= len(folders) <= MOST:
        raise InputError(f"{len(folders)} review folders; expected 2 to {MOST} to compare")
    places = [Path(folder) for folder in folders]
    seen: set[Path] = set()
    for folder in places:
        if folder.resolve() in seen:
            raise InputError("the same folder twice", file=str(folder), remedy="Name each review once.")
        seen.add(folder.resolve())
    own: Mapping[str, Any] = {"templates": tuple(templates), "only_templates": tuple(only_templates)}
    parts = discover(own["templates"], only=own["only_templates"])
    template = next(iter(of_kind("compare", parts)), None)
    if template is None:
        raise InputError("there is no template that compares in the folders of templates")
    refuse_place(Path(out), folders, list_name)
    called = site.beside([keys.published_name(folder.resolve()) for folder in places])
    atomic.comparison(Path(out).resolve(), called)
    with forkserver.serving():
        left = [folder for folder in places if folder not in unchanged]
        reviews = run(*left, out=out, executor=executor, list_name=list_name, **own) if left else ()
        sides = {folder: Side.published(page) for folder, page in unchanged.items()}
        sides |= dict(zip(left, map(Side.just_run, reviews), strict=True))
        ordered = [sides[folder] for folder in places]
        result, place = _compared(ordered, template, Path(out), list_name, called)
    return SideBySide(reviews, result, place)


def _compared(
    sides: Sequence[Side], template: Section, out: Path, list_name: str, called: str
) -> tuple[SectionResult, Path]:
    with atomic.site(out) as place:
        home = written.list_page(place, list_name)
        staged = atomic.stage(place, called)
        result = made(template, sides, place, staged, home=home)
        site.write_charts(place)
        result_place = atomic.put(staged, place, called, good=result.ok)
        site.write_list(place, home=home)
    return result, result_place
