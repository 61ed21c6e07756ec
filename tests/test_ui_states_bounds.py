"""Drawing, signals, inputs and remedies of user-interface states: by hand, on both sides of each bound."""

from __future__ import annotations

import importlib
import itertools
import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import ui_machines as small

from reviewkit import ui_states as ui
from reviewkit.errors import Faults, InputError
from reviewkit.ui_states import Event, State, layout, signals
from reviewkit.ui_states import expression as comparisons
from reviewkit.ui_states.layout import Line, Node
from reviewkit.ui_states.signals import Signal

analysis = importlib.import_module("reviewkit.ui_states.analysis")
given = importlib.import_module("reviewkit.ui_states.inputs")
table = importlib.import_module("reviewkit.ui_states.reading")


def line(*points: tuple[float, float], state: str = "a", to: str = "b", label: Any = (0.0, 0.0)) -> Line:
    return Line(state, to, ("x",), "A", False, points, label)


# ------------------------------------------------------------------ the drawing: a grid of states


def test_three_states_stand_in_a_row_of_340_pixels() -> None:
    assert [layout._across(slot) for slot in range(4)] == pytest.approx(
        [340 / 6, 170.0, 5 * 340 / 6, 340 / 6]
    )


@pytest.mark.parametrize(
    ("ways", "left_in", "cost"),
    [
        ([("a", "d")], (), 1.0),  # one row down
        ([("d", "a")], (), 1.3),  # one row up
        ([("a", "b")], (), 2.0),  # beside
        ([("b", "d")], (), math.sqrt(2)),
        ([("a", "g")], (), 2.0 + 2.5 + 20.0),  # a row passed by, behind a state
        ([("g", "a")], (), 2.0 + 2.5 + 20.0 + 0.3),
        ([("a", "c")], (), 2.0 + 1.0 + 20.0),
        ([("b", "g")], (), math.hypot(1, 2) + 2.5),
        ([("a", "j")], (), 3.0 + 4 * 2.5 + 40.0),
        ([("a", "e"), ("b", "d")], (), 2 * math.sqrt(2) + 4.0),  # across each other
        ([("a", "e"), ("a", "d")], (), math.sqrt(2) + 1.0),  # from one state: no crossing
        ([], ("a", "d", "g"), 0.15 + 0.3),
        ([], ("x",), 0.0),
    ],
)
def test_a_placing_costs_what_its_lines_do(
    ways: list[tuple[str, str]], left_in: tuple[str, ...], cost: float
) -> None:
    grid = ["a", "b", "c", "d", "e", "f", "g", None, None, "j"]
    assert layout._tangle(grid, ways, frozenset(left_in)) == pytest.approx(cost)


def test_places_between_two_and_lines_that_cross_are_those_of_whole_numbers() -> None:
    assert layout._between((0, 0), (2, 2)) == [(1, 1)]
    assert layout._between((2, 0), (2, 3)) == [(2, 1), (2, 2)]
    assert layout._between((0, 0), (1, 2)) == []
    assert layout._between((0, 3), (2, 1)) == [(1, 2)]
    assert layout._side((0, 0), (2, 0), (1, 5)) == 10
    assert layout._side((1, 1), (3, 2), (2, 4)) == 5
    across = ((0, 0), (2, 2)), ((2, 0), (0, 2))
    assert layout._cross(*across)
    for other in (((0, 1), (0, 2)), ((0, 0), (2, 1)), ((1, 1), (0, 2)), ((3, 0), (3, 9)), ((2, 2), (0, 2))):
        assert not layout._cross(across[0], other)
        assert not layout._cross(other, across[0])


def test_places_are_exchanged_until_no_exchange_of_two_makes_it_plainer() -> None:
    """Brute force over every pair of places."""
    names = "abcdef"
    ways = [("a", "f"), ("f", "b"), ("c", "a"), ("e", "d"), ("d", "f"), ("b", "e")]
    slots = layout._untangled(names, ways, frozenset("a"))
    # Six states and four places to spare, in rows of three.
    assert max(slots.values()) < 12
    grid: list[str | None] = [None] * 12
    for name, slot in slots.items():
        grid[slot] = name
    cost = layout._tangle(grid, ways, frozenset("a"))
    first = layout._tangle([*names, *[None] * 6], ways, frozenset("a"))
    assert cost < first
    for one, other in itertools.combinations(range(12), 2):
        changed = list(grid)
        changed[one], changed[other] = changed[other], changed[one]
        assert layout._tangle(changed, ways, frozenset("a")) >= cost - 1e-9


def test_five_states_have_nine_places_and_six_twelve() -> None:
    seen: list[int] = []
    tangle = layout._tangle
    for names, places in (("abcde", 9), ("abcdef", 12)):
        seen.clear()
        layout._tangle = lambda grid, *rest: (seen.append(len(grid)), tangle(grid, *rest))[1]
        try:
            layout._untangled(names, [], frozenset())
        finally:
            layout._tangle = tangle
        assert set(seen) == {places}


def test_states_that_no_line_joins_stand_below_all_others_in_closer_rows() -> None:
    made = SimpleNamespace(states=dict.fromkeys("abcdefg"))
    nodes = {node.name: node for node in layout._placed(made, {"a": 0, "b": 4, "c": 6})}
    # The first row: an edge of 34 px and half a box of 48 px below the top; rows 112 px apart.
    assert [nodes[name].y for name in "abc"] == [-58.0, -170.0, -282.0]
    # Then a box, 12 px and half an edge below the last.
    assert [nodes[name].y for name in "defg"] == [-282 - 60 - 17] * 3 + [-282 - 60 - 17 - 60]
    assert [nodes[name].x for name in "defg"] == [layout._across(slot) for slot in (0, 1, 2, 0)]
    bare = layout._placed(made, {})
    assert [node.y for node in bare] == [-58.0] * 3 + [-118.0] * 3 + [-178.0]


def test_a_drawing_reaches_an_edge_below_its_last_row() -> None:
    drawing = layout.draw(small.machine([("a", "power lost", "b")]))
    assert drawing.height == max(-node.y for node in drawing.nodes) + 24 + 34


def test_events_by_hand_have_numbers_and_others_letters() -> None:
    events = {f"o{number}": Event(f"o{number}", "outside") for number in range(27)}
    events |= {f"h{number}": Event(f"h{number}", "hand") for number in range(2)}
    codes = layout.event_codes(SimpleNamespace(events=events))
    assert [codes[name] for name in ("o0", "o1", "o25", "o26", "h0", "h1")] == ["A", "B", "Z", "A’", "1", "2"]


def test_only_outside_events_that_change_the_state_are_ways() -> None:
    made = small.machine(
        [("a", "power lost", "b"), ("a", "press", "c"), ("b", "power back", "b"), ("a", "time passed", "b")]
    )
    assert layout._ways(made) == [("a", "b")]
    nodes = [Node(name, 0.0, 0.0) for name in "abc"]
    bundles = layout._bundles(made, (), nodes)
    assert [(item.one.name, item.other.name, item.events, item.hazardous) for item in bundles] == [
        ("a", "b", ("power lost", "time passed"), False)
    ]
    assert layout._Bundle(Node("a", 3.0, 0.0), Node("b", 0.0, 4.0), (), True).order == (False, 5.0)


# ------------------------------------------------------------------ the drawing: lines and labels


@pytest.mark.parametrize(
    ("point", "margin", "inside"),
    [
        ((147.9, 100), 0, True),
        ((148, 100), 0, False),
        ((52.1, 100), 0, True),
        ((52, 100), 0, False),
        ((100, 123.9), 0, True),
        ((100, 124), 0, False),
        ((100, 76), 0, False),
        ((153, 129), 6, True),
        ((154, 100), 6, False),
        ((141, 100), -8, False),
        ((139, 115), -8, True),
    ],
)
def test_a_box_is_96_pixels_wide_and_48_high(point: tuple[float, float], margin: float, inside: bool) -> None:
    assert layout._inside(np.array(point), Node("a", 100.0, 100.0), margin) == inside


def test_a_bent_line_is_a_parabola_whose_middle_is_off_by_the_bend() -> None:
    """A quadratic Bézier curve: at its middle half of what its control point is off (de Casteljau)."""
    ways = layout._bent(Node("a", 10.0, -20.0), Node("b", 40.0, -60.0))
    assert ways.shape == (13, 41, 2)
    assert ways[:, 0] == pytest.approx(np.tile([10.0, -20.0], (13, 1)))
    assert ways[:, -1] == pytest.approx(np.tile([40.0, -60.0], (13, 1)))
    # Square to the line (30, −40)/50, by each bend.
    off = ways[:, 20] - np.array([25.0, -40.0])
    assert off == pytest.approx(np.outer(layout._BENDS, [0.8, 0.6]))
    assert layout._BENDS == (0, 16, -16, 30, -30, 48, -48, 70, -70, 100, -100, 140, -140)
    quarter = 0.75**2 * np.array([10.0, -20.0]) + 0.25**2 * np.array([40.0, -60.0])
    assert ways[0, 10] == pytest.approx(quarter + 2 * 0.75 * 0.25 * np.array([25.0, -40.0]))


def test_lines_crowd_within_22_pixels_of_each_others_middle() -> None:
    middle = np.array([0.0, 0.0])
    assert layout._crowding(middle, []) == 0
    assert layout._crowding(middle, [(21.0, 0.0), (3.0, 4.0), (0.0, 30.0)]) == pytest.approx(1 + 17)


def test_lines_cross_where_their_pieces_do() -> None:
    """Eight pieces each, from every fifth point: straight ones that cross once, or share an end."""
    along = np.linspace(0, 1, 41)[:, None]

    def straight(*ends: tuple[float, float]) -> np.ndarray:
        return np.array(ends[0]) + along * (np.array(ends[1]) - np.array(ends[0]))

    made = [line(*map(tuple, straight((0, 10.3), (10, 0.2)).tolist()))]
    ways = np.array(
        [
            straight((0, 0), (10, 10)),
            straight((0, 11), (10, 11)),
            straight((0, 10.3), (10, 10.3)),
            straight((20, 20), (30, 30)),
        ]
    )
    assert layout._crossings(ways, made).tolist() == [1, 0, 0, 0]
    assert layout._crossings(ways, [*made, *made]).tolist() == [2, 0, 0, 0]
    assert layout._crossings(ways, []).tolist() == [0, 0, 0, 0]
    # However small the drawing is.
    fine = [line(*((x / 1000, y / 1000) for x, y in made[0].points))]
    assert layout._crossings(ways / 1000, fine).tolist() == [1, 0, 0, 0]
    pieces = layout._segments(straight((0, 0), (8, 0)))
    assert pieces.shape == (8, 2, 2)
    assert pieces[3] == pytest.approx(np.array([[3.0, 0.0], [4.0, 0.0]]))


def test_a_lines_ends_within_its_boxes_are_cut_off() -> None:
    points = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [3.0, 0.0]])
    assert layout._clipped(points, np.array([False, True, True, False])) == ((1.0, 0.0), (2.0, 0.0))
    assert layout._clipped(points, np.array([False, True, False, False])) == ((0.0, 0.0), (3.0, 0.0))


def expected_penalties(one: Node, other: Node, nodes: list[Node], made: list[Line]) -> list[float]:
    """Return the sum of each bend's faults, point by point."""

    def boxed(point: Any, node: Node, margin: float) -> bool:
        return abs(point[0] - node.x) < 48 + margin and abs(point[1] - node.y) < 24 + margin

    ways = layout._bent(one, other)
    foot = min(node.y for node in nodes) - 24 - 34
    costs = []
    for bend, way in zip(layout._BENDS, ways, strict=True):
        hits = sum(boxed(point, node, 6) for point in way for node in nodes if node not in (one, other))
        seen = sum(not (boxed(point, one, 2) or boxed(point, other, 4)) for point in way)
        off = sum(not (4 <= x <= 336 and foot + 8 <= y <= -8) for x, y in way)
        close = sum(max(0.0, 22 - math.dist(way[20], item.points[len(item.points) // 2])) for item in made)
        crossing = int(layout._crossings(way[None], made)[0])
        costs.append(90 * hits + 12 * max(0, 18 - seen) + 60 * off + 6 * close + 9 * crossing + abs(bend))
    return costs


@pytest.mark.parametrize("seed", range(4))
def test_a_curve_is_the_bend_with_the_fewest_faults(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    found: list[np.ndarray] = []
    penalties = layout._penalties
    monkeypatch.setattr(layout, "_penalties", lambda *given: (found.append(penalties(*given)), found[-1])[1])
    draw = np.random.default_rng(seed)
    slots = draw.permutation(9)[:6]
    nodes = [Node(str(slot), layout._across(int(slot)), -58.0 - 112 * (int(slot) // 3)) for slot in slots]
    made: list[Line] = []
    for _ in range(6):
        one, other = (nodes[index] for index in draw.permutation(6)[:2])
        points = layout._curve(one, other, nodes, made)
        assert found[-1] == pytest.approx(expected_penalties(one, other, nodes, made))
        way = layout._bent(one, other)[int(np.argmin(found[-1]))]
        assert {tuple(point) for point in np.array(points).tolist()} <= {tuple(p) for p in way.tolist()}
        made.append(line(*points, state=one.name, to=other.name, label=points[len(points) // 2]))


@pytest.mark.parametrize("seed", range(8))
def test_a_label_stands_where_it_has_most_room(seed: int) -> None:
    """Up to 26 px from labels and arrowheads, 10 from boxes, 12 from lines; a little before the middle."""
    draw = np.random.default_rng(seed)
    nodes = [Node("a", 60.0, -60.0), Node("b", 280.0, -200.0)]
    made = [line(*map(tuple, draw.uniform((0, -250), (340, 0), (20, 2)).tolist()), label=(150.0, -120.0))][
        : seed % 2
    ]
    way = layout._bent(*nodes)[seed]
    points = [tuple(point) for point in way.tolist()]

    def room(index: int) -> float:
        x, y = points[index]
        spots = [spot for item in made for spot in (item.label, item.points[-1])]
        free = min([math.dist((x, y), spot) for spot in [*spots, points[-1]]] + ([99.0] if not spots else []))
        box = min(max(abs(x - node.x) - 48, abs(y - node.y) - 24) for node in nodes)
        lines = min((math.dist((x, y), point) for item in made for point in item.points), default=99.0)
        return min(free, 26) + 1.5 * min(box, 10) + 1.2 * min(lines, 12) - 8 * abs(index / len(points) - 0.45)

    rooms = [room(index) for index in range(len(points))]
    assert layout._rooms(way, nodes, made) == pytest.approx(np.array(rooms))
    assert layout._label(points, nodes, made) == points[int(np.argmax(rooms))]


def test_a_drawings_faults_are_six_for_each_point_behind_a_state_and_one_for_each_crossing() -> None:
    nodes = [Node("a", 0.0, 0.0), Node("b", 300.0, 0.0), Node("c", 150.0, 0.0)]
    along = [(4.0 * number, 0.0) for number in range(76)]
    # Behind "c" by 8 px and more: from 110 to 190, the ends left out.
    assert layout._faults(nodes, [line(*along)]) == 6 * sum(110 < x < 190 for x, _ in along)
    assert layout._faults(nodes, [line(*along, to="c")]) == 6 * sum(x > 300 - 40 for x, _ in along)
    up = [(75.5, -99.0 + 5.0 * number) for number in range(41)]
    assert layout._faults(nodes[:2], [line(*along), line(*up)]) == 1
    assert layout._faults(nodes[:2], [line(*along), line(*up), line(*up)]) == 2


# ------------------------------------------------------------------ signals


@pytest.mark.parametrize(
    ("times", "regular"), [((1.0, 0.76), True), ((1.0, 0.75), True), ((1.0, 0.74), False), ((), True)]
)
def test_times_within_a_quarter_are_alike(times: tuple[float, ...], regular: bool) -> None:
    """Common practice, no source."""
    assert Signal("x", lit_s=times).regular == regular
    assert Signal("x", dark_s=times).regular == regular


def test_a_counted_rate_is_uncertain_by_a_flash_and_by_a_hand_or_a_frame() -> None:
    """20 flashes in 10 s: a flash is 0.1 Hz; 0.3 s of 10 s are 0.06 Hz."""
    flash, hand = signals.flash_rate(20, 10.0).components
    assert (flash.size, flash.distribution, flash.sensitivity) == (1.0, "triangular", 0.1)
    assert (hand.size, hand.distribution, hand.sensitivity) == (0.3, "rectangular", -0.2)
    frame = signals.flash_rate(20, 10.0, 0.04).components[1]
    assert (frame.size, frame.distribution) == (0.04, "triangular")


def test_a_rate_from_times_is_one_over_the_mean_cycle() -> None:
    """Two flashes in 1.0 s: 2 Hz; a frame at the cycle's ends moves each period by half of it."""
    rate = signals.flash_rate_of_times((0.1, 0.1), (0.4, 0.4), 0.02)
    assert rate.value == pytest.approx(2.0)
    part = rate.components[0]
    assert (part.size, part.distribution, part.sensitivity) == (0.02, "triangular", pytest.approx(-2.0))


@pytest.mark.parametrize(
    ("lit", "dark", "most"),
    [
        ((0.1, 0.5), (0.1, 0.1), 3.0),  # begins 0, 0.2, 0.8, 1.0 …: three within a second, the fourth at 1.0
        ((0.1, 0.1, 0.1), (0.1, 0.1, 1.5), 3.0),
        ((0.1, 0.1, 0.1, 0.5), (0.1, 0.1, 0.1, 0.1), 4.0),
        ((1.0, 0.2), (1.0, 0.2), 2.0),
        ((0.08, 0.11), (0.1, 0.12), 5.0),  # 0.18, 0.41, 0.59, 0.82, 1.00 and 1.18, which is a second later
        ((0.05, 0.3), (0.05, 0.3), 4.0),
        ((0.1, 0.5), (0.1,), None),
        ((), (), None),
    ],
)
def test_flashes_within_a_second_are_counted_over_the_cycles_border(
    lit: tuple[float, ...], dark: tuple[float, ...], most: float | None
) -> None:
    """WCAG 2.3.1 asks for any one-second period."""
    assert signals.most_in_a_second(Signal("x", lit_s=lit, dark_s=dark)) == most
    if lit and len(lit) == len(dark):
        starts = np.cumsum(np.tile([one + two for one, two in zip(lit, dark, strict=True)], 40))
        brute = max(
            np.count_nonzero((starts >= begin) & (starts < begin + 1 - 1e-6)) for begin in starts[:20]
        )
        assert brute == most


@pytest.mark.parametrize(
    ("signal", "answer"),
    [
        (Signal("x", 200, 100.0, 0.02), "no"),
        (Signal("x", 400, 100.0, 0.02), "yes"),
        (Signal("x", 300, 100.0, 0.02), "the count can’t tell"),
        (Signal("x"), "not counted"),
        (Signal("x", lit_s=(0.1, 0.5), dark_s=(0.1, 0.1)), "no"),
        (Signal("x", lit_s=(0.1, 0.1, 0.1, 0.5), dark_s=(0.1, 0.1, 0.1, 0.1)), "yes"),
    ],
)
def test_more_than_three_flashes_in_a_second_are_too_fast(signal: Signal, answer: str) -> None:
    assert signals.flashes_too_fast(signal) == answer


@pytest.mark.parametrize(
    ("one", "other", "matters"),
    [
        (State("a", action="wait"), State("b", action="Wait"), False),
        (State("a", action="wait"), State("b", action="unplug"), True),
        (State("a", error=True), State("b"), True),
        (State("a"), State("b"), False),
        (State("a", charging=True), State("b"), True),
        (State("a", action="wait"), State("b", error=True), True),
    ],
)
def test_a_mistake_matters_where_the_actions_differ_or_else_the_state(
    one: State, other: State, matters: bool
) -> None:
    assert signals._differ(one, other) == matters


@pytest.mark.parametrize(
    ("shows", "counts", "why"),
    [
        (("red", "Red"), (None, None), "the same signal"),
        (("red slow", "red fast"), ((100, 100.0), (110, 100.0)), ""),
        (("red slow", "red fast"), ((100, 100.0), (101, 100.0)), "rates too close to tell apart"),
        (("red slow", "red fast"), ((110, 100.0), (100, 100.0)), ""),
        (("red slow", "green fast"), ((100, 100.0), (101, 100.0)), ""),
        (("red slow", "red fast"), ((100, 100.0), None), ""),
    ],
)
def test_signals_are_mistaken_whose_rates_overlap_in_one_colour(shows: Any, counts: Any, why: str) -> None:
    known = {
        name: Signal(name, *count, 0.02)
        for name, count in zip(shows, counts, strict=True)
        if count is not None
    }
    one, other = (State(name, shows=shown) for name, shown in zip("ab", shows, strict=True))
    assert signals._mistaken(one, other, known) == why


# ------------------------------------------------------------------ inputs


@pytest.mark.parametrize(
    ("text", "count"),
    [("", None), ("0", 0), ("12", 12), ("1000000", 1_000_000), ("1000001", ...), ("-1", ...), ("1.5", ...)],
)
def test_a_count_is_a_whole_number_up_to_a_million(text: str, count: Any) -> None:
    if count is ...:
        with pytest.raises(ValueError, match=r".*"):
            given._count(text)
    else:
        assert given._count(text) == count


@pytest.mark.parametrize(
    ("seen", "tried", "words"),
    [
        (3, 3, ""),
        (4, 3, "seen 4 times"),
        (None, 3, "'seen'"),
        (3, None, "'tried'"),
        (None, 0, ""),
        (None, None, ""),
    ],
)
def test_what_was_seen_was_tried(seen: int | None, tried: int | None, words: str) -> None:
    row = SimpleNamespace(seen=seen, tried=tried, impossible=False, place="row 2")
    if not words:
        given._check_counts(row, "a.csv", InputError)
    else:
        with pytest.raises(InputError, match=words):
            given._check_counts(row, "a.csv", InputError)
    row.impossible = True
    if seen is None or tried is None:
        given._check_counts(row, "a.csv", InputError)


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        (
            "ui_states",
            [{"a": {"light_percent": 0}}, {"a": {"light_percent": 100}}],
            [{"a": {"light_percent": -1}}, {"a": {"light_percent": 101}}],
        ),
        (
            "ui_signals",
            [
                {"x": {"flashes": 1, "seconds": 0.1, "video_frames_per_second": 0.5}},
                {"x": {"lit_s": [0.1], "dark_s": [0.1]}},
            ],
            [
                {"x": {"flashes": 0, "seconds": 1}},
                {"x": {"flashes": 1, "seconds": 0}},
                {"x": {"flashes": 1}},
                {"x": {"seconds": 1}},
                {"x": {"lit_s": [0.1], "dark_s": []}},
                {"x": {"lit_s": [0], "dark_s": [1]}},
                {"x": {"lit_s": [1], "dark_s": [0]}},
                {"x": {"video_frames_per_second": 0}},
            ],
        ),
        (
            "ui_hazards",
            [[{"name": "a", "when": "charging"}]],
            [
                [{"name": "", "when": "charging"}],
                [{"name": "a", "when": ""}],
                [{"name": "a", "when": "charging"}, {"name": "a", "when": "locked"}],
            ],
        ),
    ],
)
def test_parameters_lie_within_their_bounds(name: str, good: list[Any], bad: list[Any]) -> None:
    for value in good:
        assert ui.inputs(**{name: value})
    for value in bad:
        with pytest.raises(Faults):
            ui.inputs(**{name: value})


def test_a_state_that_is_not_given_is_dark_and_a_frame_is_one_over_their_rate() -> None:
    bench = ui.inputs(
        ui_states={"a": {}}, ui_signals={"x": {"flashes": 3, "seconds": 1, "video_frames_per_second": 50}}
    )
    assert bench.ui_states["a"].light_percent == 0.0
    assert bench.ui_signals["x"].signal("x").frame_s == pytest.approx(0.02)
    assert bench.ui_signals["x"].signal("x").flashes == 3


def a_row(state: str, event: str, to: str, *, seen: int | None = None, tried: int | None = None) -> Any:
    return SimpleNamespace(
        state=state, event=event, next=to, seen=seen, tried=tried, impossible=to == "n/a", place="row"
    )


@pytest.mark.parametrize(
    ("group", "words"),
    [
        ([a_row("a", "x", "b"), a_row("a", "x", "b")], "stands twice"),
        ([a_row("a", "x", "b"), a_row("a", "x", "n/a")], "and 'n/a'"),
        ([a_row("a", "x", "n/a")], None),
        ([a_row("a", "x", "b", seen=1, tried=3), a_row("a", "x", "c", seen=1, tried=4)], "different counts"),
        ([a_row("a", "x", "b", seen=2, tried=3), a_row("a", "x", "c", seen=2, tried=3)], "seen 4 times"),
        ([a_row("a", "x", "b", seen=2, tried=3), a_row("a", "x", "c", seen=1, tried=3)], None),
        ([a_row("a", "x", "b"), a_row("a", "x", "c")], None),
        ([a_row("a", "x", "b", tried=0)], None),
    ],
)
def test_rows_of_one_pair_agree(group: list[Any], words: str | None) -> None:
    problem = table._problem(group)
    assert (problem is None) == (words is None)
    assert words is None or words in problem[0]


@pytest.mark.parametrize(
    ("event", "role", "state", "to", "seen", "contradicts"),
    [
        ("plug", "cable in", "out", "out", None, True),
        ("plug", "cable in", "out", "in", None, False),
        ("plug", "cable in", "out", "out", 0, False),
        ("lock it", "lock", "out", "out", None, False),
        ("lock it", "lock", "in", "out", None, True),
        ("press", "", "in", "out", None, False),
    ],
)
def test_a_cable_is_where_it_was_put_and_a_lock_may_fail(
    event: str, role: str, state: str, to: str, seen: int | None, contradicts: bool
) -> None:
    states = {"in": State("in", cable=True), "out": State("out", cable=False, locked=False)}
    events = {event: Event(event, "hand", role)}
    found = table._contradicting([a_row(state, event, to, seen=seen)], states, events, "a.csv")
    assert bool(found) == contradicts


def test_names_that_no_one_knows_are_told_with_their_place_from_one_and_the_nearest_known() -> None:
    states = {name: State(name) for name in ("standby", "charging")}
    events = {"press": Event("press", "hand")}
    bench = ui.inputs(
        ui_states={"standby": {}, "charging": {}},
        ui_leave_in=["standbi"],
        ui_walks=[["press", "press"]],
        ui_hazards=[{"name": "a", "when": "charging", "after": "presss"}],
    )
    found = table._review_keys(bench, states, events)
    assert [fault.place for fault in found] == ["ui_leave_in[1]", "ui_walks[1]", "ui_hazards[1].after"]
    assert "Did you mean 'standby'" in found[0].message
    assert "Did you mean 'press'" in found[2].message
    assert "unknown state 'press'" in found[1].message
    assert table._some("abcdefgh") == "a, b, c, d, e, f, g, h"
    assert table._some("abcdefghi") == "a, b, c, d, e, f, g, h, …"
    # Nearest from a likeness of 0.6 on (Ratcliff and Obershelp).
    assert table._nearest("abcxx", ["abcyy"])
    assert not table._nearest("abxxx", ["abyyy"])
    assert not table._nearest("standby", ["presses"])


def test_a_row_may_lead_nowhere_only_where_its_event_cannot_occur() -> None:
    states = {"a": State("a")}
    rows = [a_row("a", "x", "n/a"), a_row("n/a", "x", "a"), a_row("a", "x", "b")]
    found = table._unknown_states(rows, states, "a.csv")
    assert ["'n/a'" in fault.message for fault in found] == [True, False]


# ------------------------------------------------------------------ expressions


@pytest.mark.parametrize(("length", "good"), [(500, True), (501, False)])
def test_a_comparison_has_500_characters_at_most(length: int, good: bool) -> None:
    text = "charging" + " " * (length - 8)
    if good:
        assert comparisons.read(text)(State("a", charging=True)) is True
    else:
        with pytest.raises(comparisons.ExpressionError, match="longer than 500"):
            comparisons.read(text)


@pytest.mark.parametrize(("depth", "good"), [(40, True), (41, False)])
def test_forty_levels_are_read_and_no_more(depth: int, good: bool) -> None:
    for text in ("not " * depth + "charging", "(" * 0 + "not " * (depth - 1) + "(charging or locked)"):
        if good:
            assert comparisons.read(text) is not None
        else:
            with pytest.raises(comparisons.ExpressionError, match="more than 40"):
                comparisons.read(text)


def test_faults_count_characters_from_one() -> None:
    for text, position in (
        ("  chargin", 3),
        ("charging and", 13),
        ("light_percent < 1 < 2", 21),
        ("light_percent = 1", 15),
    ):
        with pytest.raises(comparisons.ExpressionError, match=f"at character {position}:"):
            comparisons.read(text)
    assert comparisons.read("locked == true")(State("a", locked=True)) is True
    assert comparisons.read("locked == false")(State("a", locked=True)) is False


# ------------------------------------------------------------------ remedies


@pytest.mark.parametrize(
    ("role", "before", "now", "instead", "possible"),
    [
        ("power lost", {}, {}, {}, True),
        ("chance press", {"locked": False}, {}, {}, False),
        ("chance press", {"locked": True}, {}, {}, True),
        ("power lost", {}, {"cable": True}, {}, False),
        ("power lost", {}, {"locked": None}, {}, False),
        ("power lost", {}, {"locked": None}, {"locked": None}, True),
        ("time", {}, {}, {"charging": True}, False),
        ("power back", {}, {}, {"charging": True}, True),
        ("time", {"charging": True}, {}, {"charging": True}, True),
        ("power lost", {"charging": True}, {}, {"charging": True}, False),
    ],
)
def test_a_change_of_an_outcome_is_one_that_the_device_could_make(
    role: str, before: dict[str, Any], now: dict[str, Any], instead: dict[str, Any], possible: bool
) -> None:
    made = SimpleNamespace(states={"b": State("b", **before), "n": State("n", **now)}, role=lambda edge: role)
    edge = SimpleNamespace(state="b", next="n", event="x")
    assert analysis._possible(made, edge, State("i", **instead)) == possible


def test_states_lie_as_far_apart_as_what_differs_between_them() -> None:
    assert analysis._apart(State("a"), State("b")) == 0
    assert analysis._apart(State("a", light_percent=10), State("b", light_percent=100)) == 0
    assert analysis._apart(State("a", light_percent=10), State("b")) == 1
    assert analysis._apart(State("a", charging=True, cable=True), State("b", locked=True, error=True)) == 4
    made = SimpleNamespace(
        states={"b": State("b"), "n": State("n", light_percent=30), "i": State("i", light_percent=100)}
    )
    assert analysis._difference(made, SimpleNamespace(state="b", next="n"), "i") == (1, 70)
