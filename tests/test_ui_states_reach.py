"""Hazards, precautions and changes against an oracle that enumerates every path and every sequence."""

from __future__ import annotations

import networkx as nx
import pytest
import ui_machines as small

from reviewkit.ui_states import Event, OwnRule, State, findings, of_machine, precautions, reach
from reviewkit.ui_states.analysis import _apart, changes
from reviewkit.ui_states.reach import DEFAULT

GRAPHS, COUNTED = range(300), range(600)
LIT, DARK = State("lit", light_percent=100), State("dark")


def test_hazards_and_shortest_ways_are_those_of_all_enumerated_paths():
    """On 300 random machines: each hazard, the state it ends in and its fewest steps."""
    met = 0
    for seed in GRAPHS:
        made = small.random_machine(seed)
        for left in made.leave_in:
            found = reach.hazards(made, DEFAULT, [left])
            assert {(item.hazard, item.ends_in): len(item.steps) for item in found} == small.hazards(
                made, left
            )
            met += len(found)
    assert met > 500


def test_steps_of_a_hazard_are_outside_events_that_follow_each_other():
    for seed in GRAPHS:
        made = small.random_machine(seed)
        for item in reach.hazards(made, DEFAULT, made.leave_in):
            here = item.leave_in
            for step in item.steps:
                assert step in made.edges
                assert step.state == here
                assert made.events[step.event].outside
                here = step.next
            assert here == item.ends_in


def test_safe_states_are_those_of_all_enumerated_paths():
    for seed in GRAPHS:
        made = small.random_machine(seed)
        found = [name for name in made.states if reach.is_safe(made, DEFAULT, name)]
        assert found == [name for name in made.states if small.safe(made, name)]


def test_reachable_states_are_the_descendants_in_the_graph_of_outside_events():
    """Oracle: `networkx.descendants`."""
    for seed in GRAPHS:
        made = small.random_machine(seed)
        graph = nx.MultiDiGraph()
        graph.add_nodes_from(made.states)
        graph.add_edges_from((e.state, e.next) for e in made.edges if made.events[e.event].outside)
        for name in made.states:
            assert set(reach.reachable(made, [name])) == nx.descendants(graph, name) | {name}


def test_hazards_and_pairs_of_machines_with_counts_are_those_of_the_enumeration():
    met = 0
    for seed in GRAPHS:
        made = small.counted_machine(seed)
        for left in made.leave_in:
            found = {
                (item.hazard, item.ends_in): len(item.steps) for item in reach.hazards(made, DEFAULT, [left])
            }
            assert found == small.hazards(made, left)
            met += len(found)
        every = [(name, event) for name in made.states for event in made.events]
        assert set(made.pairs) == {pair for pair in every if small.can_occur(made, *pair)}
        assert made.open_pairs == {
            pair for pair in every if small.can_occur(made, *pair) and not small.told(made, *pair)
        }
    assert met > 300


def test_precautions_are_the_shortest_of_all_enumerated_sequences_that_end_in_rest():
    """On 900 random machines: which there are, which are shown, what is left to try for the others."""
    shown, not_shown = 0, 0
    machines = [*map(small.random_machine, GRAPHS), *map(small.counted_machine, COUNTED)]
    for made in machines:
        for left in [name for name in made.states if small.hazards(made, name)]:
            found = precautions.precautions(made, DEFAULT, [left])
            assert {item.do: set(item.not_tried) for item in found} == _expected(made, left)
            shown += sum(item.shown for item in found)
            not_shown += sum(not item.shown for item in found)
    assert shown > 50
    assert not_shown > 30


def _expected(made, left):
    enumerated = small.precautions(made, left)
    for _, found in sorted(enumerated.items()):
        if told := {do: missing for do, missing in found.items() if not missing}:
            return told
    return enumerated[min(enumerated)] if enumerated else {}


def test_no_precaution_starts_or_keeps_a_charge_relies_on_one_or_unlocks():
    """Walked by hand over every outcome, on the way and after it."""
    met = 0
    for seed in COUNTED:
        made = small.counted_machine(seed)
        for item in precautions.precautions(made, DEFAULT, made.leave_in):
            here = {item.leave_in}
            for event in item.do:
                rows = [row for row in made.edges if row.event == event and row.state in here]
                assert {row.state for row in rows} == here
                here = {row.next for row in rows}
                assert not any(made.states[name].charging for name in here)
            assert here == set(item.ends_in)
            was_locked = made.states[item.leave_in].locked is True
            for name in item.reachable:
                assert made.states[name].charging is not True
                assert made.states[name].light_percent == 0
                assert not (was_locked and made.states[name].locked is False)
            met += 1
    assert met > 50


def test_what_would_show_a_precaution_is_proposed_first():
    met = 0
    for seed in COUNTED:
        result = of_machine(small.counted_machine(seed))
        wanted = {pair for item in result.precautions for pair in item.not_tried}
        first = result.next_trials[: len(wanted)]
        assert {(item.state, item.event) for item in first} <= wanted or not wanted
        assert all(item.why == "would show" for item in first)
        met += bool(wanted)
    assert met > 15


def test_cable_in_is_no_precaution_and_a_lock_that_a_change_of_cell_removes_is_put_back():
    """A lamp whose lock outlives neither the cable nor a change of its cell."""
    events = {"cable in": "hand", "turn the ring": "hand", "cell changed by someone else": "outside"}
    events |= {"press in the bag": "outside"}
    states = {
        "locked": State("locked", locked=True),
        "standby": State("standby"),
        "lit": State("lit", light_percent=100),
        "charging": State("charging", charging=True, cable=True),
    }
    moves = [
        ("locked", "cell changed by someone else", "standby", 10, 10),
        ("standby", "press in the bag", "lit", 9, 9),
        ("locked", "cable in", "charging", 5, 5),
        ("standby", "turn the ring", "locked", 10, 10),
        ("locked", "turn the ring", "standby", 10, 10),
    ]
    known = {name: Event(name, kind) for name, kind in events.items()}
    result = of_machine(small.machine(moves, states=states, leave_in=["locked"], events=known))
    assert result.precautions == ()
    (lock,) = result.relocks
    assert [step.event for step in lock.do] == ["turn the ring"]
    note = findings(result).get("ui.precautions").note
    assert "Changing the cell removes the lock. Lock it again after every change" in note
    assert "cable" not in note


def test_what_spares_a_charge_is_told_as_seen_and_never_as_a_precaution():
    states = {
        "charging": State("charging", charging=True, cable=True),
        "no power": State("no power", cable=True),
        "idle": State("idle", cable=True),
        "charging locked": State("charging locked", charging=True, cable=True, locked=True),
        "no power locked": State("no power locked", cable=True, locked=True),
    }
    moves = [
        ("charging", "power lost", "no power", 10, 10),
        ("no power", "power back", "idle", 10, 10),
        ("charging", "press", "charging locked", 10, 10),
        ("charging locked", "power lost", "no power locked", 10, 10),
        ("no power locked", "power back", "charging locked", 4, 4),
    ]
    every = [(name, event) for name in states for event in small.EVENTS]
    done = {(state, event) for state, event, *_ in moves}
    made = small.machine(
        moves, states=states, leave_in=["charging"], impossible=[pair for pair in every if pair not in done]
    )
    result = of_machine(made)
    assert result.precautions == ()
    note = findings(result).get("ui.hazards").note
    assert "if the power fails and comes back, it does not charge again (10 of 10 tries)." in note
    assert "Locked beforehand, it does (4 of 4 tries at the weakest step)." in note


def test_a_change_removes_what_it_says_and_adds_nothing():
    met = 0
    for seed in range(100):
        made = small.random_machine(seed)
        found = reach.hazards(made, DEFAULT, made.leave_in)
        for change in changes(made, DEFAULT, found):
            edges = [
                edge
                for edge in made.edges
                if (edge.state, edge.event, edge.next) != (change.state, change.event, change.now)
            ]
            moved = small.machine(
                [(e.state, e.event, e.next) for e in edges] + [(change.state, change.event, change.instead)],
                states=made.states,
                leave_in=made.leave_in,
            )
            before = {(left, name) for left in made.states for name, _ in small.hazards(made, left)}
            after = {(left, name) for left in made.states for name, _ in small.hazards(moved, left)}
            assert after < before
            assert before - after == set(change.removes)
            assert change.remains == len(after)
            met += 1
    assert met > 30


def test_the_gravest_hazard_comes_first():
    """Never ends before light, brighter before dimmer, then the way with fewer steps."""
    states = {
        "on": State("on", charging=True),
        "dim": State("dim", light_percent=5, charging=True),
        "lit": State("lit", light_percent=100),
    }
    made = small.machine(
        [
            ("on", "charge complete", "on"),
            ("on", "time passed", "dim"),
            ("dim", "time passed", "lit"),
        ],
        states=states,
        leave_in=["on"],
    )
    found = [(item.hazard, item.ends_in) for item in reach.hazards(made, DEFAULT, ["on"])]
    assert found == [
        ("charging never ends", "on"),
        ("light comes on by itself", "lit"),
        ("light comes on by itself", "dim"),
    ]


def test_a_hazard_says_whether_outside_events_end_it():
    moves = [("dark", "power lost", "lit"), ("lit", "time passed", "dark")]
    states = {"dark": DARK, "lit": LIT}
    (ends,) = reach.hazards(small.machine(moves, states=states), DEFAULT, ["dark"])
    (stays,) = reach.hazards(small.machine(moves[:1], states=states), DEFAULT, ["dark"])
    assert [step.event for step in ends.stops_by] == ["time passed"]
    assert not stays.stops_by_itself


def test_a_light_left_on_by_hand_is_no_hazard_but_not_safe_to_leave():
    made = small.machine([("lit", "time passed", "lit")], states={"lit": LIT})
    assert reach.hazards(made, DEFAULT, ["lit"]) == ()
    assert not reach.is_safe(made, DEFAULT, "lit")


def test_power_lost_after_the_charge_is_complete_is_no_hazard():
    states = {"on": State("on", charging=True)}
    made = small.machine(
        [
            ("on", "charge complete", "full"),
            ("full", "power lost", "off"),
            ("off", "power back", "full"),
        ],
        states=states,
        leave_in=["on"],
    )
    assert reach.hazards(made, DEFAULT, ["on"]) == ()


def test_an_outcome_never_seen_is_on_no_path():
    from reviewkit.ui_states import Machine, Transition

    edges = (Transition("dark", "power lost", "lit", seen=0, tried=20), Transition("dark", "press", "lit"))
    made = Machine({"dark": DARK, "lit": LIT}, small.EVENTS, edges, leave_in=("dark",))
    assert reach.hazards(made, DEFAULT, ["dark"]) == ()


def test_both_outcomes_of_a_contradiction_are_followed():
    made = small.machine(
        [("dark", "power lost", "dark"), ("dark", "power lost", "lit")], states={"dark": DARK, "lit": LIT}
    )
    (found,) = reach.hazards(made, DEFAULT, ["dark"])
    assert found.ends_in == "lit"
    (contradiction,) = of_machine(made).contradictions
    assert contradiction.to_dict()["next"] == ["dark", "lit"]


@pytest.mark.parametrize(
    ("after", "expected"),
    [("", [("dark", 0), ("lit", 1)]), ("power lost", [("lit", 1)]), ("power back", [("dark", 2)])],
)
def test_an_authors_rule_asks_for_a_state_and_if_wanted_for_the_last_event(after, expected):
    made = small.machine(
        [("dark", "power lost", "lit"), ("lit", "power back", "dark")],
        states={"dark": State("dark", cable=True), "lit": State("lit", cable=True)},
        leave_in=["dark"],
    )
    own = OwnRule("on the cable", "cable", after)
    assert [(item.ends_in, len(item.steps)) for item in reach.hazards(made, [own], ["dark"])] == expected


def test_a_lock_without_meaning_is_passed_over():
    states = {
        "locked": State("locked", locked=True),
        "no cell": State("no cell", locked=None),
        "open": State("open", locked=False),
    }
    moves = [("locked", "time passed", "no cell"), ("no cell", "power back", "locked")]
    kept = small.machine(moves, states=states, leave_in=["locked"])
    assert reach.hazards(kept, DEFAULT, ["locked"]) == ()
    lost = small.machine([*moves, ("no cell", "power lost", "open")], states=states, leave_in=["locked"])
    (found,) = reach.hazards(lost, DEFAULT, ["locked"])
    assert (found.hazard, found.ends_in, len(found.steps)) == ("protection not recovered", "open", 2)


def test_two_states_are_as_far_apart_as_a_person_could_tell() -> None:
    """One for lit or dark, however bright; one for each of charging, cable, lock and error."""
    glowing, charging = State("glow", light_percent=0.5), State("charging", charging=True, cable=True)
    assert _apart(LIT, glowing) == _apart(DARK, State("off")) == 0
    assert _apart(glowing, DARK) == _apart(DARK, LIT) == 1
    assert _apart(DARK, charging) == 2
    assert _apart(LIT, charging) == 3
