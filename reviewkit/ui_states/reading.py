"""The device as it was observed, put together from review file and table, or every fault in them."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path

from reviewkit.errors import Faults, InputError, ReviewFileError, TableError, gathered
from reviewkit.ui_states.inputs import Row, UiInputs, read_transitions
from reviewkit.ui_states.model import Event, Machine, State, Transition, event, plain

FILE = "review.yaml"


def check(inputs: UiInputs, folder: Path) -> list[InputError]:
    """Return every fault that can be known before the section runs.

    Parameters
    ----------
    inputs : UiInputs
    folder : Path
        The review folder; the table's path is relative to it.

    Examples
    --------
    >>> from pathlib import Path
    >>> check(ui.inputs(), Path("examples/birch"))
    []
    """
    faults: list[InputError] = []
    if not inputs.empty:
        with gathered(faults):
            machine(inputs, folder=folder)
    return faults


def machine(inputs: UiInputs, *, folder: Path = Path()) -> Machine:
    """Return the device's states, events and outcomes.

    Raises
    ------
    Faults
        Everything wrong at once: unknown states, events of unknown kind, counts that can't be, outcomes
        that contradict the state's attributes.
    """
    if not inputs.ui_states or not inputs.ui_transitions:
        missing = "ui_states" if not inputs.ui_states else "ui_transitions"
        raise ReviewFileError(
            "there are transitions but no states"
            if inputs.ui_transitions
            else "there are states but no transitions",
            file=FILE,
            place=missing,
            expected="states as 'standby: {light_percent: 0}', and a table of transitions",
        )
    states = {name: block.state(name) for name, block in inputs.ui_states.items()}
    table = read_transitions(inputs.ui_transitions, folder=folder)
    source = inputs.ui_transitions if isinstance(inputs.ui_transitions, str) else FILE
    declared = {name: (block.kind, block.means) for name, block in inputs.ui_events.items()}
    events = {name: event(name, declared) for name in _event_names(table, declared)}
    faults = _exchanged(table, states, source) or [
        *_unknown_states(table, states, source),
        *_unknown_kinds(table, events, source),
        *_pairs(table, source),
    ]
    known = {name: found for name, found in events.items() if found is not None}
    if not faults:
        faults = [
            *_contradicting(table, states, known, source),
            *_review_keys(inputs, states, known),
        ]
    if faults:
        raise Faults(faults)
    return _made(table, states, known, inputs, source)


def _event_names(table: list[Row], declared: Iterable[str]) -> list[str]:
    """Return the events of the table, then those that are declared and never tried."""
    names = list(dict.fromkeys(row.event for row in table))
    known = {plain(name) for name in names}
    return names + [name for name in declared if plain(name) not in known]


def _made(
    table: list[Row], states: dict[str, State], events: dict[str, Event], inputs: UiInputs, source: str
) -> Machine:
    outcomes = tuple(
        Transition(row.state, row.event, row.next, row.seen, row.tried, row.remark, row.video_s, row.place)
        for row in table
        if not row.impossible
    )
    return Machine(
        states,
        events,
        outcomes,
        frozenset((row.state, row.event) for row in table if row.impossible),
        _left_in(inputs, states),
        () if source == FILE else (source,),
    )


def _left_in(inputs: UiInputs, states: dict[str, State]) -> tuple[str, ...]:
    """Return where a person may walk away: as declared, else where it charges; and wherever it is locked.

    A lock is put on so that the device may be left: what becomes of it then is always asked.
    """
    told = inputs.ui_leave_in or tuple(name for name, state in states.items() if state.charging is True)
    dark = (name for name, state in states.items() if state.locked is True and not state.light_percent)
    return tuple(dict.fromkeys((*told, *dark)))


def _exchanged(table: list[Row], states: dict[str, State], file: str) -> list[InputError]:
    """Return a fault if the columns of states and events are the wrong way round."""
    if table and all(row.event in states and row.state not in states for row in table):
        return [
            _error(file)(
                "'state' and 'event' look exchanged: every event is a state of 'ui_states'",
                file=file,
                place="header",
                remedy="Exchange the two headings.",
            )
        ]
    return []


def _unknown_states(table: list[Row], states: dict[str, State], file: str) -> list[InputError]:
    """Return the rows that name a state of no block."""
    return [
        _error(file)(
            f"unknown state '{name}'",
            file=file,
            place=f"{row.place}, column '{column}'",
            expected=f"a state of 'ui_states' ({_some(states)})",
            remedy=f"{_nearest(name, states)}Correct the name, or add it to 'ui_states'.",
        )
        for row in table
        for column, name in (("state", row.state), ("next", row.next))
        if name not in states and not (column == "next" and row.impossible)
    ]


def _unknown_kinds(table: list[Row], events: dict[str, Event | None], file: str) -> list[InputError]:
    """Return the events of which no one says who causes them."""
    first = {row.event: row for row in reversed(table)}
    return [
        _error(file)(
            f"event '{name}' is of unknown kind",
            file=file,
            place=first[name].place,
            expected="'hand' or 'outside'",
            remedy=f"Add '{name}: hand' to 'ui_events' if the user does it, else '{name}: outside'.",
        )
        for name, found in events.items()
        if found is None
    ]


def _pairs(table: list[Row], file: str) -> list[InputError]:
    """Return the faults between rows of one pair: doubled, n/a beside an outcome, counts that disagree."""
    faults: list[InputError] = []
    pairs: dict[tuple[str, str], list[Row]] = {}
    for row in table:
        pairs.setdefault((row.state, row.event), []).append(row)
    for group in pairs.values():
        problem = _problem(group)
        if problem:
            places = ", ".join(row.place for row in group)
            faults.append(_error(file)(problem[0], file=file, place=places, remedy=problem[1]))
    return faults


def _problem(group: list[Row]) -> tuple[str, str] | None:
    row = group[0]
    pair = f"'{row.event}' in '{row.state}'"
    names = [item.next for item in group]
    if len(set(names)) < len(names):
        return f"the same outcome of {pair} stands twice", "Put the counts together in one row."
    if len(group) > 1 and any(item.impossible for item in group):
        return f"{pair} has an outcome and 'n/a'", "Remove the 'n/a', or the outcome."
    if len({item.tried for item in group}) > 1:
        return f"{pair} has different counts in 'tried'", "Write the number of all tries on each of its rows."
    total = sum(item.seen or 0 for item in group)
    if row.tried is not None and total > row.tried:
        return f"{pair} was tried {row.tried} times and seen {total} times", "Correct 'seen' or 'tried'."
    return None


_NEEDS = {
    "cable in": ("cable", True),
    "cable out": ("cable", False),
    "power lost": ("charging", False),
    "lock": ("locked", True),
    "unlock": ("locked", False),
}


def _contradicting(
    table: list[Row], states: dict[str, State], events: dict[str, Event], file: str
) -> list[InputError]:
    """Return the rows whose outcome can't be: after 'cable in' the cable is in."""
    faults: list[InputError] = []
    for row in table:
        attribute, needed = _NEEDS.get(events[row.event].role, ("", None))
        # An action that failed (nothing happened) contradicts nothing, but a cable is where it was put.
        failed = attribute == "locked" and row.next == row.state
        if row.impossible or row.seen == 0 or not attribute or failed:
            continue
        found = getattr(states[row.next], attribute)
        if found is not None and found is not needed:
            faults.append(
                _error(file)(
                    f"'{row.event}' leads to '{row.next}', which has '{attribute}: {_yaml(found)}'",
                    file=file,
                    place=row.place,
                    expected=f"a state with '{attribute}: {_yaml(needed)}'",
                    remedy="Correct the row, or the state's attributes in 'ui_states'; a state that looks "
                    "the same but differs in this is a state of its own.",
                )
            )
    return faults


def _yaml(value: bool | None) -> str:
    return {True: "true", False: "false", None: "null"}[value]


def _review_keys(inputs: UiInputs, states: dict[str, State], events: dict[str, Event]) -> list[InputError]:
    """Return the names in the review file that are no state, or no event of the table."""
    asked = [
        (f"ui_leave_in[{number}]", name, True) for number, name in enumerate(inputs.ui_leave_in, start=1)
    ]
    for number, walk in enumerate(inputs.ui_walks, start=1):
        asked += [(f"ui_walks[{number}]", name, step == 0) for step, name in enumerate(walk)]
    for number, rule in enumerate(inputs.ui_hazards, start=1):
        asked += [(f"ui_hazards[{number}].after", rule.after, False)] if rule.after else []
    return [
        ReviewFileError(
            f"unknown {'state' if is_state else 'event'} '{name}'",
            file=FILE,
            place=number,
            remedy=_nearest(name, states if is_state else events)
            or f"Known: {_some(states if is_state else events)}.",
        )
        for number, name, is_state in asked
        if name not in (states if is_state else events)
    ]


def _error(file: str) -> type[InputError]:
    return ReviewFileError if file == FILE else TableError


def _some(names: Iterable[str]) -> str:
    known = list(names)
    return ", ".join(known[:8]) + (", …" if len(known) > 8 else "")


def _nearest(name: str, names: Iterable[str]) -> str:
    near = difflib.get_close_matches(name, list(names))
    return f"Did you mean '{near[0]}'? " if near else ""
