"""A form over the parameters of a review: it ends in the same values as the notebook's parameter cell."""

from __future__ import annotations

import html
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import ipywidgets as widgets
from pydantic import BaseModel

from reviewkit.commands import by_hand
from reviewkit.commands.form_fields import LINE, Block, Field, Named, NamedBlocks, Several, Table, faults
from reviewkit.commands.reviews import Published
from reviewkit.errors import InputError
from reviewkit.review.review_file import About, Device
from reviewkit.sections import cell_entries, key_list, review_outline, template
from reviewkit.sections.key_list import Key
from reviewkit.sections.template import Section, inputs_model

_OWN: Mapping[str, Mapping[str, str]] = {
    "device": {
        "name": "Rowan",
        "sample": "bought in a shop, March 2026",
        "disclosure": "Bought at the usual price; nobody paid for this review.",
    },
    "review": {
        "author": "your name, as it is to stand on the page",
        "date": "2026-03-14",
        "ambient_C": "21 °C",
    },
}
"""What is asked of the review itself; of the sections, what their metadata name for a first review."""
_SHARED = "The cell and the meters"
"""Title of what several sections read."""
_SHOWN_FINDINGS = 8
"""Findings listed below the form after a run (chosen: what fits below it; the page has them all)."""


def form(
    names: Mapping[str, Any] | None = None,
    *,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
) -> ReviewForm:
    """Return a form in which a whole first review can be filled in, checked, run and kept as a folder.

    Parameters
    ----------
    names : mapping, optional
        What is filled in already, as for `filled_in`; `out` and `write_to` among it.
    templates, only_templates : iterable of str or pathlib.Path
        As for `check`.

    Examples
    --------
    >>> reviewkit.form({"device": {"name": "Rowan"}}).values
    {'device': {'name': 'Rowan'}}
    """
    own = {"templates": tuple(templates), "only_templates": tuple(only_templates)}
    sections = template.of_kind("section", template.discover(own["templates"], only=own["only_templates"]))
    return ReviewForm(sections, dict(names or {}), own)


class ReviewForm:
    """The form; a notebook shows it.

    Parameters
    ----------
    sections : sequence of Section
    names : mapping
        What is filled in already.
    own : mapping
        The template folders.
    """

    def __init__(self, sections: Sequence[Section], names: Mapping[str, Any], own: Mapping[str, Any]) -> None:
        self._own = dict(own)
        known = cell_entries.given(names, sections)
        groups = dict(_groups(sections, known))
        self._parts = {name: part for group in groups.values() for name, part in group.items()}
        self._rest = {name: value for name, value in known.items() if name not in self._parts}
        self.out = widgets.Text(value=str(names.get("out") or "site"), description="published in", **LINE)
        target = str(names.get("write_to") or "")
        self.write_to = widgets.Text(
            value=target, placeholder="my-reviews/rowan", description="keep as folder", **LINE
        )
        self.told, self._printed = widgets.HTML(), widgets.Output()
        self.widget = widgets.VBox([_shown(groups), *self._actions()])

    @property
    def values(self) -> dict[str, Any]:
        """What is filled in, by the names of a parameter cell."""
        typed = {name: part.value for name, part in self._parts.items()}
        return {name: value for name, value in typed.items() if value} | self._rest

    def _actions(self) -> Sequence[widgets.Widget]:
        buttons = []
        for text, act in (("Check", self.check), ("Write the review", self.write), ("Run", self.run)):
            style = "primary" if text == "Run" else ""
            button = widgets.Button(description=text, button_style=style, layout={"width": "12em"})
            button.on_click(lambda _, act=act: act())
            buttons.append(button)
        return self.out, self.write_to, widgets.HBox(buttons), self.told, self._printed

    def check(self) -> by_hand.FilledIn | None:
        """Say what is at fault, or what is left to be measured."""
        return self._filled()

    def write(self) -> by_hand.FilledIn | None:
        """Keep what is filled in as a review folder, over nothing that is there."""
        if not self.write_to.value.strip():
            remedy = "Name a new folder under 'keep as folder'."
            self.told.value = faults([InputError("nothing says where the review is to go", remedy=remedy)])
            return None
        filled = self._filled(write_to=self.write_to.value)
        if filled:
            shown = html.escape(str(filled.folder))
            self.told.value = f'<p role="status">Written to <code>{shown}</code>.</p>{self.told.value}'
        return filled

    def run(self) -> Published | None:
        """Run the review and publish it."""
        filled = self._filled()
        if filled is None:
            return None
        self.told.value = '<p role="status">Running; this takes a minute or so.</p>'
        try:
            with self._printed:
                published = filled.run(Path(self.out.value.strip() or "site").expanduser())
        except InputError as fault:
            self.told.value = faults([fault])
            return None
        self._printed.clear_output()
        self.told.value = _found(published)
        return published

    def _filled(self, **more: Any) -> by_hand.FilledIn | None:
        try:
            filled = by_hand.filled_in(self.values | more, **self._own)
        except InputError as fault:
            self.told.value = faults([fault])
            return None
        self.told.value = f'<div role="status">{filled.sentences_html()}</div>'
        return filled

    def _repr_mimebundle_(self, **more: Any) -> Any:
        return self.widget._repr_mimebundle_(**more)


def _groups(sections: Sequence[Section], known: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Walk the form's parts: its title, and by key of the review file what is filled in there."""
    every = {key.name: key for key in key_list.keys(sections)}
    models: dict[str, type[BaseModel]] = {"device": Device, "review": About}
    yield (
        "The review",
        {
            name: Block(models[name], _keys(every, f"{name}.", examples), examples, known.get(name))
            for name, examples in _OWN.items()
        },
    )
    asked = {name: (section, example) for section in sections for name, example in _first(section)}
    readers = Counter(name for section in sections for name in section.names)
    titles = {name: section.title if readers[name] == 1 else _SHARED for name, (section, _) in asked.items()}
    for title in dict.fromkeys((_SHARED, *titles.values())):
        yield (
            title,
            {
                name: _part(section, name, example, every, known.get(name))
                for name, (section, example) in asked.items()
                if titles[name] == title
            },
        )


def _first(section: Section) -> Iterator[tuple[str, Any]]:
    yield from review_outline.first_values(section).items()


def _part(section: Section, name: str, example: Any, every: Mapping[str, Key], known: Any) -> Any:
    """Return the fields of one key of a review file: a block, several of them, a table, or one field."""
    if (table := section.about.bench.tables.get(name)) is not None:
        return Table(section.about.bench.files[table].splitlines()[-1], str(known or ""))
    annotation = inputs_model(section).model_fields[name].annotation
    models = review_outline.models_in(annotation)
    if not models:
        return Field(every[name], annotation, str(example), known)
    if isinstance(example, list):
        keys = _keys(every, f"{name}[].", example[0])
        return Several(lambda item: Block(models[0], keys, example[0], item), known or ())
    if review_outline.holds(annotation, dict):
        keys = _keys(every, f"{name}.*.", [key for block in example.values() for key in block])
        return NamedBlocks(
            lambda item: Named(
                ", ".join(example), Block(models[0], keys, {}, item and item[1]), item and item[0]
            ),
            tuple(dict(known or {}).items()),
        )
    return Block(models[0], _keys(every, f"{name}.", example), example, known)


def _keys(every: Mapping[str, Key], above: str, names: Iterable[str]) -> dict[str, Key]:
    return {name: every[above + name] for name in dict.fromkeys(names) if above + name in every}


def _shown(groups: Mapping[str, Mapping[str, Any]]) -> widgets.Widget:
    """Return the parts one below the other, each to be opened; the first one is."""
    shown = widgets.Accordion([widgets.VBox([*_headed(group)]) for group in groups.values()])
    for index, title in enumerate(groups):
        shown.set_title(index, title)
    shown.selected_index = 0
    return shown


def _headed(group: Mapping[str, Any]) -> Iterator[widgets.Widget]:
    for name, part in group.items():
        if not isinstance(part, Field):
            words = name.removeprefix("ui_").replace("_", " ").capitalize()
            yield widgets.HTML(f"<h4 style='margin:.6em 0 .2em'>{html.escape(words)}</h4>")
        yield part.widget


def _found(published: Published) -> str:
    """Return HTML that says where the page is, and the first things found."""
    items = [item for item in published.findings if item.value is not None][:_SHOWN_FINDINGS]
    told = "".join(f"<li>{html.escape(str(item))}</li>" for item in items)
    failed = "".join(
        f"<li>{html.escape(result.section.title)}: {html.escape(result.message)}</li>"
        for result in published.review.failed
    )
    kind = "A draft, for a section failed" if published.is_draft else "Published"
    shown = f"<code>{html.escape(str(published.index))}</code>"
    return f'<div role="status"><p>{kind}: {shown}</p><ul>{failed}{told}</ul></div>'
