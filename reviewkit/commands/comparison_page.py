"""Published reviews side by side: the comparison's notebook, executed where they lie."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from reviewkit.execution.execute import execute
from reviewkit.execution.task import Task
from reviewkit.metrology import formatting
from reviewkit.pipeline import results
from reviewkit.pipeline.results import SectionResult
from reviewkit.privacy.notebook import for_machine
from reviewkit.publishing import site
from reviewkit.review.review_file import ReviewFile
from reviewkit.sections.template import Section


def made(
    template: Section,
    reviews: Sequence[tuple[ReviewFile, str]],
    out: Path,
    staged: Path,
    *,
    home: str,
) -> SectionResult:
    """Execute the comparison's template and write its page into `staged`.

    Parameters
    ----------
    template : Section
        Takes the names of the published folders: `reviews`, or for two devices `first` and `second`.
    reviews : sequence of (ReviewFile, str)
        Each review with the name of its published folder.
    out : pathlib.Path
        Holds the published folders.
    staged : pathlib.Path
        Empty.
    home : str
        The page that lists all reviews.
    """
    (staged / results.NOTEBOOKS).mkdir()
    places = [place for _, place in reviews]
    folders = {"reviews": places, **dict(zip(("first", "second"), places, strict=False))}
    outcome = execute(Task(template.path, template.own(folders), out, words=template.words))
    (staged / site.COMPARED).write_text(json.dumps({"reviews": places}), encoding="utf-8")
    result = results.collected(template, outcome, for_machine(out), staged)
    links = [site.Link(f"../{place}/index.html", file.title) for file, place in reviews]
    notices = dict.fromkeys(file.review.notice for file, _ in reviews if file.review.notice)
    title = formatting.listed(file.device.name for file, _ in reviews) + ", side by side"
    site.write_comparison(result, staged, title, links, notice=" ".join(notices), home=home)
    return result
