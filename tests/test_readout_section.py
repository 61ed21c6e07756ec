"""The section as a reviewer meets it: tables, faults, marks, findings, the examples."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

import reviewkit
from reviewkit import readout
from reviewkit.errors import InputError
from reviewkit.readout import model, report, table
from reviewkit.readout.fit import _stretch
from reviewkit.readout.model import Interval

ROOT = Path(reviewkit.__file__).parents[1]
EXAMPLES = ROOT / "examples"
METER = {"accuracy": "±(0.05 % + 3)", "resolution": "1 mV", "full_scale": "6 V"}
GOOD = "reference (V),shown\n3.62,3.6\n3.66,3.7\n3.91,3.9\n"


def bench(folder: Path, table: str, **more: Any) -> readout.ReadoutInputs:
    (folder / "readout.csv").write_text(table, encoding="utf-8")
    return readout.inputs(**({"voltmeter": METER, "readout_table": "readout.csv"} | more))


def test_a_sentence_lists_six_explanations_and_no_empty_one() -> None:
    """Chosen: what a reader can compare."""
    ways = [[], *([row] for row in range(2, 10))]
    assert report._told_ways(ways) == [[str(row)] for row in range(2, 8)]


def test_an_interval_is_rounded_outwards() -> None:
    """To a tenth of a millivolt: what is printed holds all that was found."""
    for number in range(60):
        low, high = 0.041 + 1.7e-5 * number, 0.063 + 1.9e-5 * number
        told = report._with_ends(Interval(Fraction(low), Fraction(high), low_open=True, high_open=False))
        first, last = (float(part.strip("([)]").split("\N{NO-BREAK SPACE}")[0]) for part in told.split(", "))
        assert low - 1.01e-4 < first <= low
        assert high <= last < high + 1.01e-4
        assert (told[0], told[-1]) == ("(", "]")


def test_candidates_about_the_best_reading_are_those_without_a_gap() -> None:
    """And one on either side, as far as there are any."""
    good = np.array([2, 3, 4, 6, 7])
    assert _stretch(good, 3, 20).tolist() == [1, 2, 3, 4, 5]
    assert _stretch(good, 7, 20).tolist() == [5, 6, 7, 8]
    assert _stretch(np.array([0, 1]), 0, 2).tolist() == [0, 1]


@pytest.mark.parametrize(
    ("rows", "exchanged"),
    [("3.6,3.62\n3.7,3.66\n3.9,3.91\n", True), ("3.62,3.6\n3.7,3.7\n3.91,3.9\n", False)],
)
def test_columns_the_wrong_way_round_are_told(tmp_path: Path, rows: str, exchanged: bool) -> None:
    """References fall on the readout's steps, displayed values do not."""
    inputs = bench(tmp_path, "reference (V),shown\n" + rows, readout_resolution_V=0.1)
    told = " ".join(fault.message for fault in readout.check(inputs, tmp_path))
    assert ("look exchanged" in told) is exchanged


def found(folder: Path, table: str, **more: Any) -> dict[str, Any]:
    result = readout.analyse(bench(folder, table, **more), folder)
    return {item.key.removeprefix("readout."): item for item in readout.findings(result)}


@pytest.mark.parametrize(
    ("table", "more", "words"),
    [
        (GOOD + "3.95,3.94\n", {"readout_resolution_V": 0.1}, ["row 5", "3.94", "multiple", "0.1 V"]),
        (GOOD + "7.2,3.9\n", {}, ["row 5", "7.2 V", "no voltage of a lithium-ion cell", "6 V"]),
        ("reference (V),shown\n3.62,3.6\n", {}, ["1 reading", "at least two"]),
        ("reference (V),shown\n", {}, ["0 readings", "at least two"]),
        ("reference (V),lamp\n3.62,3.6\n3.7,3.7\n", {}, ["shown", "'lamp'"]),
        (GOOD + "3.9x,3.9\n", {}, ["row 5", "3.9x", "number"]),
        (GOOD + "3.9,half\n", {}, ["row 5", "half", "readout_shows"]),
        (
            GOOD + "3912,3.9\n",
            {"voltmeter": {**METER, "full_scale": None}},
            ["row 5", "3912 V", "millivolts"],
        ),
        (GOOD, {"voltmeter": None}, ["voltmeter", "accurate", "uncertainty"]),
        (GOOD, {"readout_columns": {"shown": "blinks"}}, ["blinks", "'shown'"]),
        ("reference (V),shown,uncertainty\n3.6,3.6,-0.1\n3.7,3.7,0\n", {}, ["row 2", "negative"]),
    ],
)
def test_a_bad_table_is_named_with_row_and_remedy(
    tmp_path: Path, table: str, more: dict[str, Any], words: list[str]
) -> None:
    inputs = bench(tmp_path, table, **more)
    faults = readout.check(inputs, tmp_path)
    assert len(faults) == 1
    assert all(word in faults[0].message for word in words), faults[0].message
    with pytest.raises(InputError):
        readout.analyse(inputs, tmp_path)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"readout_range_V": [4.2, 3.0]}, "lower end first"),
        ({"readout_offset_bound_V": 0.08, "readout_resolution_V": 0.1}, "at most half"),
        ({"readout_columns": {"volts": "x"}}, "none of the columns"),
        ({"readout_table": "../readout.csv"}, "inside the review folder"),
        ({"readout_resolution_V": "0.1 A"}, "same kind"),
        ({"readout_resolutoin_V": 0.1}, "readout_resolution_V"),
    ],
)
def test_a_bad_parameter_is_named(values: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        readout.inputs(**values)


def test_every_fault_of_a_table_is_told_at_once(tmp_path: Path) -> None:
    inputs = bench(tmp_path, GOOD + "3.95,3.94\n3.96,3.97\n", readout_resolution_V=0.1)
    assert len(readout.check(inputs, tmp_path)) == 2


@pytest.mark.parametrize(
    ("text", "volts"),
    [
        ("3.9", "3.9"),
        ("3,9 V", "3.9"),
        ("4 blinks, pause, 2 blinks", "4.2"),
        ("3 long flashes, 10 flashes", None),
        ("1 blink, pause, 0 blinks", "1.0"),
        ("4-2", "4.2"),
        ("3 bars", None),
        ("75 %", None),
        ("half", None),
    ],
)
def test_what_is_shown_becomes_volts(text: str, volts: str | None) -> None:
    assert table.volts(text) == (None if volts is None else model.exact(volts))


def test_resolution_is_inferred_and_said_to_be(tmp_path: Path) -> None:
    result = readout.analyse(bench(tmp_path, GOOD), tmp_path)
    assert result.fit is not None
    assert float(result.fit.model.step_V) == 0.1
    assert "inferred" in repr(readout.summary(result))


def test_readings_challenge_a_declared_resolution(tmp_path: Path) -> None:
    """A device of 0.2 V declared as one of 0.1 V: its readings spread over more than one step."""
    table = "reference (V),shown\n3.52,3.6\n3.68,3.6\n3.89,3.8\n4.09,4.0\n"
    result = readout.analyse(bench(tmp_path, table, readout_resolution_V=0.1), tmp_path)
    assert "check the resolution" in repr(readout.summary(result))


def test_millivolts_in_the_heading_and_a_decimal_comma_give_the_same(tmp_path: Path) -> None:
    one = found(tmp_path, GOOD)["switching_place"]
    other = found(tmp_path, "reference (mV);shown\n3620;3,6\n3660;3,7\n3910;3,9\n")["switching_place"]
    assert (one.low, one.high) == (other.low, other.high)


def test_bars_are_reported_as_thresholds(tmp_path: Path) -> None:
    table = "reference (V),shown\n3.3,1 bar\n3.5,1 bar\n3.6,2 bars\n3.8,2 bars\n3.9,3 bars\n"
    keys = found(tmp_path, table)
    assert keys["rule"].verdict == "not tested"
    assert 3.49 < keys["threshold.1_bar_to_2_bars.low"].value < 3.5
    assert 3.6 < keys["threshold.1_bar_to_2_bars.high"].value < 3.61
    assert 3.9 < keys["threshold.2_bars_to_3_bars.high"].value < 3.91


def test_warnings_are_bracketed_and_an_overlap_is_told(tmp_path: Path) -> None:
    table = (
        "reference (V),shown,warning\n3.62,3.6,\n3.45,3.4,half\n3.52,3.5,half\n3.48,3.5,\n"
        "3.10,3.1,half + empty\n3.06,3.1,?\n"
    )
    keys = found(tmp_path, table)
    assert 3.47 < keys["warning.half.low"].value < 3.48
    assert 3.52 < keys["warning.half.high"].value < 3.53
    assert "hysteresis" in keys["warning.half.low"].note
    assert 3.44 < keys["warning.empty.high"].value < 3.46


def test_a_reference_without_the_load_is_corrected_and_said_to_be(tmp_path: Path) -> None:
    table = "reference (V),shown,load (mA)\n3.68,3.6,200\n3.72,3.7,200\n"
    plain = found(tmp_path, table)["switching_place"]
    result = readout.analyse(bench(tmp_path, table, readout_cell_ohm=0.1), tmp_path)
    place = readout.findings(result).get("readout.switching_place")
    assert place is not None
    assert isinstance(place.value, float)
    assert isinstance(plain.value, float)
    assert place.value == pytest.approx(plain.value - 0.02, abs=1e-3)
    assert result.table is not None
    assert result.table.load == "taken off"


def test_a_voltage_without_the_load_is_the_decimal_that_the_reader_would_calculate(tmp_path: Path) -> None:
    """Readings become exact fractions: a spreadsheet's last digits would lie on one side of an edge."""
    rows = "3.6800000004,3.6,210\n3.7900000004,3.7,70\n"
    taken = table.read(
        bench(tmp_path, f"reference (V),shown,load (mA)\n{rows}", readout_cell_ohm=0.1), tmp_path
    )
    assert taken is not None
    assert taken.reference_V.tolist() == [3.659, 3.783]
    # Half a step of 1 mV, and a tenth of what was taken off.
    assert taken.noise_V.tolist() == [0.0026, 0.0012]


def test_a_claim_is_judged(tmp_path: Path) -> None:
    """A nearest 0.1 V readout: ±0.1 V is kept, ±0.04 V is beyond any readout of that step.

    Three readings near the middle say nothing about a gain: kept for certain only without one.
    """

    def verdict(limit: str, gain_percent: float) -> Any:
        claims = [{"about": "readout.largest_error", "at_most": limit}]
        table, bound = "reference,shown\n3.62,3.6\n3.648,3.6\n3.652,3.7\n", gain_percent
        return found(tmp_path, table, claims=claims, readout_gain_bound_percent=bound)[
            "largest_error"
        ].verdict

    assert (verdict("0.1 V", 0.0), verdict("40 mV", 0.0)) == ("pass", "fail")
    assert (verdict("0.1 V", 4.0), verdict("40 mV", 4.0)) == ("inconclusive", "fail")


def test_a_claim_is_not_kept_by_few_readings_that_contradict_each_other(tmp_path: Path) -> None:
    """One of seven readings doubted, or one of seventeen: the same claim, the same device."""
    claims = [{"about": "readout.largest_error", "at_most": "0.15 V"}]
    rows = [f"3.{tenth}{phase},3.{tenth}" for tenth in range(1, 9) for phase in ("02", "47")]

    def verdict(*readings: str) -> Any:
        table = "\n".join(["reference (V),shown", *readings, "3.62,4.0"]) + "\n"
        return found(tmp_path, table, claims=claims, readout_gain_bound_percent=0.0)["largest_error"].verdict

    assert (verdict(*rows[:6]), verdict(*rows)) == ("inconclusive", "pass")


def test_nothing_read_is_not_tested() -> None:
    keys = readout.findings(readout.analyse(readout.inputs()))
    assert all(item.verdict == "not tested" and "readout_table" in item.note for item in keys)


def test_contradictions_everywhere_are_no_readout(tmp_path: Path) -> None:
    keys = found(tmp_path, "reference,shown\n3.62,3.6\n3.62,3.9\n3.62,4.2\n3.62,3.2\n")
    assert keys["rule"].value == "inconsistent"
    assert keys["switching_place"].verdict == "not tested"


@pytest.mark.parametrize("device", ["alder", "birch"])
def test_the_examples_tell_their_truth(device: str) -> None:
    """Rule, contradiction, intervals and warnings of the invented devices are found as they were made."""
    truth = json.loads((EXAMPLES / "truth" / f"{device}.json").read_text(encoding="utf-8"))["readout"]
    values = yaml.safe_load((EXAMPLES / device / "review.yaml").read_text(encoding="utf-8"))
    own = {name: values[name] for name in readout.ReadoutInputs.model_fields if name in values}
    keys = readout.findings(readout.analyse(readout.inputs(**own), EXAMPLES / device))

    def inside(key: str, value: float) -> bool:
        item = keys.get(f"readout.{key}")
        return item is not None and item.low is not None and item.low <= value <= (item.high or 0.0)

    rule, rows = keys.get("readout.rule"), keys.get("readout.doubtful_rows")
    assert rule is not None
    assert rows is not None
    assert rule.value == truth["rule"]
    assert rows.value == ("none" if not truth["doubtful_rows"] else f"row {truth['doubtful_rows'][0]}")
    assert inside("switching_place", truth["switching_place"])
    assert inside(f"offset_if_{truth['rule']}", truth["offset"])
    assert inside("gain", truth["gain"])
    assert inside("largest_error", truth["largest_error"])
    for name, below in truth["warnings"].items():
        low, high = (keys.get(f"readout.warning.{name}.{end}") for end in ("low", "high"))
        assert low is not None
        assert high is not None
        assert low.value <= below <= high.value


@pytest.mark.parametrize("device", ["alder", "birch"])
def test_the_charts_of_the_examples_answer_with_numbers(device: str) -> None:
    from reviewkit import figures

    values = yaml.safe_load((EXAMPLES / device / "review.yaml").read_text(encoding="utf-8"))
    own = {name: values[name] for name in readout.ReadoutInputs.model_fields if name in values}
    result = readout.analyse(readout.inputs(**own), EXAMPLES / device)
    for chart in (figures.readout_staircase, figures.readout_next, figures.readout_thresholds):
        made = chart(result)
        assert any(sign.isdigit() for sign in made.answer)
        assert len(made.table)
    empty = readout.analyse(readout.inputs())
    assert "No chart" in repr(figures.readout_staircase(empty))
