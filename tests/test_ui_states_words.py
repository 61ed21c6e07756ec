"""What the section says of a small device: hazards, note to the maker, shares, signals, order of trials."""

from __future__ import annotations

import importlib
import itertools
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import ui_machines as small
from scipy import stats

from reviewkit import ui_states as ui
from reviewkit.errors import ReviewFileError, TableError
from reviewkit.ui_states import Event, State, Transition, expression, reach, signals
from reviewkit.ui_states import evidence as planning
from reviewkit.ui_states.evidence import Trial

reading = importlib.import_module("reviewkit.ui_states.reading")
guarding = importlib.import_module("reviewkit.ui_states.precautions")

SPACES = dict.fromkeys((0xA0, 0x2009, 0x202F), " ")
STATES = {
    "standby": {"shows": "red"},
    "glow": {"light_percent": 0.5, "shows": "red"},
    "high": {"light_percent": 100, "shows": "blue"},
    "locked": {"locked": True},
}
ROWS = [
    {"state": "locked", "event": "cell changed by someone else", "next": "standby", "seen": 9, "tried": 9},
    {"state": "standby", "event": "press in the bag", "next": "glow", "seen": 4, "tried": 5},
    {"state": "standby", "event": "press in the bag", "next": "standby", "seen": 1, "tried": 5},
    {"state": "glow", "event": "press in the bag", "next": "high", "seen": 3, "tried": 3, "video": "5:10"},
    {"state": "high", "event": "press", "next": "standby"},
]


def lamp(**more: Any) -> Any:
    given = {"ui_states": STATES, "ui_transitions": ROWS, "ui_leave_in": ["standby", "glow", "locked"]}
    return ui.analyse(ui.inputs(**(given | more)))


@pytest.fixture(scope="module")
def result() -> Any:
    return lamp()


def test_the_gravest_way_into_each_hazard_is_told_and_where_else_it_can_come_from(result: Any) -> None:
    """Of 0.5 % of light it gets brighter; from the dark it comes on."""
    note = ui.findings(result)["ui.hazards"].note.translate(SPACES)
    assert note.startswith(
        "Left in “glow”: if it is pressed in the bag, the light gets brighter by itself, at 100 % "
        "(3 of 3 tries). The same in the end when left in standby or locked. "
        "Changing the cell removes the lock (9 of 9 tries)."
    )
    from_dark = ui.findings(lamp(ui_leave_in=["standby"]))["ui.hazards"].note.translate(SPACES)
    assert from_dark.startswith(
        "Left in “standby”: if it is pressed in the bag and then it is pressed in the bag, the light gets "
        "brighter by itself, at 100 % (4 of 5 tries at the weakest step)."
    )
    fading = [*ROWS, {"state": "standby", "event": "time passed", "next": "high", "seen": 1, "tried": 1}]
    lit = ui.findings(lamp(ui_leave_in=["standby"], ui_transitions=fading))["ui.hazards"].note
    assert lit.translate(SPACES).startswith(
        "Left in “standby”: if time passes, the light comes on by itself, at 100 % (1 of 1 tries)."
    )


def test_the_note_to_the_maker_numbers_hazards_and_steps_from_one(result: Any) -> None:
    text = ui.note_to_maker(result).markdown.translate(SPACES)
    assert (
        "## 1. Light comes on by itself\n\nSteps to reproduce:\n\n1. Leave it in “glow”.\n2. Event: press"
        in text
    )
    assert (
        "## 2. Protection not recovered\n\nSteps to reproduce:\n\n1. Leave it in “locked”.\n2. Event: cell"
        in text
    )
    assert "The same follows when it is left in standby or locked.\n\n## 2." in text
    assert "Video: 5:10" in text
    assert text.count("The same follows") == 1


def test_signals_stand_with_the_states_that_show_them_their_rate_and_whether_it_is_too_fast() -> None:
    counted = {
        "red": {"flashes": 20, "seconds": 10},
        "blue": {"lit_s": [0.1, 0.4], "dark_s": [0.1, 0.9], "video_frames_per_second": 30},
    }
    table = ui.signal_table(lamp(ui_signals=counted))
    red, blue = table.rows
    assert (red[0], red[1], red[3]) == ("red", "standby and glow", "no")
    assert red[2].startswith("2.0")
    assert blue == ("blue", "high", "flashes not alike: no one rate", "no")
    found = ui.findings(lamp(ui_signals=counted))["ui.red.flash_rate"]
    assert (found.value, found.unit) == (2.0, "Hz")
    bare = ui.signal_table(lamp())
    assert bare.rows[0] == ("red", "standby and glow", "not counted", "not counted")


def test_shares_are_in_percent_of_what_can_occur(result: Any) -> None:
    """Of four states with three events each, none ruled out, four pairs were tried; of ten sequences one."""
    found = ui.findings(lamp(ui_walks=[["locked", "cell changed by someone else"], ["glow", *["press"] * 2]]))
    pairs = found["ui.pair_coverage"]
    assert (pairs.value, pairs.unit) == (pytest.approx(100 * 4 / 12), "%")
    assert found["ui.sequence_coverage"].value == 0.0
    made = lamp(ui_walks=[["glow", "press in the bag", "press"]])
    once = ui.findings(made)["ui.sequence_coverage"]
    follows = [(a, b) for a in made.machine.edges for b in made.machine.edges if a.next == b.state]
    assert once.value == pytest.approx(100 / len(follows))
    assert ui.findings(result)["ui.sequence_coverage"].verdict == "not tested"


def test_limits_are_handed_over_to_a_ten_thousandth_of_a_percent() -> None:
    """Oracle: scipy's exact limits of one in three."""
    exact = stats.binomtest(1, 3).proportion_ci(0.95, method="exact")
    told = planning.evidence(Transition("a", "press", "b", 1, 3)).to_dict()
    assert told["low_percent"] == float(f"{100 * exact.low:.4f}")
    assert told["high_percent"] == float(f"{100 * exact.high:.4f}")


def test_a_step_that_was_not_counted_is_weaker_than_any_that_was() -> None:
    """Even than one that was seen in none of a hundred tries."""
    never, unknown = Transition("a", "x", "b", 0, 100), Transition("b", "x", "c")
    for path in ([never, unknown], [unknown, never]):
        weakest = planning.weakest(path)
        assert weakest is not None
        assert weakest.transition == unknown
    assert planning.weakest([]) is None


@pytest.mark.parametrize(
    ("seen", "tried", "observed", "told"),
    [
        (None, None, True, True),
        (0, None, False, False),
        (None, 0, False, False),
        (0, 0, False, False),
        (0, 1, False, False),
        (1, 1, True, True),
        (1, 2, True, False),
        (2, 2, True, True),
    ],
)
def test_an_outcome_was_observed_where_it_was_seen_and_a_pair_is_told_where_all_its_tries_are(
    seen: int | None, tried: int | None, observed: bool, told: bool
) -> None:
    one = Transition("a", "time passed", "b", seen, tried)
    assert one.observed == observed
    made = replace(small.machine([("a", "time passed", "b")]), transitions=(one,))
    assert (("a", "time passed") in made.open_pairs) == (not told)
    assert ("b", "time passed") in made.open_pairs


def test_three_trials_are_proposed_what_could_reveal_most_first_and_outside_events_before_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = small.machine([("a", "press", "b")])
    known = {
        "p": Trial("a", "p", 1, "precaution"),
        "q": Trial("a", "q", 1, "outside"),
        "r": Trial("a", "r", 2, "precaution"),
        "s": Trial("a", "s", 0, "unseen"),
    }
    monkeypatch.setattr(planning, "_trial", lambda machine, rules, pair, today: known[pair[1]])
    pairs = [("a", name) for name in known]
    found = planning.next_trials(made, reach.DEFAULT, pairs)
    assert [item.event for item in found] == ["r", "q", "p"]
    first = planning.next_trials(made, reach.DEFAULT, pairs, {("a", "s"): ["b", "c"]})
    assert [(item.event, item.could_reveal, item.why) for item in first] == [
        ("s", 2, "would show"),
        ("r", 2, "precaution"),
        ("q", 1, "outside"),
    ]


@pytest.mark.parametrize(("length", "found"), [(6, True), (7, False)])
def test_six_actions_in_a_row_are_looked_at_for_a_precaution(length: int, found: bool) -> None:
    """In each state but the last a loss of power lights the lamp."""
    names = [f"s{number}" for number in range(length + 1)]
    moves = [(one, "press", other) for one, other in itertools.pairwise(names)]
    moves += [(name, "power lost", "lit") for name in names[:-1]]
    states = {"lit": State("lit", light_percent=100), **{name: State(name) for name in names}}
    made = small.machine(moves, states=states, leave_in=["s0"])
    items = guarding.precautions(made, reach.DEFAULT, ["s0"])
    assert [item.do for item in items] == ([("press",) * length] if found else [])


def test_hazards_are_told_by_how_grave_their_kind_is_before_how_bright_they_are() -> None:
    """Endless charging, light, the author's own, a charge that does not come back, a lost lock."""
    own = reach.OwnRule("too bright", "light_percent > 50", after="time passed")
    assert [rule.name for rule in reach.rules([own])] == [
        "charging never ends",
        "light comes on by itself",
        "too bright",
        "charging does not come back after power does",
        "protection not recovered",
    ]
    states = {
        "lit": State("lit", light_percent=100),
        "on": State("on", charging=True, cable=True),
        "dim": State("dim", light_percent=1, charging=False),
    }
    made = small.machine(
        [("lit", "time passed", "lit"), ("on", "power lost", "off"), ("off", "power back", "dim")],
        states=states,
        leave_in=["on", "lit"],
    )
    found = reach.hazards(made, reach.rules([own]), made.leave_in)
    assert [(item.hazard, item.light_percent) for item in found] == [
        ("light comes on by itself", 1),
        ("too bright", 100),
        ("charging does not come back after power does", 1),
    ]


def test_a_light_that_came_on_is_on_until_it_is_dark() -> None:
    states = {"lit": State("lit", light_percent=100), "glow": State("glow", light_percent=0.5)}
    made = small.machine([("dark", "time passed", "lit"), ("lit", "power lost", "glow")], states=states)
    found = reach.hazards(made, (reach.LightComesOn(),), ["dark"])
    assert [item.ends_in for item in found] == ["lit", "glow"]
    assert not reach.is_safe(made, (), "glow")


def test_a_fault_names_the_review_file_or_the_table_it_stands_in(tmp_path: Path) -> None:
    wrong = [{**ROWS[0], "next": "nowhere"}]
    bench = ui.inputs(ui_states=STATES, ui_transitions=wrong)
    (inline,) = reading.check(bench, tmp_path)
    assert isinstance(inline, ReviewFileError)
    text = "state,event,next\nlocked,cell changed by someone else,nowhere\n"
    (tmp_path / "rows.csv").write_text(text, encoding="utf-8")
    (stored,) = reading.check(ui.inputs(ui_states=STATES, ui_transitions="rows.csv"), tmp_path)
    assert isinstance(stored, TableError)
    (tmp_path / "rows.csv").write_text(text.replace("nowhere", "standby"), encoding="utf-8")
    assert reading.machine(ui.inputs(ui_states=STATES, ui_transitions="rows.csv"), folder=tmp_path).files == (
        "rows.csv",
    )
    assert reading.machine(ui.inputs(ui_states=STATES, ui_transitions=ROWS)).files == ()


def test_a_character_that_no_text_holds_is_told_from_the_first() -> None:
    """Half of a surrogate pair, as an escape in a file may give it."""
    with pytest.raises(expression.ExpressionError, match="at character 1: this is no comparison"):
        expression.read("charging == \ud800")


def test_fields_of_a_signal_that_was_not_filmed_are_empty() -> None:
    assert signals.Signal("x").rate is None
    assert Event("x", "hand").role == ""
