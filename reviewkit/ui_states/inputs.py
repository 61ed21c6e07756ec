"""What the section reads from the review file, and the table of observed transitions."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, field_validator, model_validator

from reviewkit.errors import Faults, InputError, ReviewFileError, TableError, gathered
from reviewkit.schema.blocks import inside
from reviewkit.schema.quantities import Block, Percent, Second, checked, filled, own, unknown_key
from reviewkit.tables import csv_table, keys
from reviewkit.ui_states import expression
from reviewkit.ui_states.model import Kind, Role, State
from reviewkit.ui_states.reach import DEFAULT, OwnRule
from reviewkit.ui_states.signals import Signal

COLUMNS = {
    "state": ("from", "in state", "state before"),
    "event": ("input", "what happens"),
    "next": ("next state", "to", "state after"),
    "seen": ("times seen", "count"),
    "tried": ("times tried", "tries", "trials"),
    "remark": ("remarks", "note", "notes", "comment"),
    "video": ("video time", "time in video", "video_s"),
}
_OPTIONAL = ("seen", "tried", "remark", "video")
_MOST_TIMES = 1_000_000
IMPOSSIBLE = ("n/a", "na", "n.a.")


@dataclass(frozen=True)
class Row:
    """One row as it was typed, its counts and its time read.

    Parameters
    ----------
    place : str
        "row 12", or "ui_transitions[3]".
    video_s : float or None [s]
    """

    place: str
    state: str
    event: str
    next: str
    seen: int | None
    tried: int | None
    remark: str
    video_s: float | None

    @property
    def impossible(self) -> bool:
        """Whether the row says that the pair cannot occur."""
        return self.next.casefold() in IMPOSSIBLE


def read_transitions(source: str | tuple[dict[str, Any], ...], *, folder: Path) -> list[Row]:
    """Return the rows of the table.

    Parameters
    ----------
    source : str or tuple of dict
        A path relative to `folder`, or the rows themselves.

    Raises
    ------
    Faults
        Every cell that can't be read: row, column, what was expected.
    """
    if isinstance(source, str):
        frame = csv_table.read(source, folder=folder)
        columns = csv_table.pick(frame, COLUMNS, file=source, optional=_OPTIONAL)
        if frame.empty:
            raise TableError(
                "the table has no rows",
                file=source,
                expected="one row for each state, event and outcome",
                remedy="Type in what you tried.",
            )
        typed = [
            (f"row {number}", {name: cells[heading] for name, heading in columns.items()})
            for number, cells in zip(frame.index, frame.to_dict("records"), strict=True)
        ]
        return _rows(typed, source, TableError)
    listed = [(f"ui_transitions[{number}]", row) for number, row in enumerate(source, start=1)]
    return _rows(listed, "review.yaml", ReviewFileError)


def _rows(typed: Sequence[tuple[str, Mapping[str, Any]]], file: str, error: type[InputError]) -> list[Row]:
    faults: list[InputError] = []
    rows = []
    for number, cells in typed:
        with gathered(faults):
            rows.append(_row(number, {name: _text(cell) for name, cell in cells.items()}, file, error))
    if faults:
        raise Faults(faults)
    return rows


def _text(cell: Any) -> str:
    return "" if cell is None else str(cell).strip()


def _row(place: str, cells: Mapping[str, str], file: str, error: type[InputError]) -> Row:
    for name in cells:
        if name not in COLUMNS:
            raise unknown_key(name, COLUMNS, file=file, place=f"{place}.{name}")
    for name in ("state", "event", "next"):
        if not cells.get(name):
            raise error(f"'{name}' is empty", file=file, place=place, remedy=_EMPTY[name])

    def count(name: str) -> int | None:
        try:
            return _count(cells.get(name, ""))
        except ValueError:
            found = f"'{cells[name]}' is no count"
            where = f"{place}, column '{name}'"
            raise error(found, file=file, place=where, expected="a whole number such as 10") from None

    try:
        video_s = moment(cells.get("video", ""))
    except ValueError as failure:
        where = f"{place}, column 'video'"
        raise error(
            str(failure), file=file, place=where, expected="a time such as 12:34 or 1:02:03"
        ) from None
    row = Row(
        place,
        cells["state"],
        cells["event"],
        cells["next"],
        count("seen"),
        count("tried"),
        cells.get("remark", ""),
        video_s,
    )
    _check_counts(row, file, error)
    return row


_EMPTY = {
    "state": "Enter the state in which the event happened, as 'ui_states' names it.",
    "event": "Enter what happened, such as 'power lost'.",
    "next": "Enter the state it led to, or 'n/a' if the event cannot occur there.",
}


def _count(text: str) -> int | None:
    if not text:
        return None
    number = csv_table.number(text)
    if not 0 <= number <= _MOST_TIMES or number != int(number):
        raise ValueError(text)
    return int(number)


def _check_counts(row: Row, file: str, error: type[InputError]) -> None:
    if row.seen is not None and row.tried is not None and row.seen > row.tried:
        raise error(
            f"seen {row.seen} times, but tried only {row.tried}",
            file=file,
            place=row.place,
            remedy="'tried' counts all tries of the event in that state, whatever came of them.",
        )
    if (row.seen is None) != (row.tried is None) and row.tried != 0 and not row.impossible:
        missing, given = ("tried", "seen") if row.tried is None else ("seen", "tried")
        raise error(
            f"'{given}' has a count and '{missing}' has none",
            file=file,
            place=row.place,
            remedy="Give both, or neither if the trials were not counted.",
        )


def moment(text: str) -> float | None:
    """Return a time of the video in seconds from "754", "12:34" or "1:02:03"; None where it is empty.

    Raises
    ------
    ValueError
        If it is no time.
    """
    if not text:
        return None
    return csv_table.seconds(text)


class StateBlock(Block):
    """The attributes of one state. What is left out is off; ``null`` says that it has no meaning there."""

    light_percent: Percent = Field(default=0.0, ge=0, le=100)
    charging: bool | None = False
    cable: bool | None = False
    locked: bool | None = False
    error: bool = False
    shows: str = ""
    action: str = ""
    power: bool | None = None

    @model_validator(mode="after")
    def _agrees(self) -> StateBlock:
        if self.charging and "cable" in self.model_fields_set and self.cable is False:
            raise ValueError(
                "'charging: true' contradicts 'cable: false'; a device charges through its cable: correct "
                "one of the two, or leave 'cable' out"
            )
        return self

    def state(self, name: str) -> State:
        """Return the state; a device that charges has its cable in, one that is called locked is locked."""
        values = self.model_dump()
        if self.charging and "cable" not in self.model_fields_set:
            values["cable"] = True
        if "locked" not in self.model_fields_set and _LOCKED.search(name.casefold()):
            values["locked"] = True
        return State(name=name, **values)


_LOCKED = re.compile(r"(?<!not )(?<!un)\b(locked|lock on|lockout)\b")


def _kind_only(value: Any) -> Any:
    return {"kind": value} if isinstance(value, str) else value


class EventBlock(Block):
    """Who causes an event, and what it stands for where its name doesn't say so."""

    kind: Kind
    means: Role = ""


_Event = Annotated[EventBlock, BeforeValidator(_kind_only, json_schema_input_type=Kind | EventBlock)]


class HazardBlock(Block):
    """A hazard of the author's: a comparison over the state's attributes, if wanted only after an event."""

    name: str = Field(min_length=1)
    when: str = Field(min_length=1)
    after: str = ""

    @field_validator("when")
    @classmethod
    def _readable(cls, when: str) -> str:
        expression.read(when)
        return when


class SignalBlock(Block):
    """What was counted of a signal: flashes over seconds, or the times of one cycle from a video."""

    flashes: int | None = Field(default=None, ge=1)
    seconds: Second | None = Field(default=None, gt=0)
    video_frames_per_second: float | None = Field(default=None, gt=0)
    lit_s: tuple[Annotated[float, Field(gt=0)], ...] = ()
    dark_s: tuple[Annotated[float, Field(gt=0)], ...] = ()

    @model_validator(mode="after")
    def _complete(self) -> SignalBlock:
        if (self.flashes is None) != (self.seconds is None):
            raise ValueError("'flashes' and 'seconds' belong together: give both, or the times of one cycle")
        if len(self.lit_s) != len(self.dark_s):
            raise ValueError(
                "'lit_s' and 'dark_s' need as many times each: one pair for each flash of a cycle"
            )
        return self

    def signal(self, name: str) -> Signal:
        """Return the signal as it is evaluated."""
        frames = self.video_frames_per_second
        return Signal(
            name, self.flashes, self.seconds, 1 / frames if frames else None, self.lit_s, self.dark_s
        )


class UiInputs(Block):
    """The parameters of the section on user-interface states."""

    device: dict[str, Any] = Field(default_factory=dict)
    ui_states: dict[str, StateBlock] = Field(default_factory=dict)
    ui_events: dict[str, _Event] = Field(default_factory=dict)
    ui_transitions: str | tuple[dict[str, Any], ...] = ""
    ui_hazards: tuple[HazardBlock, ...] = ()
    ui_leave_in: tuple[str, ...] = ()
    ui_signals: dict[str, SignalBlock] = Field(default_factory=dict)
    ui_walks: tuple[tuple[str, ...], ...] = ()

    @field_validator("ui_transitions")
    @classmethod
    def _stays_inside(cls, value: str | tuple[dict[str, Any], ...]) -> str | tuple[dict[str, Any], ...]:
        return inside(value) if isinstance(value, str) and value else value

    @field_validator("ui_hazards")
    @classmethod
    def _names_differ(cls, value: tuple[HazardBlock, ...]) -> tuple[HazardBlock, ...]:
        names = [rule.name for rule in DEFAULT] + [item.name for item in value]
        double = sorted({name for name in names if names.count(name) > 1})
        if double:
            raise ValueError(f"two hazards are called '{double[0]}'; give each a name of its own")
        return value

    @field_validator("ui_signals")
    @classmethod
    def _keys_differ(cls, value: dict[str, SignalBlock]) -> dict[str, SignalBlock]:
        for _, name, other, key in keys.doubles(value):
            raise ValueError(f"{keys.same(other, name, 'signals', key)}; each needs a name of its own")
        return value

    @property
    def empty(self) -> bool:
        """Whether nothing was observed yet."""
        return not self.ui_states and not self.ui_transitions

    @property
    def own_rules(self) -> tuple[OwnRule, ...]:
        """The author's hazards."""
        return tuple(OwnRule(item.name, item.when, item.after) for item in self.ui_hazards)

    @property
    def signals(self) -> dict[str, Signal]:
        """The signals that were counted, by name."""
        return {name: block.signal(name) for name, block in self.ui_signals.items()}


def inputs(names: Mapping[str, Any] | None = None, /, **values: Any) -> UiInputs:
    """Return the section's parameters, checked.

    Parameters
    ----------
    names : mapping, optional
        Whatever names there are, as `globals()` in a notebook gives them: the section's own are taken.
    **values
        The section's names one by one, as the review file holds them.

    Raises
    ------
    Faults
        Every fault in them at once.

    Examples
    --------
    >>> bench = inputs(ui_states={"off": {"light_percent": 0}, "low": {"light_percent": 10}})
    >>> list(bench.ui_states)
    ['off', 'low']
    """
    return checked(UiInputs, filled(own(names, UiInputs) | values))
