"""Two reviews side by side: shared meters cancel, different meters don't."""

from __future__ import annotations

import math

import pytest

from reviewkit import comparison, findings
from reviewkit.findings import Finding, Findings
from reviewkit.metrology import Component, Measured
from reviewkit.metrology import meter as instrument

METER = instrument.meter({"name": "meter 1", "accuracy": "±(1.0 % + 3)", "resolution": 0.001}, "A")
OTHER = instrument.meter({"name": "meter 2", "accuracy": "±(1.0 % + 3)", "resolution": 0.001}, "A")


def plateau(value: float, meter: instrument.Meter, noise_A: float = 0.0005) -> Finding:
    quantity = Measured(value, "A", (meter.component(value), Component("noise", noise_A, "A")))
    return findings.measured("charge.plateau_current", "plateau current", quantity)


def test_the_same_meter_resolves_what_its_accuracy_alone_would_hide():
    first, second = plateau(0.800, METER), plateau(0.808, METER)
    row = comparison.pair(Findings((first,)), Findings((second,)), names=("Alder", "Birch")).rows[0]
    assert first.uncertainty > 0.008  # each alone is known no better than the difference
    assert row.resolved
    left = (METER.half_width(0.808) - METER.half_width(0.800)) / math.sqrt(3)
    assert row.difference.standard == pytest.approx(math.hypot(left, 0.0005 * math.sqrt(2)), rel=1e-9)
    assert row.words.startswith("Birch higher by")


def test_different_meters_do_not_cancel():
    row = comparison.pair(
        Findings((plateau(0.800, METER),)), Findings((plateau(0.808, OTHER),)), names=("Alder", "Birch")
    ).rows[0]
    assert row.resolved is False
    assert "can’t tell" in row.words
    expected = math.hypot(METER.component(0.8).standard, OTHER.component(0.808).standard)
    assert row.difference.standard == pytest.approx(expected, rel=5e-3)


def test_the_same_value_twice_on_one_meter_differs_by_nothing():
    row = comparison.pair(
        Findings((plateau(0.8, METER, 0.0),)), Findings((plateau(0.8, METER, 0.0),)), names=("a", "b")
    ).rows[0]
    assert row.difference.value == 0
    assert row.difference.standard == pytest.approx(0, abs=1e-15)


def test_what_one_review_lacks_is_said():
    rows = comparison.pair(
        Findings((plateau(0.8, METER),)),
        Findings((findings.not_tested("charge.terminates", "ends by itself", "no log"),)),
        names=("Alder", "Birch"),
    )
    assert [row.words for row in rows] == ["not tested on Birch", "not tested on Alder"]
    assert [row.resolved for row in rows] == [None, None]


@pytest.mark.parametrize(
    ("low", "high", "resolved"), [((0.01, 0.02), (0.03, 0.04), True), ((0.01, 0.03), (0.02, 0.04), False)]
)
def test_intervals_without_a_budget_are_resolved_only_where_they_do_not_overlap(low, high, resolved):
    def place(span: tuple[float, float]) -> Finding:
        return Finding(
            "readout.switching_place", "switching place", sum(span) / 2, "V", low=span[0], high=span[1]
        )

    row = comparison.pair(Findings((place(low),)), Findings((place(high),)), names=("a", "b")).rows[0]
    assert row.resolved is resolved


def test_words_and_yes_no_are_compared_as_such():
    def end(by: str) -> Findings:
        return Findings((Finding("charge.ended_by", "ended by", by),))

    assert comparison.pair(end("device"), end("device"), names=("a", "b")).rows[0].words == "the same"
    differing = comparison.pair(end("device"), end("source"), names=("a", "b")).rows[0]
    assert differing.resolved is True
    assert differing.words == "device against source"


def test_findings_survive_the_file_with_what_they_share():
    stored = Finding.from_dict(plateau(0.8, METER).to_dict())
    row = comparison.pair(Findings((stored,)), Findings((plateau(0.8, METER),)), names=("a", "b")).rows[0]
    assert row.difference.standard == pytest.approx(0.0005 * math.sqrt(2), rel=1e-6)
