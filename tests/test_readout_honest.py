"""What the readout's section says is held against invented tables made without any code of the kit.

benchmarks/readout_honest.py does so for a thousand.
"""

from __future__ import annotations

import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import readout_tables

sys.path.insert(0, str(Path(__file__).resolve().parent / "benchmarks"))

import readout_honest
from readout_honest import Outcome

from reviewkit import readout
from reviewkit.errors import InputError
from reviewkit.readout import model, posterior
from reviewkit.readout.model import Model, Reading, Reference

METER = {"accuracy": "±(0.05 % + 3)", "resolution": "1 mV", "full_scale": "6 V"}


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    return readout_honest.run(range(5000, 5024), declared=False)


@pytest.mark.parametrize("name", ["switching_place", "offset_if_nearest", "gain", "largest_error"])
def test_intervals_hold(outcomes: list[Outcome], name: str) -> None:
    """At a true share of 96 % fewer than four in five of 15 to 24 tables hold once in ten thousand."""
    given = [one.held[name] for one in outcomes if name in one.held]
    assert len(given) >= 12
    assert sum(given) >= 0.8 * len(given)


def test_no_right_row_is_doubted_no_pass_false_no_rule_wrong_nothing_called_exact(
    outcomes: list[Outcome],
) -> None:
    faults = [
        one.seed
        for one in outcomes
        if one.falsely_doubted or one.false_pass or one.false_fail or one.rule_wrong or one.exact_said
    ]
    assert faults == []
    assert sum(one.misread_named for one in outcomes) > 0.5 * sum(one.misread for one in outcomes)


def table(folder: Path, *rows: str, heading: str = "reference (V),shown", **more: Any) -> readout.Readout:
    (folder / "readout.csv").write_text("\n".join([heading, *rows]) + "\n", encoding="utf-8")
    given = {"voltmeter": METER, "readout_table": "readout.csv", "readout_resolution_V": 0.1} | more
    return readout.analyse(readout.inputs(**given), folder)


def drawn(gain: float, number: int = 24) -> list[str]:
    """Return readings of a perfect meter, evenly over the range, of a device that rounds to nearest."""
    cells = [3.0 + 1.2 * (index + 0.37) / number for index in range(number)]
    shown = [round((3.6 + gain * (cell - 3.6)) * 10) / 10 for cell in cells]
    return [f"{cell:.3f},{value:.1f}" for cell, value in zip(cells, shown, strict=True)]


@pytest.mark.parametrize("gain", [0.97, 0.98, 1.02, 1.03])
def test_a_gain_beyond_a_bound_of_1_percent_is_found_and_said_to_be_beyond(
    tmp_path: Path, gain: float
) -> None:
    result = table(tmp_path, *drawn(gain), readout_gain_bound_percent=1.0)
    found = readout.findings(result)["readout.gain"]
    assert found.low <= gain <= found.high
    assert "1\u2009%" in found.note
    assert any(words in found.note for words in ("lean on the bound", "No gain within"))


def test_a_result_that_does_not_lean_on_its_bound_says_so(tmp_path: Path) -> None:
    note = readout.findings(table(tmp_path, *drawn(1.0, 37)))["readout.gain"].note
    assert "keep it inside" in note


def test_a_gain_of_1_that_was_declared_is_given_up_where_a_gain_explains_much_more(tmp_path: Path) -> None:
    result = table(tmp_path, *drawn(1.03, 40), readout_gain_bound_percent=0.0)
    assert result.fit is not None
    assert result.fit.explanations.beyond_bound
    assert "allow for" in repr(readout.summary(result))
    assert result.fit.gain.low <= Fraction("1.03") <= result.fit.gain.high


def test_one_row_and_a_gain_or_two_rows_and_none_are_both_carried(tmp_path: Path) -> None:
    """A gain of 0.97 and row 8 misread: without a gain row 2 would be wrong as well, and no other."""
    rows = drawn(0.97, 13)
    cell, value = rows[6].split(",")
    rows[6] = f"{cell},{float(value) + 0.5:.1f}"
    result = table(tmp_path, *rows)
    assert result.fit is not None
    assert result.fit.ways == ((8,), (2, 8))
    assert result.fit.doubted == {8}
    assert result.fit.gain.low < Fraction("0.97") < 1 <= result.fit.gain.high
    note = readout.findings(result)["readout.doubtful_rows"].note
    assert "row 2" in note
    assert "every explanation with about so few doubts it" in note


def test_a_row_s_uncertainty_holds_the_meter_s_accuracy_already(tmp_path: Path) -> None:
    """±(0.05 % + 3) at 3.6 V is 4.3 mV shared and 0.5 mV own: a row of ±10 mV has 5.7 mV of its own."""
    rows = ("3.600,3.6,10", "3.800,3.8,2", "3.900,3.9,")
    result = table(tmp_path, *rows, heading="reference (V),shown,uncertainty (mV)")
    assert result.table is not None
    assert result.table.noise_V.tolist() == pytest.approx([0.0057, 0.0005, 0.0005])


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"readout_range_V": [3.6, 3.600000005]}, "0.1 V wide"),
        ({"readout_range_V": [3.0, 1e9]}, "up to 6 V"),
        ({"readout_range_V": [3.6, 3.75]}, "less than two steps"),
        ({"readout_resolution_V": 1e-6}, "0.001"),
    ],
)
def test_a_range_or_step_of_which_nothing_can_be_said_is_refused(
    tmp_path: Path, more: dict[str, Any], words: str
) -> None:
    with pytest.raises(InputError, match=words):
        table(tmp_path, "3.61,3.6", "3.66,3.7", **more)


def test_digits_finer_than_any_readout_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nothing coarser"):
        table(tmp_path, "3.61,3.6000001", "3.66,3.7", readout_resolution_V=None)


def test_the_shared_error_is_split_into_percent_and_counts() -> None:
    """A meter 0.5 % high and 1.5 mV low at once: neither hides the other, whatever the gain shows."""
    region = (
        posterior.explain(
            [Reading(2, Fraction("3.6"), Fraction("3.6")), Reading(3, Fraction("3.66"), Fraction("3.7"))],
            Model(
                Fraction(1, 10),
                Fraction(3),
                Fraction(21, 5),
                Fraction(0),
                Reference(Fraction(1, 200), Fraction(3, 2000)),
            ),
        )
        .carried[0]
        .region
    )
    corners = {(float(level), float(gain)) for level, gain in region.corners}
    widths = [max(one) - min(one) for one in zip(*corners, strict=True)]
    assert widths[0] == pytest.approx(0.06 + 2 * (0.018 + 0.0015), abs=1e-3)


def test_the_usual_bound_is_that_of_a_common_divider() -> None:
    """Two resistors, each up to 1 % off, and a reference up to 2 % off: worst case of U·R₂/(R₁ + R₂)."""
    worst = max(
        abs((1 + sign * 0.02) * (1 + one * 0.01) / ((1 - one * 0.01 + 1 + one * 0.01) / 2) - 1)
        for sign in (-1, 1)
        for one in (-1, 1)
    )
    assert 0.03 <= worst <= float(model.USUAL_GAIN_BOUND)


def test_misreadings_are_as_probable_as_they_are_said_to_be() -> None:
    """About one reading in seventy on average; one row that contradicts 29 others is wrong for certain."""
    assert sum(share for _, share in posterior.MISREAD) == pytest.approx(1.0)
    assert sum(rate * share for rate, share in posterior.MISREAD) == pytest.approx(0.0136)
    device = readout_tables.draw(7, gain=1.0, misread=0)
    readings = [
        Reading(row, Fraction(str(round(read, 4))), Fraction(str(round(value, 2))), Fraction(1, 200))
        for row, (read, value) in enumerate(device.readings)
    ]
    wrong = readings[3]
    readings[3] = Reading(
        3, wrong.reference_V, wrong.displayed_V + 3 * Fraction(str(device.step_V)), wrong.noise_V
    )
    state = posterior.posterior(readings, Model(Fraction(str(device.step_V)), Fraction(3), Fraction(21, 5)))
    assert state.wrong[3] > 0.999
    assert max(share for row, share in state.wrong.items() if row != 3) < 0.5
