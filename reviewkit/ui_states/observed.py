"""The device as it was observed, put together from review file and table, or every fault in them."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from reviewkit.errors import Faults, ReviewFileError
from reviewkit.ui_states import rows, table_checks
from reviewkit.ui_states.events import Event, event, plain
from reviewkit.ui_states.inputs import UiInputs
from reviewkit.ui_states.model import Machine, State, Transition
from reviewkit.ui_states.rows import Row
from reviewkit.ui_states.table_checks import FILE


def machine(inputs: UiInputs, *, folder: Path = Path()) -> Machine:
    """Return the device's states, events and outcomes.

    Raises
    ------
    Faults
        Everything wrong at once: unknown states, events of unknown kind, counts that can't be, outcomes
        that contradict the state's attributes, states that nothing leads to.
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
    table = rows.read(inputs.ui_transitions, folder=folder)
    source = inputs.ui_transitions if isinstance(inputs.ui_transitions, str) else FILE
    declared = {name: (block.kind, block.means) for name, block in inputs.ui_events.items()}
    events = {name: event(name, declared) for name in _event_names(table, declared)}
    faults = table_checks.exchanged(table, states, source) or [
        *table_checks.unknown_states(table, states, source),
        *table_checks.unknown_kinds(table, events, source),
        *table_checks.pairs(table, source),
    ]
    known = {name: found for name, found in events.items() if found is not None}
    if not faults:
        faults = [
            *table_checks.contradicting(table, states, known, source),
            *table_checks.unreached(table, states),
        ]
        faults += table_checks.review_keys(inputs, states, known)
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
        inputs.ui_leave_in or tuple(name for name, state in states.items() if state.charging is True),
        () if source == FILE else (source,),
    )
