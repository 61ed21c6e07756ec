"""Fields of a form made from the models of a review file: a field a key, with its meaning and an example."""

from __future__ import annotations

import html
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import ipywidgets as widgets
from pydantic import BaseModel

from reviewkit.commands import first_logs
from reviewkit.errors import CELL, Faults, InputError
from reviewkit.metrology import formatting
from reviewkit.metrology.meter import accuracy
from reviewkit.schema import quantities
from reviewkit.schema.blocks import Ammeter, LogBlock, Voltmeter
from reviewkit.sections import review_outline
from reviewkit.sections.key_list import Key

_LABEL = "14em"
LINE: Mapping[str, Any] = {"style": {"description_width": _LABEL}, "layout": {"width": "min(52em, 98%)"}}
"""How wide a field and its label are."""
_LOGS = (".csv", ".tsv", ".txt", ".log", ".xlsx", ".parquet")
_MOST_FILES = 300
"""Files offered to choose from (chosen: a folder of logs; in a larger one the name is typed)."""
_YES_NO = {"yes": True, "no": False}
_SHOWN_AT = {Voltmeter: (4.2, "V"), Ammeter: (0.5, "A")}
"""Readings at which a meter's ± is shown: a full cell, a charge of half an ampere (chosen: examples only)."""


class Field:
    """One key: its widget, and below it what is to be said of what stands there.

    Parameters
    ----------
    key : Key
        Its name, its meaning, the words it takes.
    annotation : object
        What the model holds there.
    example : str
        As it is printed on a device, a cell or a meter; shown while the field is empty.
    """

    def __init__(self, key: Key, annotation: Any, example: str = "", value: Any = None) -> None:
        self.name = key.name.rpartition(".")[2]
        self._is_log = LogBlock in review_outline.models_in(annotation)
        self._block = value if isinstance(value, dict) else None
        self.input = _input(key, annotation, example, self._is_log)
        self.told = widgets.HTML()
        self.widget = widgets.VBox([self.input, self.told])
        self.input.tooltip = key.says
        if value is not None:
            self.input.value = _shown(value, self.input)
        if self._is_log:
            self.widget.children = (widgets.HBox([self.input, _upload(self)]), self.told)
            self.input.observe(lambda _: self._picture(), "value")
            self._picture()

    @property
    def value(self) -> Any:
        """What stands there, as a parameter cell would hold it; None where nothing does."""
        typed = str(self.input.value or "").strip()
        if self._block is not None and typed == str(self._block.get("path")):
            return self._block
        return _YES_NO.get(typed, typed) if isinstance(self.input, widgets.Dropdown) else typed or None

    @property
    def judged(self) -> Any:
        """What the model is asked about: of a log its name alone, for it is copied into the review folder."""
        if self._is_log and isinstance(self.value, str):
            return Path(self.value.replace("\\", "/")).name
        return self.value

    def _picture(self) -> None:
        """Show what the log holds, or why it is not read."""
        if not self.value:
            self.told.value = ""
            return
        path = Path(str(self.input.value)).expanduser()
        try:
            self.told.value = first_logs.pictures([path]) or _lines(["no voltage or current was found in it"])
        except InputError as fault:
            self.told.value = faults([fault])


def _input(key: Key, annotation: Any, example: str, is_log: bool) -> Any:
    name = key.name.rpartition(".")[2]
    says = key.says.partition(" [")[0]  # the label has the unit
    shown = f"{example}   ({says})" if example and says else example or says
    common = {"description": _label(name), **LINE}
    if words := review_outline.literals(annotation):
        return widgets.Dropdown(options=["", *words], value="", **common)
    if bool in review_outline.parts(annotation):
        return widgets.Dropdown(options=["", *_YES_NO], value="", **common)
    if is_log:
        return widgets.Combobox(options=tuple(_files()), placeholder=shown, **common)
    return widgets.Text(placeholder=shown, continuous_update=False, **common)


def _label(name: str) -> str:
    """Return a key as a label: "charge_limit_V" → "charge limit [V]"."""
    words, _, unit = name.rpartition("_")
    if unit not in quantities.BY_SUFFIX or not words:
        return name.replace("_", " ")
    spelled = {"ohm": "Ω", "C": "°C", "percent": "%"}.get(unit, unit)
    return f"{words.replace('_', ' ')} [{spelled}]"


def _shown(value: Any, field: Any) -> Any:
    if isinstance(value, bool):
        return next(word for word, meant in _YES_NO.items() if meant is value)
    text = str(value["path"] if isinstance(value, dict) else value)
    if isinstance(field, widgets.Dropdown) and text not in field.options:
        field.options = [*field.options, text]
    return text


def _files() -> Iterator[str]:
    """Walk the files beside the notebook that may be logs, and those one folder below."""
    found = sorted([*Path().glob("*.*"), *Path().glob("*/*.*")])
    yield from [path.as_posix() for path in found if path.suffix.lower() in _LOGS][:_MOST_FILES]


def _upload(field: Field) -> Any:
    """Return a button that takes a file from elsewhere and puts it beside the notebook, over no other."""
    button = widgets.FileUpload(description="from elsewhere", multiple=False, layout={"width": "13em"})

    def take(_: Any) -> None:
        for item in button.value:
            path = Path(first_logs.LOGS) / Path(str(item["name"]).replace("\\", "/")).name
            content = bytes(item["content"])
            if path.exists() and path.read_bytes() != content:
                problem = "another file of this name lies there already"
                field.told.value = faults([InputError(problem, file=path.as_posix(), remedy="Rename one.")])
                continue
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)
            field.input.value = path.as_posix()

    button.observe(take, "value")
    return button


class Block:
    """The fields of one block, held to its model as they are typed.

    Parameters
    ----------
    model : type of BaseModel
    keys : mapping of str to Key
        By the key's own name: which fields there are, in their order.
    examples : mapping of str to object
        By the same.
    value : mapping or str
        What is known; of a meter of one's own its name.
    """

    def __init__(
        self,
        model: type[BaseModel],
        keys: Mapping[str, Key],
        examples: Mapping[str, Any],
        value: Mapping[str, Any] | str | None = None,
    ) -> None:
        self._model, known = model, {"name": value} if isinstance(value, str) else dict(value or {})
        fields = model.model_fields
        self._fields = [
            Field(key, fields[name].annotation, str(examples.get(name, "")), known.pop(name, None))
            for name, key in keys.items()
        ]
        self._more = known
        self.told = widgets.HTML()
        self.widget = widgets.VBox([*(field.widget for field in self._fields), self.told])
        for field in self._fields:
            field.input.observe(lambda _: self._check(), "value")
        self._check()

    @property
    def value(self) -> Any:
        """What is filled in; of a meter of which nothing but the name is, that name."""
        typed = self._filled(lambda field: field.value)
        return typed["name"] if self._is_by_name(typed) else typed

    def _is_by_name(self, typed: Mapping[str, Any]) -> bool:
        return set(typed) == {"name"} and issubclass(self._model, Voltmeter | Ammeter)

    def _filled(self, of: Callable[[Field], Any]) -> dict[str, Any]:
        typed = {field.name: of(field) for field in self._fields}
        return {name: item for name, item in typed.items() if item not in (None, "")} | self._more

    def _check(self) -> None:
        """Say what the model refuses of what is filled in, or how a meter was understood."""
        judged = self._filled(lambda field: field.judged)
        if self._is_by_name(judged):
            self.told.value = _lines(["the meter of this name in instruments.yaml"])
            return
        try:
            held = quantities.checked(self._model, judged, file="") if judged else None
            self.told.value = _lines([_understood(held)] if isinstance(held, Voltmeter | Ammeter) else [])
        except Faults as error:
            # What is still to be typed is no fault yet.
            wrong = [fault for fault in error.faults if fault.problem != "the key is missing"]
            unread = _unread(judged) if issubclass(self._model, Voltmeter | Ammeter) else []
            self.told.value = faults(unread or wrong)


def _unread(judged: Mapping[str, Any]) -> list[InputError]:
    """Return what can't be read of an accuracy, whatever else of the meter is still to be typed."""
    try:
        accuracy(str(judged.get("accuracy") or "0 %"))
    except ValueError as fault:
        return [InputError(str(fault), place="accuracy")]
    return []


def _understood(meter: Voltmeter | Ammeter) -> str:
    """Return how a meter's accuracy was understood, with what it is at one reading."""
    at, unit = _SHOWN_AT[type(meter)]
    if meter.accuracy is None:
        return ""
    of = meter.meter()
    shown = formatting.quantity(at, of.half_width(at), unit)
    return f"understood as {of.accuracy.words(unit)}: {shown}"


class Several:
    """Blocks of one kind, one below the other, with a button for one more.

    Parameters
    ----------
    made : callable
        Makes a block of what is known of it, which is None for an empty one.
    known : iterable
        What is known, a block each.
    """

    def __init__(self, made: Callable[[Any], Any], known: Iterable[Any]) -> None:
        self._made = made
        self._blocks = [made(item) for item in known] or [made(None)]
        self._button = widgets.Button(description="One more", layout={"width": "12em"})
        self._button.on_click(lambda _: self.add())
        self.widget = widgets.VBox()
        self._show()

    @property
    def value(self) -> Any:
        """What is filled in, without the blocks that are empty."""
        return [block.value for block in self._blocks if block.value]

    def add(self) -> None:
        """Put one more block below the others."""
        self._blocks.append(self._made(None))
        self._show()

    def _show(self) -> None:
        self.widget.children = (*(block.widget for block in self._blocks), self._button)


class NamedBlocks(Several):
    """Blocks each under a name of its own."""

    @property
    def value(self) -> dict[str, Any]:
        """What is filled in, by name."""
        return {name: item for block in self._blocks for name, item in block.value.items()}


class Named:
    """A block with a name of one's own, as in `ui_states`."""

    def __init__(self, example: str, block: Block, name: str | None = None) -> None:
        self._block = block
        self._name = widgets.Text(value=name or "", placeholder=example, description="name", **LINE)
        self.widget = widgets.VBox([self._name, block.widget])

    @property
    def value(self) -> dict[str, Any]:
        """The block under its name; empty without one."""
        name = self._name.value.strip()
        return {name: self._block.value} if name else {}


class Table:
    """A table typed line by line below its headings."""

    def __init__(self, headings: str, value: str = "") -> None:
        self._headings = headings
        size = {"width": "min(46em, 98%)", "height": "9em"}
        self.input = widgets.Textarea(value=value or f"{headings}\n", layout=size)
        self.widget = widgets.VBox([widgets.HTML("A line for each, below the headings."), self.input])

    @property
    def value(self) -> str | None:
        """The table, or the name of its file; None while there are only headings."""
        typed = self.input.value.strip()
        return None if typed in ("", self._headings.strip()) else f"{typed}\n" if "\n" in typed else typed


def faults(found: Iterable[InputError]) -> str:
    """Return HTML that lists faults; empty where there are none."""
    told = [line.removeprefix(f"{CELL}, ") for fault in found for line in fault.message.splitlines()]
    items = "".join(f"<li>{html.escape(line)}</li>" for line in told)
    return (
        f'<ul role="alert" style="margin:0 0 .5em;border-left:4px solid #d55e00">{items}</ul>' if told else ""
    )


def _lines(told: Iterable[str]) -> str:
    return "".join(f'<p style="margin:0 0 .5em 14.5em">{html.escape(line)}</p>' for line in told if line)
