"""Coverage against a published worked example and matrix powers; plans against every order of visits."""

from __future__ import annotations

import itertools
import random

import networkx as nx
import numpy as np
import pytest
import ui_machines as small
from scipy import stats

from reviewkit.ui_states import Event, Machine, State, Transition, evidence, of_machine, reach

# A published worked example of switch coverage (six transitions). Its own list of two-transition sequences
# leaves out the loop followed by itself; the count below is that of the line graph.
PUBLISHED = [
    ("SS", "A", "S1"),
    ("S1", "B", "S2"),
    ("S2", "E", "S1"),
    ("S2", "C", "S3"),
    ("S3", "F", "S3"),
    ("S3", "D", "ES"),
]
LETTERS = {name: Event(name, "hand") for name in "ABCDEF"}


def published():
    return small.machine(PUBLISHED, events=LETTERS)


def test_switch_counts_of_the_worked_example():
    made = published()
    pairs = evidence.one_switches(made.edges)
    assert len(made.edges) == 6
    assert len(pairs) == 8
    assert {one.event + two.event for one, two in pairs} == {"AB", "BE", "BC", "EB", "CF", "CD", "FF", "FD"}


@pytest.mark.parametrize("seed", range(50))
def test_sequences_of_two_are_the_sum_of_the_squared_adjacency_matrix(seed):
    """Oracles: `numpy.linalg.matrix_power(A, 2).sum()`, and the edges of the line graph (networkx)."""
    made = small.random_machine(seed)
    multigraph = evidence.multigraph(made)
    adjacency = nx.to_numpy_array(multigraph, dtype=int)
    found = len(evidence.one_switches(made.edges))
    assert found == np.linalg.matrix_power(adjacency, 2).sum()
    assert found == nx.line_graph(multigraph).number_of_edges()


def test_pairs_that_cannot_occur_are_not_asked_for():
    made = Machine(
        {"a": State("a"), "b": State("b")},
        {"press": LETTERS["A"], "hold": LETTERS["B"]},
        (Transition("a", "press", "b", 3, 3), Transition("b", "press", "b", 0, 0)),
        frozenset({("b", "hold")}),
    )
    found = evidence.coverage(made)
    assert found.pairs == (("a", "press"), ("a", "hold"), ("b", "press"))
    assert found.untested == (("a", "hold"), ("b", "press"))
    assert found.tested == 1


def test_a_walk_covers_its_sequences_up_to_the_first_doubtful_outcome():
    made = published()
    assert evidence.coverage(made, [["SS", "A", "B", "C"]]).sequences_done == 2
    assert evidence.coverage(made, [["SS", "A", "B", "C"], ["S1", "B", "C", "F", "F"]]).sequences_done == 4
    doubtful = small.machine([*PUBLISHED, ("S1", "B", "SS")], events=LETTERS)
    assert evidence.coverage(doubtful, [["SS", "A", "B", "C"]]).sequences_done == 0


@pytest.mark.parametrize("seed", range(40))
def test_the_planned_walk_is_as_short_as_the_best_of_all_orders(seed):
    made = small.random_machine(seed)
    untested = evidence.coverage(made).untested
    start = next(iter(made.states))
    found = evidence.plan(made, untested, start)
    routes = evidence.routes(made)
    targets = sorted({state for state, _ in untested})
    best = min(_walked(routes, start, order) for order in itertools.permutations(targets))
    missed, moves = best
    walked = [step for step in found.steps if not step.trial]
    assert len({state for state, _ in found.out_of_reach}) == missed
    assert len(walked) == moves
    assert found.shortest == (missed == 0)
    trials = [(step.state, step.event) for step in found.steps if step.trial]
    assert sorted(trials + list(found.out_of_reach)) == sorted(untested)


def _walked(routes, start, order):
    """Return (targets missed, moves made): an order counts up to its first step that has no route."""
    here, moves = start, 0
    for place, name in enumerate(order):
        if name not in routes[here]:
            return len(order) - place, moves
        moves += len(routes[here][name])
        here = name
    return 0, moves


def test_a_planned_walk_can_be_followed_step_by_step():
    for seed in range(100):
        made = small.random_machine(seed)
        found = evidence.plan(made, evidence.coverage(made).untested, "p")
        here = "p"
        for step in found.steps:
            assert step.state == here
            here = here if step.trial else step.to
            assert step.trial or made.outcomes(step.state, step.event) == (step.to,)


def test_many_states_get_a_short_walk_that_is_not_called_the_shortest():
    draw = random.Random(1)
    names = [f"s{place}" for place in range(16)]
    ring = [(one, "press", other) for one, other in itertools.pairwise([*names, names[0]])]
    jumps = [(draw.choice(names), "turn the ring", draw.choice(names)) for _ in range(8)]
    made = small.machine(dict.fromkeys(ring + jumps))
    untested = [(name, "time passed") for name in names]
    found = evidence.plan(made, untested, "s0")
    assert sum(step.trial for step in found.steps) == 16
    assert not found.shortest
    assert sum(not step.trial for step in found.steps) <= 30


def test_the_trial_that_could_open_most_hazards_comes_first():
    states = {
        "dark": State("dark"),
        "cabled": State("cabled", charging=True, cable=True),
        "lit": State("lit", light_percent=100),
    }
    made = small.machine(
        [("dark", "press", "lit"), ("lit", "press", "dark")], states=states, leave_in=["dark", "cabled"]
    )
    untested = evidence.coverage(made).untested
    first, *_ = evidence.next_trials(made, reach.DEFAULT, untested)
    assert first.state in ("dark", "cabled")
    assert made.events[first.event].outside
    assert first.could_reveal >= 1


@pytest.mark.parametrize(
    ("state", "attributes", "way_in", "never"),
    [
        ("no power", {"cable": True}, "power lost", {"power lost", "charge complete", "cable in"}),
        ("on", {"charging": True, "cable": True}, "cable in", {"power back", "cable in"}),
        ("off", {"cable": False}, "cable out", {"power lost", "power back", "charge complete", "cable out"}),
        ("idle", {"cable": True}, "power back", {"power back", "charge complete", "cable in"}),
        ("idle", {"cable": True}, "press", {"charge complete", "cable in"}),
        ("idle", {"cable": True, "power": False}, "press", {"power lost", "charge complete", "cable in"}),
        ("unknown", {"cable": None, "charging": None}, "press", set()),
    ],
)
def test_trials_that_the_states_attributes_exclude_are_not_proposed(state, attributes, way_in, never):
    kinds = {"cable in": "hand", "cable out": "hand", "press": "hand", "power lost": "outside"}
    kinds |= {"power back": "outside", "charge complete": "outside", "time passed": "outside"}
    known = {
        name: Event(name, kind, "" if name in ("press", "time passed") else name)
        for name, kind in kinds.items()
    }
    states = {"first": State("first", cable=None, charging=None), state: State(state, **attributes)}
    made = small.machine([("first", way_in, state)], states=states, leave_in=[state], events=known)
    result = of_machine(made)
    asked = {event for name, event in result.coverage.untested if name == state}
    assert asked == set(known) - never
    assert {step.event for step in result.plan.steps if step.state == state and step.trial} == asked
    everything = evidence.next_trials(made, result.rules, result.coverage.untested, count=99)
    assert {item.event for item in everything if item.state == state} == asked


def test_what_was_tried_although_the_attributes_exclude_it_stays():
    states = {"off": State("off", cable=False), "lit": State("lit", light_percent=5)}
    made = small.machine([("off", "power lost", "lit")], states=states)
    assert ("off", "power lost") in made.pairs
    assert ("off", "power back") not in made.pairs


@pytest.mark.parametrize(("seen", "tried"), [(0, 10), (1, 10), (2, 10), (5, 10), (10, 10), (3, 30), (20, 20)])
def test_limits_of_an_outcome_are_scipys_exact_ones(seen, tried):
    """Oracle: `scipy.stats.binomtest(...).proportion_ci(method='exact')`."""
    found = evidence.evidence(Transition("a", "press", "b", seen, tried))
    exact = stats.binomtest(seen, tried).proportion_ci(0.95, method="exact")
    one_sided = stats.binomtest(seen, tried, alternative="less").proportion_ci(0.95, method="exact").high
    assert found.low == pytest.approx(100 * exact.low, abs=1e-9)
    assert found.high == pytest.approx(100 * (one_sided if seen == 0 else exact.high), rel=1e-9)
    rest = stats.binomtest(tried - seen, tried, alternative="less").proportion_ci(0.95, method="exact").high
    assert found.otherwise == pytest.approx(100 * rest, rel=1e-9)


def test_an_outcome_without_counts_has_no_limits():
    assert evidence.evidence(Transition("a", "press", "b")).to_dict()["high_percent"] is None


def test_power_that_does_not_bring_back_what_it_took_is_told():
    states = {"on": State("on", charging=True, cable=True)}
    made = small.machine(
        [("on", "power lost", "off"), ("off", "power back", "idle"), ("idle", "power lost", "off")],
        states=states,
    )
    found = of_machine(made).not_undone
    assert [(item.state, item.back.next) for item in found] == [("on", "idle")]
