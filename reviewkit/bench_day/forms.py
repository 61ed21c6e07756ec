"""Forms for entries at the bench, in a notebook: one click writes, tells what it means, can be undone."""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from reviewkit import drain, ui_states
from reviewkit.bench_day import answers, doubts, entering, journal
from reviewkit.bench_day.entering import Noted
from reviewkit.errors import InputError
from reviewkit.tables import csv_table

_SHOWN = 8
"""Entries listed below the forms (chosen: what fits below them without scrolling)."""
_WIDE = widgets.Layout(width="22em")
_LABELLED = {"description_width": "9em"}

Enter = Callable[..., Noted]


def forms(folder: str | Path) -> widgets.Widget:
    """Return forms for readings, trials, drains and the cable, with a stop-watch and undo.

    Parameters
    ----------
    folder : str or Path
        The review folder, whose tables they write.

    Raises
    ------
    Faults
        If its review file can't be read.

    Examples
    --------
    >>> [bench_day.forms(birch_copy).children[1].get_title(place) for place in range(4)]
    ['Reading', 'Trial', 'Drain', 'Cable']
    """
    return _Bench(Path(folder)).widget


class _Bench:
    """The forms of one folder and what stands below them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.told = widgets.HTML()
        self.listed = widgets.HTML()
        held = entering.values(folder)
        tabs = widgets.Tab(children=[self._form(*form) for form in _forms(folder, held)])
        for index, name in enumerate(("Reading", "Trial", "Drain", "Cable")):
            tabs.set_title(index, name)
        clap = self._button("Clap: the film’s time begins", entering.clap)
        undo = self._button("Undo the last entry", entering.undo)
        self.widget = widgets.VBox([widgets.HBox([clap, undo]), tabs, self.told, self.listed])
        self._list()

    def _button(self, text: str, enter: Enter) -> widgets.Button:
        button = widgets.Button(description=text, layout=_WIDE)
        button.on_click(lambda _: self._do(partial(enter, self.folder)))
        return button

    def _form(self, enter: Enter, fields: Mapping[str, widgets.Widget], doubtful: bool) -> widgets.Widget:
        """Return the fields of one kind of entry with the button that writes it."""
        sure = widgets.Checkbox(description="I am sure of it", value=False, indent=False)
        sure.layout.display = "none"
        button = widgets.Button(description="Enter", button_style="primary", layout=_WIDE)

        def write(_: Any) -> None:
            typed = {name: field.value for name, field in fields.items()}
            more = {"sure": sure.value} if doubtful else {}
            fault = self._do(partial(enter, self.folder, **typed, **more))
            sure.layout.display = "" if fault and doubts.SURE in fault else "none"
            sure.value = False
            if fault is None:
                for field in fields.values():
                    if isinstance(field, widgets.Text | widgets.Combobox):
                        field.value = ""

        button.on_click(write)
        asked = (sure,) if doubtful else ()
        return widgets.VBox([*fields.values(), *asked, button])

    def _do(self, enter: Callable[[], Noted]) -> str | None:
        """Enter something, say what it tells, and return the fault that kept it from being written."""
        try:
            lines, fault = enter().told, None
        except InputError as refused:
            lines, fault = (refused.message,), refused.message
        said = "".join(f"<p>{html.escape(line)}</p>" for line in lines)
        role = "alert" if fault else "status"
        mark = f"<p><b>{html.escape(answers.say('not_written'))}</b></p>" if fault else ""
        self.told.value = f'<div role="{role}">{mark}{said}</div>'
        self._list()
        return fault

    def _list(self) -> None:
        """Show the last entries, the latest first."""
        rows = [_row(entry) for entry in reversed(journal.entries(self.folder)[-_SHOWN:])]
        head = "<tr><th>at</th><th>film</th><th>what</th><th>entered</th></tr>"
        self.listed.value = f"<table>{head}{''.join(rows)}</table>" if rows else ""


def _row(entry: journal.Entry) -> str:
    cells = (f"{entry.when:%H:%M:%S}", entry.film, entry.what, entry.entered)
    shown = [f"<s>{html.escape(cell)}</s>" if entry.undone else html.escape(cell) for cell in cells]
    return "<tr>" + "".join(f"<td>{cell}</td>" for cell in shown) + "</tr>"


def _text(label: str, example: str = "") -> widgets.Text:
    return widgets.Text(
        description=label, placeholder=example, layout=_WIDE, style=_LABELLED, continuous_update=True
    )


def _choice(label: str, options: Sequence[str]) -> widgets.Combobox:
    return widgets.Combobox(
        description=label, options=tuple(options), ensure_option=False, layout=_WIDE, style=_LABELLED
    )


def _forms(
    folder: Path, held: Mapping[str, Any]
) -> tuple[tuple[Enter, dict[str, widgets.Widget], bool], ...]:
    """Return for each kind of entry: what writes it, its fields, and whether it may be doubted."""
    states, events = _known(folder, held)
    drained = [state.name for state in drain.inputs(held).drain_states]
    reading = {
        "reference": _text("reference", "3.912 or 3912 mV"),
        "shown": _text("shown", "3.9 or 3 blinks, pause, 9 blinks"),
        "load": _text("load, if any", "15 mA"),
        "warning": _text("warning shown", "half"),
        "remark": _text("remark"),
    }
    trial = {
        "state": _choice("in the state", states),
        "event": _choice("this happened", events),
        "to": _choice("and led to", [*states, "n/a"]),
        "times": widgets.BoundedIntText(
            value=1, min=1, max=1000, description="times running", layout=_WIDE, style=_LABELLED
        ),
        "remark": _text("remark"),
    }
    drains = {
        "state": _choice("state", drained),
        "reading_A": _text("reads", "68 uA"),
        "on_range": _text("on the range", "600 uA"),
    }
    runs = held.get("charge_runs") or []
    cable = {
        "run": widgets.Dropdown(
            options=[(_named(run, number), number) for number, run in enumerate(runs, start=1)]
            or [("none", 1)],
            description="charge",
            layout=_WIDE,
            style=_LABELLED,
        ),
        "moment": _text("pulled at", "now, or h:mm:ss of its log"),
    }
    return (
        (entering.reading, reading, True),
        (entering.trial, trial, True),
        (entering.drain, drains, False),
        (_cable, cable, False),
    )


def _named(run: Mapping[str, Any], number: int) -> str:
    return str(run.get("source") or f"charge {number}")


def _known(folder: Path, held: Mapping[str, Any]) -> tuple[list[str], list[str]]:
    """Return the states and events that a trial can name."""
    bench = ui_states.inputs(held)
    found = answers.assessed(bench, folder)
    events = list(found.machine.events) if found else list(bench.ui_events)
    return list(bench.ui_states), events


def _cable(folder: Path, *, run: int, moment: str) -> Noted:
    """Enter when the cable was pulled; an empty moment is now.

    Raises
    ------
    InputError
        If the moment can't be read.
    """
    if moment.strip().casefold() in ("", "now"):
        return entering.cable(folder, run=run)
    try:
        seconds = csv_table.seconds(moment.strip())
    except ValueError as failure:
        raise InputError(str(failure), expected="seconds or h:mm:ss on the voltage log's clock") from None
    return entering.cable(folder, seconds, run=run)
