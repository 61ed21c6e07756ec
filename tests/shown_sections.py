"""What a review's sections show: their templates' own cells, run in this process with a review file's values.

Each cell is executed as it stands, and what its last line makes is kept as it is, before it becomes HTML: the
findings with their budgets, the charts with their sentences. There is no kernel, so that a hundred reviews
cost little more than their analyses.
"""

from __future__ import annotations

import ast
import json
import os
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from typing import Any, NamedTuple

from reviewkit.charge.findings import LogNotes
from reviewkit.comparison import Comparison
from reviewkit.figures.chart import Chart
from reviewkit.findings import SCHEMA, Finding, Findings
from reviewkit.findings.displays import Answer, Dataset, ExtraPage
from reviewkit.pipeline import harvest
from reviewkit.sections import template
from reviewkit.sections.template import discover
from reviewkit.summary.record import Part
from reviewkit.summary.spoken import KeyFigures

SECTIONS = ("readout", "charge", "drain", "ui_states")


class Said(NamedTuple):
    """A text that a reader sees: its section, and where it stands: "note charge.delivered"."""

    section: str
    where: str
    text: str


def shown(template: str, values: Mapping[str, Any], folder: Path) -> list[Any]:
    """Return what a template's cells display in a review folder, in their order.

    Parameters
    ----------
    template : str
        "charge".
    values : mapping
        The review file's content: each key that the template declares is handed over.
    folder : pathlib.Path
    """
    section = next(one for one in discover() if one.name == template)
    cells = json.loads(section.path.read_text(encoding="utf-8"))["cells"]
    names: dict[str, Any] = {}
    kept = []
    with _within(folder):
        for cell in cells:
            if cell["cell_type"] == "code":
                kept += _last_line("".join(cell["source"]), names)
                if "parameters" in cell["metadata"].get("tags", ()):
                    names |= {key: value for key, value in values.items() if key in names}
    return [one for item in kept for one in _single(item)]


def declared_by_default() -> dict[str, Any]:
    """Return what the templates' parameter cells say where a review file says nothing."""
    return {item.name: item.default for section in template.discover() for item in section.parameters}


def _last_line(source: str, names: dict[str, Any]) -> list[Any]:
    """Run a cell; return what its last line makes, or nothing where that is no expression."""
    tree = ast.parse(source)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "cell", "exec"), names)
    if not isinstance(last, ast.Expr):
        return []
    made = eval(compile(ast.Expression(last.value), "cell", "eval"), names)
    return [] if made is None else [made]


def _single(item: Any) -> Iterator[Any]:
    """Yield one thing, or the items of several that a notebook shows one below the other."""
    several = getattr(item, "items", None)
    if hasattr(item, "_ipython_display_") and isinstance(several, tuple):
        yield from several
    else:
        yield item


@contextmanager
def _within(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def findings_of(items: Iterable[Any]) -> list[Finding]:
    """Return the findings among what was shown."""
    return [one for item in items if isinstance(item, Findings) for one in item]


def texts(section: str, items: Iterable[Any]) -> Iterator[Said]:
    """Yield every sentence of what was shown, each with its place.

    Left out are the notes on the logs themselves, which tell of rows and not of the device, and the rows of
    tables that only repeat what their picture draws point by point.
    """
    for item in (one for one in items if not isinstance(one, LogNotes | Dataset)):
        if isinstance(item, Findings):
            yield from (Said(section, f"note {one.key}", one.note) for one in item if one.note)
        elif isinstance(item, Chart):
            yield Said(section, f"chart {item.key}", f"{item.question} {item.answer}")
        elif isinstance(item, Part):
            yield Said(section, f"part {item.name}", unescape(re.sub(r"<[^>]+>", " ", item.html)))
        elif isinstance(item, Answer | Comparison | KeyFigures):
            yield Said(section, type(item).__name__, item._repr_mimebundle_()["text/plain"])
        elif isinstance(item, ExtraPage):
            yield Said(section, "page", item.markdown)
        else:
            yield Said(section, type(item).__name__, repr(item))


def publish(values: Mapping[str, Any], items: Iterable[Any], folder: Path) -> Path:
    """Write what a comparison and a summary read of a review, and return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    kept = list(items)
    whole = {
        "schema": SCHEMA,
        "device": {"name": "The device", **values.get("device", {})},
        "review": {"edition": 1, **values.get("review", {})},
        "declared": {key: value for key, value in values.items() if isinstance(value, dict)},
        "made_with": {"reviewkit": "0", "python": "0", "libraries": {}},
        "inputs": [],
        "sections": [],
        "findings": [one.to_dict() for one in findings_of(kept)],
    }
    (folder / "findings.json").write_text(json.dumps(whole), encoding="utf-8")
    bundles = [one._repr_mimebundle_() for one in kept if isinstance(one, Dataset)]
    tables = [next(value for value in one.values() if isinstance(value, dict)) for one in bundles]
    harvest.write_tables(folder, "data", tables)
    return folder
