"""What the section refuses, by row or key and with the remedy; and what it takes."""

from __future__ import annotations

import pytest

from reviewkit import ui_states as ui
from reviewkit.errors import Faults, InputError
from reviewkit.ui_states import model
from reviewkit.ui_states.inputs import moment

STATES = {
    "standby": {"light_percent": 0},
    "high": {"light_percent": 100},
    "charging": {"charging": True},
}
TABLE = """state,event,next,seen,tried,remark,video
standby,press,high,10,10,,0:12
high,press,standby,10,10,,
standby,cable in,charging,5,5,,1:02:03
charging,cable out,standby,5,5,,
charging,power lost,standby,0,5,,
high,power lost,n/a,,,,
"""


def faults(tmp_path, table=TABLE, **more):
    (tmp_path / "transitions.csv").write_text(table, encoding="utf-8")
    values = {"ui_states": STATES, "ui_transitions": "transitions.csv"} | more
    try:
        found = ui.check(ui.inputs(**values), tmp_path)
    except InputError as error:
        found = list(error.faults) if isinstance(error, Faults) else [error]
    return "\n".join(fault.message for fault in found)


def test_a_good_table_has_no_fault_and_is_read_as_typed(tmp_path):
    assert faults(tmp_path) == ""
    made = ui.analyse(ui.inputs(ui_states=STATES, ui_transitions="transitions.csv"), folder=tmp_path).machine
    assert made.leave_in == ("charging",)
    assert made.states["charging"].cable is True
    assert made.transitions[2].video_s == 3723
    assert made.impossible == {("high", "power lost")}
    assert len(made.edges) == 4


def test_the_rows_may_stand_in_the_review_file(tmp_path):
    listed = [
        {"state": "standby", "event": "press", "next": "high", "seen": 3, "tried": 3},
        {"state": "high", "event": "press", "next": "standby"},
        {"state": "standby", "event": "cable in", "next": "charging"},
    ]
    made = ui.analyse(ui.inputs(ui_states=STATES, ui_transitions=listed), folder=tmp_path).machine
    assert [item.seen for item in made.edges] == [3, None, None]
    assert "ui_transitions[1]" in faults(
        tmp_path, ui_transitions=[{"state": "x", "event": "press", "next": "high"}]
    )
    assert "no such key 'nxt'" in faults(
        tmp_path, ui_transitions=[{"state": "x", "event": "press", "nxt": "high"}]
    )


ROW = TABLE + "{}\n"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (
            "standbi,press,high,1,1,,",
            "row 8, column 'state': unknown state 'standbi'; expected .* Did you mean 'standby'",
        ),
        ("high,cable in,hihg,1,1,,", "row 8, column 'next': unknown state 'hihg'.*Did you mean 'high'"),
        (
            "high,sneeze,high,1,1,,",
            "row 8: event 'sneeze' is of unknown kind.*Add 'sneeze: hand' to 'ui_events'",
        ),
        ("high,cable in,charging,6,5,,", "row 8: seen 6 times, but tried only 5.*'tried' counts all tries"),
        ("high,cable in,charging,5,,,", "row 8: 'seen' has a count and 'tried' has none"),
        (
            "high,cable in,charging,five,5,,",
            "row 8, column 'seen': 'five' is no count; expected a whole number",
        ),
        ("high,cable in,charging,1.5,5,,", "row 8, column 'seen': '1.5' is no count"),
        ("high,cable in,charging,-1,5,,", "row 8, column 'seen': '-1' is no count"),
        (
            "high,cable in,charging,1,1,,1:75",
            "row 8, column 'video': '1:75' is no time; expected a time such as",
        ),
        ("high,cable in,,1,1,,", "row 8: 'next' is empty.*or 'n/a'"),
        ("high,cable in,high,1,1,,", "row 8: 'cable in' leads to 'high', which has 'cable: false'"),
        ("high,power lost,standby,1,1,,", "row 7, row 8: 'power lost' in 'high' has an outcome and 'n/a'"),
        (
            "standby,press,standby,1,11,,",
            "row 2, row 8: 'press' in 'standby' has different counts in 'tried'",
        ),
        (
            "standby,press,standby,1,10,,",
            "row 2, row 8: 'press' in 'standby' was tried 10 times and seen 11 times",
        ),
        ("standby,press,high,10,10,,", "row 2, row 8: the same outcome of 'press' in 'standby' stands twice"),
        (
            "standby,power lost,charging,1,1,,",
            "row 8: 'power lost' leads to 'charging', which has 'charging: true'",
        ),
    ],
)
def test_a_bad_row_is_named_with_its_remedy(tmp_path, row, said):
    import re

    assert re.search(f"transitions.csv, {said}", faults(tmp_path, ROW.format(row)))


def test_a_state_that_nothing_was_seen_to_lead_to_is_untested_and_no_fault(tmp_path):
    assert faults(tmp_path, ui_states={**STATES, "blink": {}}) == ""
    bench = ui.inputs(ui_states={**STATES, "blink": {}}, ui_transitions="transitions.csv")
    found = ui.findings(ui.analyse(bench, folder=tmp_path))
    unreached = found.get("ui.unreached")
    assert (unreached.value, unreached.verdict) == (["blink"], "not tested")
    assert "Nothing was yet seen to lead to blink" in unreached.note
    assert ["blink", "press"] in found.get("ui.untested").value
    assert found.get("ui.untested").verdict == "not tested"


@pytest.mark.parametrize(
    ("name", "given", "locked"),
    [
        ("locked", {}, True),
        ("full, locked out", {}, True),
        ("not locked", {}, False),
        ("unlocked", {}, False),
        ("locked", {"locked": False}, False),
        ("blocked", {}, False),
    ],
)
def test_a_state_that_is_called_locked_is_locked_unless_it_says_otherwise(name, given, locked):
    block = ui.inputs(ui_states={name: given}, ui_transitions="t.csv").ui_states[name]
    assert block.state(name).locked is locked


def test_a_lock_that_an_outside_event_takes_is_a_hazard_wherever_a_person_may_walk_away(tmp_path):
    states = {**STATES, "locked": {}}
    rows = "standby,turn the ring,locked,9,9,,\nlocked,cell changed by someone else,standby,4,4,,\n"
    said = faults(
        tmp_path,
        TABLE + rows,
        ui_states=states,
        ui_events={"turn the ring": "hand"},
        ui_leave_in=["charging"],
    )
    assert said == ""
    bench = ui.inputs(
        ui_states=states,
        ui_transitions="transitions.csv",
        ui_events={"turn the ring": "hand"},
        ui_leave_in=["charging"],
    )
    found = ui.findings(ui.analyse(bench, folder=tmp_path))
    (hazard,) = found.get("ui.hazards").value
    assert (hazard["leave_in"], hazard["hazard"]) == ("locked", "protection not recovered")
    assert found.get("ui.hazards").note == (
        "Changing the cell removes the lock (4 of 4 tries). Lock it again after every change (turn the ring)."
    )


def test_a_state_whose_attributes_contradict_is_named(tmp_path):
    said = faults(tmp_path, ui_states={**STATES, "charging": {"charging": True, "cable": False}})
    assert "ui_states.charging" in said
    assert "'charging: true' contradicts 'cable: false'" in said


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"ui_states": {**STATES, "high": {"light_percent": 130}}}, "ui_states.high.light_percent"),
        ({"ui_states": {**STATES, "high": {"ligth_percent": 30}}}, "Did you mean 'light_percent'"),
        (
            {"ui_events": {"press": "foot"}},
            "ui_events.press.kind: found 'foot'; expected one of 'hand' or 'outside'",
        ),
        ({"ui_leave_in": ["chargin"]}, "ui_leave_in[1]: unknown state 'chargin'. Did you mean 'charging'"),
        ({"ui_walks": [["standby", "pres"]]}, "ui_walks[1]: unknown event 'pres'. Did you mean 'press'"),
        ({"ui_hazards": [{"name": "x", "when": "cabel"}]}, "ui_hazards[1].when: in 'cabel', at character 1"),
        (
            {"ui_hazards": [{"name": "x", "when": "cable", "after": "boom"}]},
            "ui_hazards[1].after: unknown event",
        ),
        ({"ui_hazards": [{"name": "charging never ends", "when": "cable"}]}, "two hazards are called"),
        ({"ui_transitions": "other.csv"}, "other.csv: there is no such file"),
        ({"ui_transitions": "../transitions.csv"}, "ui_transitions"),
        ({"ui_states": {}}, "ui_states: there are transitions but no states"),
        ({"ui_transitions": ""}, "ui_transitions: there are states but no transitions"),
        ({"ui_signals": {"red": {"flashes": 3}}}, "'flashes' and 'seconds' belong together"),
        ({"ui_signals": {"red": {"lit_s": [1.0]}}}, "'lit_s' and 'dark_s' need as many"),
    ],
)
def test_a_bad_key_is_named(tmp_path, more, said):
    assert said in faults(tmp_path, **more)


def test_several_faults_are_told_at_once(tmp_path):
    said = faults(tmp_path, TABLE + "a,press,high,1,1,,\nhigh,hum,high,1,1,,\n")
    assert "unknown state 'a'" in said
    assert "event 'hum'" in said


def test_nothing_given_is_not_an_error(tmp_path):
    bench = ui.inputs(device={}, ui_states={}, ui_transitions="", ui_hazards=[])
    assert ui.check(bench, tmp_path) == []
    result = ui.analyse(bench, folder=tmp_path)
    found = ui.findings(result)
    assert {item.verdict for item in found} == {"not tested"}
    assert all("ui_transitions" in item.note for item in found)
    assert ui.note_to_maker(result) is None


@pytest.mark.parametrize(
    ("name", "kind", "role"),
    [
        ("power lost", "outside", "power lost"),
        ("Power_Back", "outside", "power back"),
        ("charge complete", "outside", "charge complete"),
        ("time passed", "outside", ""),
        ("cell inserted by someone else", "outside", ""),
        ("press in the bag", "outside", "chance press"),
        ("2 clicks", "hand", ""),
        ("long press", "hand", ""),
        ("cable out", "hand", "cable out"),
    ],
)
def test_usual_names_have_their_kind(name, kind, role):
    found = model.usual(name)
    assert (found.kind, found.role) == (kind, role)


def test_a_declared_kind_wins_and_may_say_what_the_event_stands_for():
    declared = {"generator falls silent": ("outside", "power lost"), "press": ("outside", "")}
    assert model.event("Generator falls silent", declared).role == "power lost"
    assert model.event("press", declared).outside
    assert model.event("sneeze", declared) is None


@pytest.mark.parametrize(
    ("text", "seconds"), [("", None), ("754", 754), ("12:34", 754), ("1:02:03.5", 3723.5)]
)
def test_moments_of_the_video(text, seconds):
    assert moment(text) == seconds


def test_the_table_that_start_begins_explains_n_a_and_is_read_once_a_row_is_in_it(tmp_path):
    from reviewkit import commands

    commands.start(tmp_path / "lantern")
    begun = (tmp_path / "lantern" / "transitions.csv").read_text(encoding="utf-8")
    assert "next = n/a: the event cannot occur in that state" in begun
    assert faults(tmp_path, begun + TABLE.partition("\n")[2]) == ""
