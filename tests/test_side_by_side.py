"""Two reviews side by side: shared meters cancel, different meters don't."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from reviewkit import comparison, findings
from reviewkit.comparison import Sharing
from reviewkit.findings import Finding, Findings
from reviewkit.metrology import Component, Measured
from reviewkit.metrology import meter as instrument
from reviewkit.metrology.conformity import Limit

METER = instrument.meter(
    {"name": "meter 1", "accuracy": "±(1.0 % + 3)", "resolution": 0.001, "full_scale": 10}, "A"
)
OTHER = instrument.meter(
    {"name": "meter 2", "accuracy": "±(1.0 % + 3)", "resolution": 0.001, "full_scale": 10}, "A"
)


NAMED = Sharing({"meter 1": "meter 1", "meter 2": "meter 2"})


def pair(first, second, *, names, shared=NAMED):
    return comparison.side_by_side([first, second], names=names, shared=[shared])


def plateau(value: float, meter: instrument.Meter, noise_A: float = 0.0005) -> Finding:
    quantity = Measured(value, "A", (meter.component(value), Component("noise", noise_A, "A")))
    return findings.measured("charge.plateau_current", "plateau current", quantity)


def test_the_same_meter_resolves_what_its_accuracy_alone_would_hide():
    first, second = plateau(0.800, METER), plateau(0.808, METER)
    row = pair(Findings((first,)), Findings((second,)), names=("Alder", "Birch")).rows[0]
    assert first.uncertainty > 0.008  # each alone is known no better than the difference
    assert row.resolved
    left = (METER.half_width(0.808) - METER.half_width(0.800)) / math.sqrt(3)
    # GUM F.2.2.1: each reading is rounded by the display on its own, whatever else the two share.
    rounded = 0.001 / math.sqrt(12) * math.sqrt(2)
    expected = math.hypot(left, 0.0005 * math.sqrt(2), rounded)
    assert row.against[0].difference.standard == pytest.approx(expected, rel=1e-9)
    assert row.words.startswith("Birch higher by")


def test_different_meters_do_not_cancel():
    row = pair(
        Findings((plateau(0.800, METER),)), Findings((plateau(0.808, OTHER),)), names=("Alder", "Birch")
    ).rows[0]
    assert row.resolved is False
    assert "can’t tell" in row.words
    expected = math.hypot(METER.component(0.8).standard, OTHER.component(0.808).standard)
    assert row.against[0].difference.standard == pytest.approx(expected, rel=5e-3)


def test_the_same_value_twice_on_one_meter_differs_by_no_more_than_two_roundings():
    row = pair(
        Findings((plateau(0.8, METER, 0.0),)), Findings((plateau(0.8, METER, 0.0),)), names=("a", "b")
    ).rows[0]
    assert row.against[0].difference.value == 0
    assert row.against[0].difference.standard == pytest.approx(0.001 / math.sqrt(6), rel=1e-9)


def test_what_one_review_lacks_is_said():
    rows = pair(
        Findings((plateau(0.8, METER),)),
        Findings((findings.not_tested("charge.terminates", "ends by itself", "no log"),)),
        names=("Alder", "Birch"),
    )
    assert [row.words for row in rows] == ["not tested on Birch", "not tested"]
    assert [row.resolved for row in rows] == [None, None]


@pytest.mark.parametrize(
    ("low", "high", "resolved"), [((0.01, 0.02), (0.03, 0.04), True), ((0.01, 0.03), (0.02, 0.04), False)]
)
def test_intervals_without_a_budget_are_resolved_only_where_they_do_not_overlap(low, high, resolved):
    def place(span: tuple[float, float]) -> Finding:
        return Finding(
            "readout.switching_place", "switching place", sum(span) / 2, "V", low=span[0], high=span[1]
        )

    row = pair(Findings((place(low),)), Findings((place(high),)), names=("a", "b")).rows[0]
    assert row.resolved is resolved


def test_words_and_yes_no_are_compared_as_such():
    def end(by: str) -> Findings:
        return Findings((Finding("charge.ended_by", "ended by", by),))

    assert pair(end("device"), end("device"), names=("a", "b")).rows[0].words == "the same"
    differing = pair(end("device"), end("source"), names=("a", "b")).rows[0]
    assert differing.resolved is True
    assert differing.words == "device against source"


def test_findings_survive_the_file_with_what_they_share():
    stored = Finding.from_dict(plateau(0.8, METER).to_dict())
    row = pair(Findings((stored,)), Findings((plateau(0.8, METER),)), names=("a", "b")).rows[0]
    expected = math.hypot(0.0005 * math.sqrt(2), 0.001 / math.sqrt(6))
    assert row.against[0].difference.standard == pytest.approx(expected, rel=1e-6)


def declared(**meter: object) -> dict[str, object]:
    return {"ammeter": {"accuracy": "±(1.0 % + 3)", "resolution": "1 mA", "full_scale": "10 A", **meter}}


@pytest.mark.parametrize(
    ("first", "second", "names"),
    [
        ({"name": "A"}, {"name": "A"}, {"A": "A"}),
        ({"name": "A", "serial": "7"}, {"name": "B", "serial": "7"}, {"B": "A"}),
        ({"name": "A", "serial": "7"}, {"name": "A", "serial": "8"}, {}),
        ({"name": "A"}, {"name": "B"}, {}),
        ({}, {}, {}),
        ({"name": "A"}, {}, {}),
        ({"name": "A"}, {"name": "A", "accuracy": "±(0.1 % + 3)"}, {}),
        ({"name": "A", "last_check": "2026-01-10"}, {"name": "A", "last_check": "2026-03-02"}, {}),
        ({"name": "A", "last_check": "2026-01-10"}, {"name": "A"}, {"A": "A"}),
        (
            {"name": "A", "last_check": "2026-01-10, against a 1 ohm resistor"},
            {"name": "A", "last_check": "2026-01-10"},
            {"A": "A"},
        ),
    ],
)
def test_meters_are_one_where_both_reviews_name_the_same_one(first, second, names) -> None:
    """A meter that is merely described alike is another one."""
    assert comparison.sharing(declared(**first), declared(**second)).names == names


@pytest.mark.parametrize(
    ("first", "second", "why"),
    [
        ({}, {}, "a review does not name it"),
        ({"name": "A", "serial": "7"}, {"name": "A", "serial": "8"}, "two serial numbers"),
        (
            {"name": "A"},
            {"name": "A", "accuracy": "±(2 % + 3)"},
            "the reviews state its accuracy differently",
        ),
        (
            {"name": "A", "last_check": "2026-01-10"},
            {"name": "A", "last_check": "2026-03-02"},
            "the reviews state different last checks, and a check may end in an adjustment",
        ),
    ],
)
def test_why_meters_are_not_taken_for_one_is_said(first, second, why) -> None:
    assert [reason for _, reason in comparison.sharing(declared(**first), declared(**second)).apart] == [why]


def test_each_range_of_a_meter_has_an_unknown_of_its_own() -> None:
    spec = {"name": "meter 1", "accuracy": "±(1.0 % + 3)"}
    ranges = [{"full_scale": 0.6, "resolution": 1e-4}, {"full_scale": 10, "resolution": 1e-3}]
    low, high = (instrument.meter({**spec, "ranges": ranges}, "A", scale) for scale in (0.6, 10))
    row = pair(Findings((plateau(0.5, low),)), Findings((plateau(0.5, high),)), names=("a", "b")).rows[0]
    apart = math.hypot(low.component(0.5).standard, high.component(0.5).standard, 0.0005 * math.sqrt(2))
    assert row.against[0].difference.standard == pytest.approx(apart, rel=1e-9)


def test_a_range_that_is_not_declared_is_shared_by_nothing() -> None:
    spec = {"name": "meter 1", "accuracy": "±(1.0 % + 3)"}
    ranges = [{"full_scale": 0.6, "resolution": 1e-4}, {"full_scale": 10, "resolution": 1e-3}]
    unknown = instrument.meter({**spec, "ranges": ranges}, "A")
    assert unknown.label == "meter 1, current range not declared"
    row = pair(Findings((plateau(0.5, unknown),)), Findings((plateau(0.5, unknown),)), names=("a", "b")).rows[
        0
    ]
    apart = math.hypot(*[unknown.component(0.5).standard] * 2, 0.0005 * math.sqrt(2))
    assert row.against[0].difference.standard == pytest.approx(apart, rel=1e-9)


@pytest.mark.parametrize(
    ("key", "unit", "words"),
    [
        ("charge.termination_time", "s", "b later by"),
        ("charge.time_to_80", "s", "b longer by"),
        ("charge.delivered", "A.h", "b more by"),
        ("charge.hold_voltage", "V", "b higher by"),
        ("drain.standby.days_to_empty", "d", "b longer by"),
    ],
)
def test_a_difference_is_said_as_a_person_would(key: str, unit: str, words: str) -> None:
    first, second = (
        findings.measured(key, "it", Measured(value, unit, (Component("noise", 0.01, unit),)))
        for value in (1, 2)
    )
    assert pair([first], [second], names=("a", "b")).rows[0].words.startswith(words)


def test_three_devices_are_held_against_the_first() -> None:
    none = Sharing({})
    reviews = [[plateau(value, METER)] for value in (0.8, 0.9, 0.8005)]
    row = comparison.side_by_side(reviews, names=("a", "b", "c"), shared=[none, none]).rows[0]
    assert [one.resolved for one in row.against] == [True, False]
    assert row.words.startswith("b: higher by")
    assert "c: the meters can’t tell them apart" in row.words


def bare(key: str, value: float, half: float, limit: Limit | None, unit: str = "V") -> Finding:
    return Finding(key, key, value, unit, half, value - half, value + half, limit)


def words(first: Finding, second: Finding, *more: Finding) -> str:
    made = pair(Findings((first,)), Findings((second, *more)), names=("a", "b"))
    return re.sub("[\u00a0\u202f]", " ", made.rows[0].words)


def test_a_difference_between_two_limits_is_said_as_a_share_of_their_room():
    cell = Limit(4.15, 4.25, "invented")
    held = [bare("charge.hold_voltage", value, 0.002, cell) for value in (4.19, 4.157)]
    assert words(*held).endswith("V, 33 % of the room between their limits")
    other = replace(held[1], limit=Limit(4.15, 4.20, "another cell's"))
    assert "room" not in words(held[0], other)


def test_two_intervals_that_do_not_meet_are_given_with_their_shares_of_a_limit():
    top = Limit(None, 0.1, "the maker")
    errors = [
        Finding("readout.largest_error", "error", value, "V", None, value - 0.004, value + 0.004, top)
        for value in (0.054, 0.098)
    ]
    assert words(*errors) == "they differ: 0.054 V against 0.098 V, 54 % and 98 % of their limits"
    free = [replace(item, limit=None) for item in errors]
    assert words(*free) == "they differ: 0.054 V against 0.098 V"


def test_an_interrupted_charges_time_is_never_compared_as_the_chargers():
    times = [bare("charge.termination_time", value, 3.0, None, "s") for value in (15000.0, 27180.0)]
    cut = Finding("charge.interruptions", "interruptions", 1)
    assert words(*times, cut).endswith("; b was interrupted: its times are not the charger’s alone")
    assert "interrupted" not in words(*times)
