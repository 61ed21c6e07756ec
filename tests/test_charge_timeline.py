"""The night as a time line: every moment has its row, and a second reading is shown where there is one."""

from __future__ import annotations

from dataclasses import replace

import pytest
from simulate.charger import Charger, Fold, Pause
from test_charge_phases import SMALL, done, trickling

from reviewkit import figures
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.findings import ChargeResults
from reviewkit.charge.regimes import Phases
from reviewkit.figures import charge_curves, charge_night


def drawn(result: ChargeResult) -> object:
    return figures.charge_timeline(ChargeResults((result,)))


def phases(result: ChargeResult) -> Phases:
    assert result.phases is not None
    return result.phases


def test_the_sentence_counts_what_was_recognised():
    charger = Charger(stop_A=0.08, folds=(Fold(900.0, 0.75),), pauses=(Pause(400.0, 300.0),))
    _, result = done(replace(SMALL, charger=charger))
    (chart,) = drawn(result).items
    assert "3 stretches at the current limit" in chart.answer
    assert "paused 1 time." in chart.answer
    assert "It was cut off at" in chart.answer
    assert chart.about[0] == "charge.knee_time"


def test_a_trickle_is_said_to_go_on():
    (chart,) = drawn(trickling(0.02)).items
    assert "had not ended when the log did" in chart.answer


def test_every_moment_of_the_charge_has_a_row():
    _, result = done(SMALL)
    found = phases(result)
    pieces = charge_night._pieces(found, float(result.record.time_s[-1]))
    assert [charge_night._row(one) for one in pieces] == ["current limit", "voltage limit", "off"]
    whole = sum(one.length_s for one in found.regimes)
    assert whole == pytest.approx(found.end_s - found.start.value, rel=0.01)


def test_another_place_of_the_knee_is_shown_and_said():
    _, result = done(SMALL)
    found = phases(result)
    assert found.knee is not None
    other = (found.knee.value - 600.0, found.knee.value - 500.0)
    double = replace(result, phases=replace(found, other_knees=(other,)))
    (chart,) = drawn(double).items
    assert "Another reading of the log" in chart.answer
    assert charge_night._doubts(phases(double)) == [other]


def test_a_current_that_steps_is_told_step_by_step():
    """What it begins with is not left out: the plateau's median is one of its levels."""
    _, result = done(replace(SMALL, charger=Charger(stop_A=0.08, folds=(Fold(900.0, 0.75),))))
    told = charge_curves.curve_answer(result).replace("\u00a0", " ")
    assert told.startswith("The cell gets 0.8000 A for 15 min")
    assert " and 0.6000 A for " in told
