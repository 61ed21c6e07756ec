"""Hazards, precautions and changes against an oracle that enumerates every path and every sequence."""

from __future__ import annotations

import networkx as nx
import pytest
import ui_machines as small

from reviewkit.ui_states import OwnRule, State, changes, of_machine, precautions, reach, rules

GRAPHS = range(300)
LIT, DARK = State("lit", light_percent=100), State("dark")


def test_hazards_and_shortest_ways_are_those_of_all_enumerated_paths():
    """On 300 random machines: each hazard, the state it ends in and its fewest steps."""
    met = 0
    for seed in GRAPHS:
        made = small.random_machine(seed)
        for left in made.leave_in:
            found = reach.hazards(made, rules.DEFAULT, [left])
            assert {(item.hazard, item.ends_in): len(item.steps) for item in found} == small.hazards(
                made, left
            )
            met += len(found)
    assert met > 500


def test_steps_of_a_hazard_are_outside_events_that_follow_each_other():
    for seed in GRAPHS:
        made = small.random_machine(seed)
        for item in reach.hazards(made, rules.DEFAULT, made.leave_in):
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
        found = [name for name in made.states if reach.is_safe(made, rules.DEFAULT, name)]
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


def test_precautions_are_the_shortest_of_all_enumerated_sequences():
    """On 300 random machines: all shortest ones, and the shortest that keep it charging."""
    met = 0
    for seed in GRAPHS:
        made = small.random_machine(seed)
        for left in [name for name in made.states if small.hazards(made, name)]:
            found = precautions.precautions(made, rules.DEFAULT, [left])
            assert {item.do for item in found if len(item.do) <= 4} == _expected(made, left)
            met += len(found)
    assert met > 50


def _expected(made, left):
    enumerated = small.precautions(made, left)
    if not enumerated:
        return set()
    first = min(enumerated)
    wanted = {do for do, _ in enumerated[first]}
    keeping = [length for length, found in enumerated.items() if any(keeps for _, keeps in found)]
    if made.states[left].charging is True and keeping:
        wanted |= {do for do, keeps in enumerated[min(keeping)] if keeps}
    return wanted


def test_after_a_precaution_nothing_reachable_is_a_hazard():
    for seed in GRAPHS:
        made = small.random_machine(seed)
        for item in precautions.precautions(made, rules.DEFAULT, made.leave_in):
            assert all(small.safe(made, name) for name in item.ends_in)
            assert set(item.reachable) >= set(item.ends_in)


def test_a_change_removes_what_it_says_and_adds_nothing():
    met = 0
    for seed in range(100):
        made = small.random_machine(seed)
        found = reach.hazards(made, rules.DEFAULT, made.leave_in)
        for change in changes.changes(made, rules.DEFAULT, found):
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
    found = [(item.hazard, item.ends_in) for item in reach.hazards(made, rules.DEFAULT, ["on"])]
    assert found == [
        ("charging never ends", "on"),
        ("light comes on by itself", "lit"),
        ("light comes on by itself", "dim"),
    ]


def test_a_hazard_says_whether_outside_events_end_it():
    moves = [("dark", "power lost", "lit"), ("lit", "time passed", "dark")]
    states = {"dark": DARK, "lit": LIT}
    (ends,) = reach.hazards(small.machine(moves, states=states), rules.DEFAULT, ["dark"])
    (stays,) = reach.hazards(small.machine(moves[:1], states=states), rules.DEFAULT, ["dark"])
    assert [step.event for step in ends.stops_by] == ["time passed"]
    assert not stays.stops_by_itself


def test_a_light_left_on_by_hand_is_no_hazard_but_not_safe_to_leave():
    made = small.machine([("lit", "time passed", "lit")], states={"lit": LIT})
    assert reach.hazards(made, rules.DEFAULT, ["lit"]) == ()
    assert not reach.is_safe(made, rules.DEFAULT, "lit")


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
    assert reach.hazards(made, rules.DEFAULT, ["on"]) == ()


def test_an_outcome_never_seen_is_on_no_path():
    from reviewkit.ui_states import Machine, Transition

    edges = (Transition("dark", "power lost", "lit", seen=0, tried=20), Transition("dark", "press", "lit"))
    made = Machine({"dark": DARK, "lit": LIT}, small.EVENTS, edges, leave_in=("dark",))
    assert reach.hazards(made, rules.DEFAULT, ["dark"]) == ()


def test_both_outcomes_of_a_contradiction_are_followed():
    made = small.machine(
        [("dark", "power lost", "dark"), ("dark", "power lost", "lit")], states={"dark": DARK, "lit": LIT}
    )
    (found,) = reach.hazards(made, rules.DEFAULT, ["dark"])
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
    assert reach.hazards(kept, rules.DEFAULT, ["locked"]) == ()
    lost = small.machine([*moves, ("no cell", "power lost", "open")], states=states, leave_in=["locked"])
    (found,) = reach.hazards(lost, rules.DEFAULT, ["locked"])
    assert (found.hazard, found.ends_in, len(found.steps)) == ("protection not recovered", "open", 2)
