"""Findings: what a reader sees, what a notebook carries, and that both are the same after a round trip."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.findings import (
    MIME,
    SCHEMA,
    Finding,
    Findings,
    limit_text,
    measured,
    not_tested,
    table_html,
    verdict_text,
    with_inputs,
)
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.conformity import Limit

HOLD = measured(
    "charge.hold_voltage",
    "hold voltage",
    Measured(
        4.184,
        "V",
        (
            Component("voltmeter: accuracy", 0.0041, "V", "rectangular", shared="voltmeter"),
            Component("scatter", 0.0002, "V", dof=17),
        ),
    ),
    limit=Limit(4.15, 4.25, "the cell's data sheet"),
    note="Median over the last half.",
    inputs=("logs/v.csv",),
)


def there_and_back(item: Finding) -> Finding:
    return Finding.from_dict(json.loads(json.dumps(item.to_dict(), allow_nan=False)))


def test_a_measured_finding_carries_interval_budget_and_verdict() -> None:
    assert HOLD.verdict == "pass"
    assert HOLD.uncertainty is not None
    assert HOLD.low == pytest.approx(4.184 - HOLD.uncertainty)
    assert HOLD.high == pytest.approx(4.184 + HOLD.uncertainty)
    assert [part.name for part in HOLD.budget] == ["voltmeter: accuracy", "scatter"]
    assert HOLD.text.replace("\u00a0", " ") == "4.1840 V ± 0.0040 V"
    assert limit_text(HOLD).replace("\u00a0", " ") == "4.15 V to 4.25 V (the cell's data sheet)"


def test_a_round_trip_keeps_everything() -> None:
    back = there_and_back(HOLD)
    assert replace(back, uncertainty=0, low=0, high=0) == replace(HOLD, uncertainty=0, low=0, high=0)
    assert (back.uncertainty, back.low, back.high) == pytest.approx((HOLD.uncertainty, HOLD.low, HOLD.high))
    assert back.budget == HOLD.budget
    assert there_and_back(back) == back
    # The doubt of the whole can be computed again from the budget alone.
    again = Measured(4.184, "V", back.budget)
    assert again.expanded == pytest.approx(HOLD.uncertainty, rel=1e-9)


@pytest.mark.parametrize(
    "item",
    [
        not_tested("charge.knee_time", "knee", "The cell was nearly full.", "s"),
        Finding("readout.rule", "rule", "nearest"),
        Finding("charge.terminates", "terminates", True, verdict="pass"),
        Finding("charge.top_ups", "top-ups", 2),
        Finding("ui.untested", "untested", [["full", "power lost"]], verdict="inconclusive"),
        Finding("readout.switching_place", "switching place", 0.05, "V", None, 0.04, 0.06, video_s=84.0),
        Finding("ui.rate", "upper bound", 0.095, "1", high=0.095, limit=Limit(high=0.1, source="own")),
    ],
    ids=lambda item: item.key,
)
def test_every_kind_of_value_survives(item: Finding) -> None:
    assert there_and_back(item) == item


@given(
    value=st.one_of(
        st.none(), st.booleans(), st.integers(-(10**9), 10**9), st.floats(-1e6, 1e6), st.text(max_size=30)
    ),
    note=st.text(max_size=60),
)
def test_any_text_and_number_survives(value: float | int | bool | str | None, note: str) -> None:
    back = there_and_back(Finding("a.b", "label", value, note=note))
    assert back.value == pytest.approx(value, rel=1e-11) if isinstance(value, float) else back.value == value
    assert type(back.value) is type(value)
    assert back.note == note


def test_numbers_from_numpy_become_plain_and_what_is_not_finite_becomes_nothing() -> None:
    data = Finding("a.b", "label", np.float64(0.1), "V", None, -math.inf, np.float64(1)).to_dict()  # type: ignore[arg-type]
    assert type(data["value"]) is float
    assert (data["uncertainty"], data["low"], data["high"]) == (None, None, 1.0)
    json.dumps(data, allow_nan=False)
    whole = Finding("a.b", "label", np.int64(3)).to_dict()  # type: ignore[arg-type]
    assert json.dumps(whole["value"]) == "3"
    truth = Finding("a.b", "label", np.bool_(True)).to_dict()  # type: ignore[arg-type]
    assert json.dumps(truth["value"]) == "true"


def test_the_notebook_carries_what_findings_json_holds() -> None:
    bundle = Findings((HOLD, not_tested("charge.knee_time", "knee", "Why not.", "s")))._repr_mimebundle_()
    assert bundle[MIME]["schema"] == SCHEMA
    assert [item["key"] for item in bundle[MIME]["findings"]] == ["charge.hold_voltage", "charge.knee_time"]
    assert "knee: not tested" in bundle["text/plain"]
    json.dumps(bundle, allow_nan=False)


def test_two_findings_of_one_key_are_refused() -> None:
    with pytest.raises(ValueError, match=r"same key: charge\.hold_voltage"):
        Findings((HOLD, HOLD))


def test_findings_are_a_sequence() -> None:
    both = Findings((HOLD,)).__add__([Finding("a.b", "label", 1)])
    assert (len(both), both[1].key, both.get("a.b"), both.get("x")) == (2, "a.b", both[1], None)
    assert isinstance(both[:1], Findings)


def test_a_page_shows_hostile_text_as_text() -> None:
    nasty = Finding("a.b", "<script>x</script>", '"><img onerror=1>', note="&", limit=Limit(1, 2, "<b>"))
    page = table_html([nasty])
    assert "<script>" not in page
    assert "<img" not in page
    assert "<b>" not in page


@pytest.mark.parametrize(
    ("item", "text"),
    [
        (Finding("a", "a", True), "yes"),
        (Finding("a", "a", False), "no"),
        (Finding("a", "a", []), "none"),
        (Finding("a", "a", [1, 2]), "2"),
        (Finding("a", "a", "device"), "device"),
        (Finding("a", "a", 3), "3"),
        (Finding("a", "a", None, verdict="not tested"), "not tested"),
        (Finding("a", "a", None), "not known"),
        (Finding("a", "a", 0.05, "V", None, 0.04, 0.06), "0.050 V (0.040 V to 0.060 V)"),
    ],
    ids=lambda item: getattr(item, "text", item)[:12],
)
def test_what_a_reader_sees(item: Finding, text: str) -> None:
    assert item.text.replace("\u00a0", " ") == text


def test_verdicts_are_told_in_words() -> None:
    told = [
        verdict_text(replace(HOLD, verdict=one)) for one in ("pass", "fail", "inconclusive", "not tested")
    ]
    assert told == ["within the limit", "outside the limit", "the meter can’t tell", "not tested"]
    assert verdict_text(replace(HOLD, verdict=None)) == ""


def test_inputs_are_added_where_there_are_none() -> None:
    found = with_inputs([HOLD, Finding("a.b", "label", 1)], ["logs/i.csv"])
    assert [item.inputs for item in found] == [("logs/v.csv",), ("logs/i.csv",)]
