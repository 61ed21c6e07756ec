"""What a review says in its first minute: the opening, the cautions, the table, what was not tested."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from reviewkit import summary
from reviewkit.errors import Faults
from reviewkit.findings import PART_MIME, Finding, Findings, not_tested
from reviewkit.metrology.conformity import Limit
from reviewkit.summary import spoken
from reviewkit.summary.evidence import _difference
from reviewkit.summary.record import Record

CELL = Limit(4.15, 4.25, "test cell's data sheet (invented)")
STOPS = Limit(0.06, 0.3, "C/50 to C/10, common practice")
MAKER = Limit(None, 0.1, "the maker's claim (invented)")
HAZARD = {
    "leave_in": "locked",
    "hazard": "protection not recovered",
    "ends_in": "standby",
    "steps": [{"event": "cell changed by someone else", "to": "standby"}],
}
LOCK_LOST = Finding(
    "ui.hazards",
    "ways it can go wrong",
    value=[HAZARD],
    note="Changing the cell removes the lock (10 of 10 tries). Lock it again after every change.",
)


def found(key: str, value: object, unit: str = "", **more: object) -> Finding:
    return Finding(key=key, label=key.rpartition(".")[2].replace("_", " "), value=value, unit=unit, **more)


ENDS = found("charge.terminates", True, verdict="pass")
TIME = found("charge.termination_time", 15360.0, "s", uncertainty=3.0, low=15357.0, high=15363.0)
HOLD = found("charge.hold_voltage", 4.1853, "V", uncertainty=0.0042, limit=CELL, verdict="pass")
READOUT = found("readout.largest_error", 0.0541, "V", low=0.05, high=0.06107, limit=MAKER, verdict="pass")
MEAN = found("drain.standby.mean", 7.16e-5, "A", uncertainty=2e-6)
LOCKED = found("drain.locked_out.mean", 2.4e-6, "A", uncertainty=3e-7)
SOUND = (ENDS, HOLD, TIME, READOUT, MEAN, LOCKED)


def record(*items: Finding) -> Record:
    return Record(Findings(items), device={"name": "Lantern"})


def said(*items: Finding) -> str:
    """The opening, its spaces plain."""
    return re.sub("[\u00a0\u202f]", " ", summary.paragraph(record(*items)).text)


def test_the_opening_has_its_order_its_digits_and_no_plus_minus():
    text = said(*reversed(SOUND), LOCK_LOST)
    order = [
        "Lantern ends its charge by itself.",
        "But with no one there, something can go wrong. "
        "Changing the cell removes the lock (10 of 10 tries). Lock it again after every change.",
        "It stays inside its limits in 3 of 3 checks.",
        "A charge took about 4¼ h.",
        "Its voltage readout is within 0.062 V; claimed 0.1 V.",
        "On the shelf it draws 72 µA (“standby”) and 2.4 µA (“locked out”).",
    ]
    places = [text.index(line) for line in order]
    assert places == sorted(places)
    assert "±" not in text


def test_all_within_their_limits_is_never_said_of_a_lamp_with_a_hazard():
    assert "goes wrong" not in said(*SOUND)
    text = said(*SOUND, LOCK_LOST)
    assert "all are within" not in text
    assert text.index("go wrong") < text.index("limits")


@pytest.mark.parametrize(
    ("hazards", "more", "says"),
    [
        (Finding("ui.hazards", "ways", value=[]), (), "nothing that was tried went wrong."),
        (
            Finding("ui.hazards", "ways", value=[]),
            (Finding("ui.untested", "events", value=[["full", "power lost"]], verdict="not tested"),),
            "nothing that was tried went wrong; 1 event was not tried.",
        ),
        (not_tested("ui.hazards", "ways", "No states."), (), "go wrong with no one there was not tested."),
        (Finding("ui.hazards", "ways", value=[HAZARD]), (), "protection not recovered."),
    ],
)
def test_what_can_go_wrong_is_never_absent(hazards, more, says):
    assert says in said(ENDS, hazards, *more)


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.ways: dict[str, str] = {}
        self._href = ""

    def handle_starttag(self, tag, attrs):
        self._href = dict(attrs).get("href", "") if tag == "a" else self._href

    def handle_data(self, data):
        if self._href:
            self.ways[data.replace("\u00a0", " ")] = self._href
        self._href = ""


def test_each_number_of_the_opening_leads_to_its_finding():
    links = _Links()
    links.feed(str(summary.paragraph(record(*SOUND, LOCK_LOST)).html))
    assert links.ways == {
        "ends its charge by itself": "#charge.terminates",
        "something can go wrong": "#ui.hazards",
        "3 of 3 checks": "#findings",
        "4¼ h": "#charge.termination_time",
        "0.062 V": "#readout.largest_error",
        "72 µA": "#drain.standby.mean",
        "2.4 µA": "#drain.locked_out.mean",
    }


@pytest.mark.parametrize(
    ("ended", "says"),
    [
        (found("charge.terminates", False, verdict="fail"), "Lantern did not end its charge by itself"),
        (
            not_tested("charge.terminates", "charge ends", "The log ended first."),
            "Whether Lantern ends its charge by itself was not shown.",
        ),
    ],
)
def test_a_charge_that_was_not_seen_to_end_is_not_said_to(ended, says):
    text = said(ended, TIME)
    assert says in text
    assert "took" not in text


def test_the_time_of_an_interrupted_charge_is_never_the_chargers():
    cut = found("charge.wall.interruptions", 1)
    times = [
        found(f"charge.{run}.termination_time", hours * 3600.0, "s")
        for run, hours in (("wall", 9), ("usb", 6))
    ]
    ends = [found(f"charge.{run}.terminates", True, verdict="pass") for run in ("wall", "usb")]
    assert "A charge took about 6 h." in said(*times, *ends, cut)
    alone = said(times[0], ends[0], cut)
    assert "9 h" not in alone
    assert "was not measured: it was interrupted." in alone
    run = {"source": "wall", "cut_on_purpose": "mains off for 6.5 min"}
    made = Record(Findings((times[0], ends[0], cut)), declared={"charge_runs": [run]})
    shown = summary.paragraph(made).text
    assert "it was interrupted, on purpose (mains off for 6.5 min)." in shown
    assert "9" not in shown.replace("6.5", "")


def test_a_draw_that_the_meter_cannot_tell_is_not_in_the_opening():
    assert "shelf" not in said(found("drain.standby.mean", 1e-4, "A", verdict="inconclusive"))


def test_how_long_it_lasts_is_said_with_the_cells_own_loss_where_that_was_worked_out():
    alone = found("drain.standby.days_to_empty", 2555.0, "d")
    assert "lasts" not in said(MEAN, alone)
    both = found("drain.standby.shelf_days", 800.0, "d")
    assert "a full cell lasts about 2.2 years, its own loss included)" in said(MEAN, alone, both)
    soon = said(MEAN, found("drain.standby.days_to_empty", 50.3, "d"))
    assert "a full cell lasts about 50 days)" in soon


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [
        (953.8, 713.6, 1437.7, "2 to 4 years"),
        (812.1, 629.4, 1145.0, "1½ to 3 years"),
        (1478.0, 1470.0, 1490.0, "4 years"),
        (94.4, 91.0, 97.8, "3.1 months"),
        (200.0, 120.0, 300.0, "4 to 10 months"),
        (50.3, 49.7, 50.9, "50 days"),
        (20.0, 12.0, None, "12 to 20 days"),
    ],
)
def test_a_time_on_the_shelf_is_said_no_closer_than_it_is_known(value, low, high, text):
    said_so = spoken.days_said(found("drain.standby.days_on_shelf", value, "d", low=low, high=high))
    assert said_so.replace("\u00a0", " ") == text


def test_what_is_outside_is_said_in_the_words_of_what_one_sees_once_for_all_sources():
    none = Limit(-0.003, 0.003, "common practice")
    drawn = [
        found(f"charge.{run}.current_after", amps, "A", limit=none, verdict="fail")
        for run, amps in (("wall_adapter", -0.01136), ("laptop_port", -0.0114))
    ]
    assert (
        "With the cable left in, it draws 11 mA from the full cell (wall adapter and laptop port): "
        "pull the cable when the charge is done." in said(ENDS, *drawn)
    )
    sent = found("charge.current_after", 0.02, "A", limit=none, verdict="fail")
    assert "keeps sending 20 mA into the full cell: pull" in said(ENDS, sent)
    top_up = found("charge.top_ups", 2)
    assert "ends its charge by itself and, left on the cable, tops the cell up again." in said(ENDS, top_up)


def test_a_judged_value_is_said_with_the_digits_that_tell_it_from_its_limit():
    near = found("charge.hold_voltage", 4.1528, "V", uncertainty=0.004, limit=CELL, verdict="inconclusive")
    text = said(ENDS, near)
    assert "The meter can’t tell: whether it holds the cell inside 4.15 V to 4.25 V: 4.153 V." in text


def test_a_limit_that_is_the_same_either_way_is_said_as_an_amount():
    none = Limit(-0.003, 0.003, "common practice")
    item = found("charge.current_after", 0.0014, "A", limit=none, verdict="inconclusive")
    assert "the charge has ended: 1.4 mA, where at most 3 mA counts as none." in said(ENDS, item)


def test_what_hurts_someone_stands_before_what_empties_the_cell():
    drawn = found("charge.current_after", -0.02, "A", verdict="fail")
    light = Finding("ui.hazards", "ways", value=[HAZARD], note="The light comes on by itself.")
    text = cautioned(drawn, light)
    assert text.index("comes on by itself") < text.index("draws from a full cell")


@pytest.mark.parametrize(
    ("verdict", "says"),
    [
        ("pass", "within 0.062 V; claimed 0.1 V."),
        ("fail", "within 0.062 V, not within the claimed 0.1 V."),
        ("inconclusive", "within 0.062 V; whether it keeps the claimed 0.1 V the meter can’t tell."),
    ],
)
def test_what_becomes_of_the_makers_claim_about_the_readout_is_said_once(verdict, says):
    text = said(ENDS, replace(READOUT, verdict=verdict))
    assert says in text
    assert "largest error" not in text


@pytest.mark.parametrize(
    ("value", "unit", "up", "text"),
    [
        (7.16e-5, "A", False, "72 µA"),
        (2.4e-6, "A", False, "2.4 µA"),
        (-0.01136, "A", False, "−11 mA"),
        (4.1853, "V", False, "4.19 V"),
        (0.06107, "V", True, "0.062 V"),
        (0.06, "V", True, "0.060 V"),
        (9.96e-5, "A", False, "100 µA"),
        (15360.0, "s", False, "4¼ h"),
        (21590.0, "s", False, "6 h"),
        (5400.0, "s", False, "1½ h"),
        (3590.0, "s", False, "60 min"),
        (2100.0, "s", False, "35 min"),
        (0.0, "A", False, "0 A"),
    ],
)
def test_a_number_is_rounded_as_one_would_say_it(value, unit, up, text):
    assert re.sub("[\u00a0\u202f]", " ", spoken.rounded(value, unit, up=up)) == text


def test_judged_findings_are_counted_once_and_the_charges_end_stands_first():
    twin = found("charge.usb.hold_voltage", 4.1853, "V", uncertainty=0.0042, limit=CELL, verdict="pass")
    unlimited = found("drain.locked_out.days", 5.0, "d", verdict="inconclusive")
    made = record(HOLD, twin, READOUT, unlimited, ENDS)
    assert [item.key for item in made.judged] == [
        "charge.terminates",
        "charge.hold_voltage",
        "readout.largest_error",
    ]
    shown = summary.table(made)._repr_mimebundle_()
    (part,) = (data for name, data in shown.items() if name.endswith("part+json"))
    (listed,) = (data["findings"] for data in part.values() if isinstance(data, dict))
    assert listed[0]["key"] == "charge.terminates"
    assert sum(Finding.from_dict(item).is_judged for item in listed) == 3
    assert "3 of 3 checks" in said(HOLD, twin, READOUT, unlimited, ENDS)


def test_findings_of_a_section_that_no_one_knows_are_counted_named_and_cautioned():
    hot = found("warmth.case_peak", 71.0, "°C", limit=Limit(None, 60.0, "common practice"), verdict="fail")
    cool = found("warmth.port_peak", 31.0, "°C", limit=Limit(None, 60.0, "common practice"), verdict="pass")
    text = said(ENDS, hot, cool)
    assert "2 of 3 checks. Outside: case peak, 71 °C against at most 60 °C." in text
    assert "Case peak: 71 °C" in re.sub("[\u00a0\u202f]", " ", summary.cautions(record(hot)).text)
    assert hot in record(hot, cool).judged


def test_not_tested_counts_what_a_reader_would_miss():
    why = "a single reading holds no pulses"
    parts = [not_tested(f"drain.locked.{name}", name, why, unit="A") for name in ("base", "pulse_height")]
    gone = [
        not_tested(f"charge.{name}", name, "The source was not logged.") for name in ("drawn", "efficiency")
    ]
    lacking = not_tested("charge.precharge_current", "precharge current", "There was no precharge.")
    untried = Finding(
        "ui.untested",
        "events not tried",
        value=[["full", "power lost"]],
        verdict="not tested",
        note="Not tried: x.",
    )
    made = record(*parts, *gone, lacking, untried)
    assert len(made.missing) == 2
    assert "2 things were not tested." in said(*parts, *gone, lacking, untried)
    text = summary.not_tested(made).text
    assert text.count("The source was not logged.") == 1
    assert "Not tried: x." in text
    assert (
        "Parts of what was measured that could not be had: base, pulse_height and precharge current." in text
    )


def cautioned(*items: Finding) -> str:
    own = summary.cautions(record(*items)).text.split("With every lithium-ion cell")[0]
    return re.sub("[\u00a0\u202f]", " ", own)


@pytest.mark.parametrize(
    ("value", "low", "high", "says"),
    [
        (None, None, 20.0, "A full cell is empty within 90 days"),
        (20.0, 15.0, 25.0, "A full cell is empty within 90 days"),
        (20.0, None, None, "A full cell is empty within 90 days"),
        (100.0, 70.0, 130.0, "A full cell may be empty within 90 days"),
        (None, 70.0, None, "A full cell may be empty within 90 days"),
        (None, None, 400.0, "A full cell may be empty within 90 days"),
        (None, 361.0, None, ""),
        (100.0, 99.0, 102.0, ""),
        (None, None, None, ""),
        (90.0, 90.0, 95.0, ""),
        (89.0, 89.0, 89.9, "A full cell is empty within 90 days"),
    ],
)
def test_the_storage_caution_looks_at_the_bounds(value, low, high, says):
    text = cautioned(found("drain.standby.days_to_empty", value, "d", low=low, high=high))
    assert (says in text) if says else ("empty" not in text)


@pytest.mark.parametrize(
    ("item", "says"),
    [
        (found("charge.terminates", False, verdict="fail"), "Pull the cable yourself when the cell is full."),
        (
            found("charge.current_after", 0.02, "A", verdict="fail"),
            "It keeps sending current into a full cell: 20",
        ),
        (
            found("charge.current_after", -0.02, "A", verdict="fail"),
            "With the cable left in, it draws from a full cell: 20 mA",
        ),
        (
            found("charge.peak_voltage", 4.3, "V", limit=CELL, verdict="fail"),
            "It takes the cell to 4.30 V, beyond 4.15 V to 4.25 V (test cell's data sheet",
        ),
        (found("charge.peak_voltage", 4.25, "V", limit=CELL, verdict="inconclusive"), "the meter can’t tell"),
        (
            found("charge.hold_voltage", 4.3, "V", limit=CELL, verdict="fail"),
            "It holds the cell at 4.30 V, outside",
        ),
        (
            found("charge.termination_current", 0.02, "A", limit=STOPS, verdict="fail"),
            "no danger by itself, but the cell is kept at its full voltage for longer",
        ),
        (
            found("charge.termination_current", 0.4, "A", limit=STOPS, verdict="fail"),
            "no danger by itself, but the cell is not filled",
        ),
        (LOCK_LOST, "Lock it again after every change."),
        (
            Finding(
                "ui.precautions", "p", value=[], note="Not shown: that it helps to lock it; x was not tried."
            ),
            "Not shown: that it helps",
        ),
    ],
)
def test_what_was_found_calls_for_its_caution(item, says):
    assert says in cautioned(item)


@pytest.mark.parametrize(
    ("rate_Hz", "low", "high", "said"),
    [(4.1, 4.0, 4.2, True), (2.9, 2.7, 3.1, True), (2.0, 1.9, 2.1, False), (3.0, 3.0, 3.0, False)],
)
def test_a_signal_that_may_flash_more_than_three_times_a_second_is_warned_of(rate_Hz, low, high, said):
    """WCAG 2.2, 2.3.1: no more than three in any one second."""
    text = cautioned(found("ui.fast_red.flash_rate", rate_Hz, "Hz", low=low, high=high))
    assert ("More than three flashes in a second" in text) == said


def test_a_caution_that_two_sources_call_for_is_said_once():
    drawn = [
        found(f"charge.{run}.current_after", amps, "A", verdict="fail")
        for run, amps in (("wall", -0.01134), ("usb", -0.01142))
    ]
    assert cautioned(*drawn).count("draws from a full cell") == 1
    assert "draws from a full cell: 11 mA. Pull" in cautioned(*drawn)
    assert "20 mA and 11 mA" in cautioned(replace(drawn[0], value=-0.02), drawn[1])


def test_a_habit_stands_behind_every_danger():
    late = found("charge.termination_current", 0.02, "A", limit=STOPS, verdict="fail")
    flat = found("drain.standby.days_to_empty", 40.0, "d", low=38.0, high=42.0)
    text = cautioned(late, flat)
    assert text.index("empty within") < text.index("no danger by itself")


def test_a_sound_device_gets_the_usual_cautions_alone():
    text = summary.cautions(record(*SOUND, Finding("ui.hazards", "h", value=[]))).text
    assert "beyond the usual ones" in text
    assert text.count("lithium-ion") >= 2


def test_names_of_others_are_no_links_and_no_markup():
    hostile = Record(Findings((ENDS,)), device={"name": "<b>[[x|y]]</b>"})
    shown = str(summary.paragraph(hostile).html)
    assert "<b>" not in shown
    assert 'href="#x"' not in shown
    noted = Finding("ui.hazards", "h", value=[HAZARD], note="Left in “[[a|b]]”: <i>gone</i>.")
    shown = str(summary.paragraph(record(noted)).html)
    assert 'href="#a"' not in shown
    assert "<i>" not in shown


def figures(*items: Finding, **more: object) -> dict[str, str]:
    shown = summary.key_figures(Record(Findings(items), **more)).items
    return {item.name: re.sub("[\u00a0\u202f]", " ", item.text) for item in shown}


def test_the_list_says_what_a_buyer_chooses_by():
    shelf = found("drain.standby.days_on_shelf", 812.1, "d", low=629.4, high=1145.0)
    assert figures(*SOUND, shelf, LOCK_LOST) == {
        "ends": "yes",
        "inside": "3 of 3",
        "wrong": "the lock is lost",
        "full_in": "4¼ h",
        "shelf": "72 µA; about 1½ to 3 years",
        "readout": "0.062 V",
    }
    assert figures() == {}
    assert figures(Finding("ui.hazards", "ways", value=[]))["wrong"] == "nothing seen"
    assert figures(not_tested("ui.hazards", "ways", "No states."))["wrong"] == "not tested"


def test_the_list_sorts_narrows_and_draws_by_what_was_found():
    """What charges to its end comes first, then what may, then what does not."""

    def shown(*items: Finding) -> dict[str, dict[str, object]]:
        bundle = summary.key_figures(Record(Findings(items)))._repr_mimebundle_()
        return {item["name"]: item for item in bundle[PART_MIME]["figures"]}

    sound = shown(*SOUND, found("ui.hazards", []))
    assert {
        name: (item["order"], item["has"], item["unit"], item["interval"]) for name, item in sound.items()
    } == {
        "ends": (0.0, "ends", "", None),
        "inside": (1.0, "", "", None),
        "wrong": (0.0, "sound", "", None),
        "full_in": (15360.0, "", "s", (15357.0, 15363.0)),
        "shelf": (7.16e-5, "", "A", (7.16e-5, 7.16e-5)),
        "readout": (0.06107, "", "V", (0.05, 0.06107)),
    }
    for value, order in ((None, 1.0), (False, 2.0)):
        item = shown(found("charge.terminates", value))["ends"]
        assert (item["order"], item["has"]) == (order, "")
    lost = shown(LOCK_LOST, found("charge.hold_voltage", 4.3, "V", limit=CELL, verdict="fail"))
    assert (lost["wrong"]["order"], lost["wrong"]["has"]) == (1.0, "")
    assert lost["inside"]["order"] == 0.0


def changed(before: Finding, now: Finding) -> str:
    """What the edition says of one finding, its spaces plain."""
    made = Record(Findings((now,)), review={"edition": 2}, earlier=Findings((before,)), earlier_edition=1)
    return re.sub("[\u00a0\u202f]", " ", summary.edition(made).text)


def test_an_edition_tells_what_changed_by_more_than_both_uncertainties_together():
    """GUM 5.1.2: of independent ones the squares add, 3 and 4 mV are 5 mV."""
    before = found("charge.hold_voltage", 4.1, "V", uncertainty=0.003)
    unchanged = "no finding has changed"
    assert unchanged in changed(before, found("charge.hold_voltage", 4.1049, "V", uncertainty=0.004))
    assert "by more than the uncertainty" in changed(
        before, found("charge.hold_voltage", 4.1051, "V", uncertainty=0.004)
    )
    judged = replace(before, limit=CELL, verdict="pass")
    assert unchanged in changed(judged, judged)
    assert "not judged, now" in changed(before, judged)
    assert "another result" in changed(found("charge.ended_by", "device"), found("charge.ended_by", "source"))
    assert unchanged in changed(found("charge.ended_by", "device"), found("charge.ended_by", "device"))


@pytest.mark.parametrize(("number", "missed"), [(0, False), (1, False), (2, True)])
def test_an_edition_says_that_the_one_before_is_missing(number: int, missed: bool):
    shown = summary.edition(Record(Findings(()), review={"edition": number})).text
    assert ("does not lie beside this one" in shown) is missed


def test_an_accuracy_is_told_as_it_was_read():
    meter = {"accuracy": "±(0.5 % + 2)", "resolution": "1 mV"}
    shown = summary.instruments(Record(Findings(()), voltmeter=meter)).text
    assert shown.count("read as") == 1
    assert "read as 0.5 % of the reading + 2 counts of the last digit; resolution" in shown


def test_a_claim_that_cannot_be_read_is_named_by_its_number():
    claims = tuple({"about": "readout.largest_error", "at_most": most} for most in ("0.1 V", "3 A"))
    with pytest.raises(Faults, match=r"claims\[2\]"):
        summary.claims(Record(Findings((READOUT,)), claims=claims))


def test_the_list_names_the_source_of_a_time_only_where_there_are_several():
    port, adapter = (found(f"charge.{name}.termination_time", 15360.0, "s") for name in ("port", "adapter"))
    assert figures(port)["full_in"] == "4¼ h"
    assert figures(port, adapter)["full_in"] == "4¼ h (port)"


def test_a_current_into_the_full_cell_is_not_called_one_out_of_it():
    into = cautioned(found("charge.current_after", 0.02, "A", verdict="fail"))
    assert "keeps sending" in into
    assert "draws from a full cell" not in into


def test_a_meters_large_whole_numbers_are_set_in_groups_of_three():
    """ISO 80000-1, 7.3.1 (from memory): groups of three are set apart by a small space."""
    made = Record(Findings(()), voltmeter={"input_ohm": 10000000}, ammeter={"burden_ohm": 9999})
    shown = summary.instruments(made).text
    assert re.search(r"input 10\s000\s000\s", shown)
    assert "burden 9999" in shown


def test_a_claim_of_the_sections_own_limit_is_left_open_where_the_section_could_not_tell():
    """Against another limit it is judged anew."""
    item = Finding(
        "lamp.draw", "draw", 2e-3, "A", low=1e-3, high=2.5e-3, limit=Limit(None, 3e-3), verdict="inconclusive"
    )
    for most, says in ((3e-3, "the meter can’t tell"), (5e-3, "yes"), (0.5e-3, "no")):
        made = Record(Findings((item,)), claims=({"about": "lamp.draw", "at_most": most},))
        assert f'data-label="Holds">{says}</td>' in str(summary.claims(made).html)


def test_the_list_never_gives_an_interrupted_charges_time_nor_an_end_that_one_source_did_not_have():
    assert figures(TIME, found("charge.interruptions", 1))["full_in"] == "not measured: interrupted"
    ends = [found(f"charge.{run}.terminates", value) for run, value in (("wall", True), ("usb", False))]
    assert figures(*ends)["ends"] == "no"
    assert figures(ends[0], found("charge.usb.terminates", None))["ends"] == "not shown"


def test_the_list_reads_what_the_published_summary_shows_and_the_findings_that_its_metadata_name(tmp_path):
    from reviewkit.publishing import written
    from reviewkit.publishing.site import review_list

    (tmp_path / "lantern" / "notebooks").mkdir(parents=True)
    shown = summary.key_figures(record(ENDS, LOCK_LOST))._repr_mimebundle_()
    cell = {"cell_type": "code", "outputs": [{"data": shown}]}
    book = {"metadata": {"reviewkit": {"kind": "summary", "figures": ["beam.flux"]}}, "cells": [cell]}
    (tmp_path / "lantern" / "notebooks" / "summary.ipynb").write_text(json.dumps(book), encoding="utf-8")
    whole = {
        "device": {"name": "Lantern"},
        "review": {"title": "", "edition": 2, "date": "2026-02-21"},
        "findings": [found("beam.flux", 310.0, "").to_dict()],
    }
    (tmp_path / "lantern" / "findings.json").write_text(json.dumps(whole), encoding="utf-8")
    # Only what the kit published is listed: the folder's list of files tells.
    assert review_list.key_figures(review_list.told(tmp_path)) == ([], [])
    written.seal(tmp_path / "lantern")
    columns, (row,) = review_list.key_figures(review_list.told(tmp_path))
    assert columns == ["Ends its charge", "Inside its limits", "What can go wrong", "flux"]
    assert [figure.text for figure in row.figures] == ["yes", "1\u00a0of\u00a01", "the lock is lost", "310"]
    assert row.about == "edition 2, 2026-02-21"
    assert row.has == "ends"


def test_a_claim_about_what_was_not_found_is_not_tested():
    """Such as one about the groups of pulses of a drain that came without any."""
    claim = {"about": "drain.standby.group_period", "at_most": "2 s", "source": "leaflet"}
    made = Record(Findings((READOUT,)), claims=(claim,))
    shown = re.sub("[\u00a0\u202f]", " ", str(summary.claims(made).html))
    assert "drain.standby.group_period: at most 2 s (leaflet)" in shown
    assert "not tested" in shown


@pytest.mark.parametrize(
    ("value", "unit", "verdict", "says"),
    [
        (-11e-3, "A", "pass", "no"),
        (-2e-3, "A", "pass", "yes"),
        (2e-3, "A", "pass", "yes"),
        (2e-3, "A", "inconclusive", "the meter can’t tell"),
        (-11.0, "degC", "pass", "yes"),
    ],
)
def test_a_claim_of_at_most_is_held_against_the_amount(value: float, unit: str, verdict: str, says: str):
    """And never answered where the section itself could not tell."""
    item = Finding("lamp.draw", "draw", value, unit, low=value, high=value, verdict=verdict)
    made = Record(Findings((item,)), claims=({"about": "lamp.draw", "at_most": 3e-3},))
    assert f'data-label="Holds">{says}</td>' in str(summary.claims(made).html)


@pytest.mark.parametrize(("told", "says"), [(2.1, "yes"), (1.5, "more"), (2.5, "less")])
def test_a_claim_of_about_so_much_says_which_way_the_measured_value_is_off(told: float, says: str):
    item = Finding("lamp.draw", "draw", 2.0, "A", uncertainty=0.1, low=1.9, high=2.1)
    made = Record(Findings((item,)), claims=({"about": "lamp.draw", "about_equal": told},))
    (answer,) = re.findall(r'data-label="Holds">([^<]*)</td>', str(summary.claims(made).html))
    assert says in answer


def test_two_values_without_an_uncertainty_differ_by_any_amount() -> None:
    """Counts such as trials have none; with one on either side, both count: 3 and 4 make 5."""
    three, four = (Finding("a.b", "b", value=value) for value in (3.0, 3.5))
    assert _difference(three, four) == "by more than the uncertainty"
    assert _difference(three, three) == ""
    doubtful = [Finding("a.b", "b", value=v, uncertainty=u) for v, u in ((0.0, 3.0), (4.9, 4.0), (5.1, 4.0))]
    assert _difference(doubtful[0], doubtful[1]) == ""
    assert _difference(doubtful[0], doubtful[2]) == "by more than the uncertainty"
