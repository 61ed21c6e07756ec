"""The section notebooks' cells run in this process, and what they display held to what it must be."""

from __future__ import annotations

import ast
import contextlib
import json
import re
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from types import CodeType
from typing import Any
from unittest import mock

from reviewkit.errors import InputError
from reviewkit.findings import CHART_MIME, Finding, Findings, findings_file
from reviewkit.pipeline import harvest, loading
from reviewkit.sections import template
from reviewkit.sections.template import Section

PARTS = template.discover()
BODIES = template.of_kind("section", PARTS)
(SUMMARY,) = template.of_kind("summary", PARTS)

OWN = {
    "charge": "charge_runs",
    "drain": "drain_states",
    "readout": "readout_table",
    "ui_states": "ui_states",
}
"""The key without which a section has nothing to work on."""

_NO_WORDS = re.compile(r"(?<![\w’'])(nan|inf|-inf|None(?! [a-z]))(?![\w’'])")
"""What Python writes and no person does; "None of them" is a person's."""


class NotAsItMust(Exception):
    """Something displayed is not what it must be."""


def check(folder: Path) -> list[InputError]:
    """Return what `reviewkit check` finds."""
    return loading.faults([folder], PARTS)


def run(folder: Path, *, idle: bool = True) -> dict[str, InputError]:
    """Run all sections and the summary as their templates do; return what refused its input, by section.

    Parameters
    ----------
    folder : Path
    idle : bool
        Whether sections run that have nothing to work on.

    Raises
    ------
    NotAsItMust
        If a finding, a note or a display is at fault; and whatever else a section raises.
    """
    (file,) = loading.read([folder], PARTS)
    refused: dict[str, InputError] = {}
    found: list[Finding] = []
    entries = []
    for section in BODIES:
        if not (idle or OWN[section.name] in file.values):
            continue
        entries.append({"name": section.name, "title": section.title, "page": f"{section.name}.html"})
        try:
            found += _displayed(section, section.handed(file.values), folder)
            entries[-1] |= {"status": "done", "message": ""}
        except InputError as error:
            refused[section.name] = error
            entries[-1] |= {"status": "failed", "message": error.message}
    # As a run does it, beside the review folder and not in it.
    staged = folder.with_name(f"{folder.name}.staged")
    staged.mkdir()
    # The versions of libraries, which never change here, are looked up once.
    with mock.patch.object(harvest, "made_with", _made_with):
        harvest.write_findings(staged, file, entries, Findings(tuple(found)))
    values = {**file.values, "findings": harvest.JSON_FILE}
    try:
        _displayed(SUMMARY, SUMMARY.handed(values), staged)
    except InputError as error:
        refused["summary"] = error
    return refused


_made_with = cache(harvest.made_with)


def _displayed(section: Section, values: Mapping[str, Any], folder: Path) -> tuple[Finding, ...]:
    outputs = []
    with contextlib.chdir(folder):
        for shown in _shown(section, values):
            for item in shown if isinstance(shown, Findings) else ():
                _hold(item)
            outputs.append(_bundle(shown))
    notebook = {"cells": [{"outputs": [{"data": data} for data in outputs]}]}
    flaw = harvest.sweep(notebook)
    if flaw:
        raise NotAsItMust(f"{section.name}: {flaw}")
    for data in outputs:
        for mime, words in data.items():
            _hold_words(section.name, mime, words)
    return tuple(harvest.findings(notebook))


def _hold(item: Finding) -> None:
    """Hold a finding before it is written: there NaN becomes nothing, unseen."""
    findings_file.check(item)
    words = _NO_WORDS.search(f"{item.label} {item.note} {item.text}")
    if words:
        raise NotAsItMust(f"{item.key.rpartition('.')[2]} says '{words[0]}'")
    # Written with twelve digits: what was read once is the same ever after.
    once = _read_back(item)
    if _read_back(once) != once:
        raise NotAsItMust(f"{item.key.rpartition('.')[2]} is another when it is read back")


def _read_back(item: Finding) -> Finding:
    return Finding.from_dict(json.loads(json.dumps(item.to_dict(), allow_nan=False)))


def _hold_words(section: str, mime: str, shown: Any) -> None:
    for text in _texts(mime, shown):
        words = _NO_WORDS.search(text)
        if words:
            around = text[max(words.start() - 60, 0) : words.end() + 40]
            raise NotAsItMust(f"{section} displays '{words[0]}' in {mime}: …{around}…")


def _texts(mime: str, shown: Any) -> Iterator[str]:
    """Give the words of a display: a text's, a chart's answer, note and table."""
    if mime.startswith("text/"):
        yield shown
    elif mime == CHART_MIME:
        yield from (shown["answer"], shown["note"])
        yield from (cell for row in shown["rows"] for cell in row)


def _bundle(shown: Any) -> dict[str, Any]:
    if hasattr(shown, "_repr_mimebundle_"):
        data: dict[str, Any] = shown._repr_mimebundle_()
        for mime, held in data.items():
            # A figure's numbers may be NaN: there is nothing to draw.
            json.dumps(held, allow_nan="plotly" in mime, default=_plain)
        return data
    return {"text/plain": repr(shown)}


def _plain(held: Any) -> Any:
    return held.tolist()


def _shown(section: Section, values: Mapping[str, Any]) -> Iterator[Any]:
    """Run the cells one after another; give what each shows."""
    space: dict[str, Any] = {}
    for number, (does, shows) in enumerate(_cells(section.path)):
        exec(does, space)
        if number == 0:
            space |= values
        shown = eval(shows, space) if shows else None
        if shown is not None:
            yield shown


@cache
def _cells(path: Path) -> tuple[tuple[CodeType, CodeType | None], ...]:
    notebook = json.loads(path.read_text(encoding="utf-8"))
    code = ["".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code"]
    return tuple(_compiled(source, path.name) for source in code)


def _compiled(source: str, name: str) -> tuple[CodeType, CodeType | None]:
    tree = ast.parse(source)
    last = ast.Expression(tree.body.pop().value) if isinstance(tree.body[-1], ast.Expr) else None
    return compile(tree, name, "exec"), compile(last, name, "eval") if last else None
