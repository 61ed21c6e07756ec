"""What the section on user-interface states reads from the review file."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, field_validator, model_validator

from reviewkit.schema.blocks import inside
from reviewkit.schema.quantities import Block, Percent, Second, checked
from reviewkit.tables import keys
from reviewkit.ui_states import expression
from reviewkit.ui_states.model import Kind, Role, State
from reviewkit.ui_states.rules import DEFAULT, OwnRule
from reviewkit.ui_states.signals import Signal


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
    ui_events: dict[str, Annotated[EventBlock, BeforeValidator(_kind_only)]] = Field(default_factory=dict)
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


def inputs(**values: Any) -> UiInputs:
    """Return the section's parameters, checked.

    Parameters
    ----------
    **values
        `device` and the `ui_…` names, as the review file holds them.

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
    return checked(
        UiInputs, {name: value for name, value in values.items() if value not in (None, {}, [], ())}
    )
