"""Sentences say no more than a bench can know: what has no exception is held to cases that would be one."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from reviewkit import drain, readout
from reviewkit.findings import sentences

WORDS = Path(__file__).resolve().parents[1] / "templates" / "words"
TOO_MUCH = re.compile(
    r"\b(exact\w*|never|always|no current|impossible|guarantee\w*|prove[ns]?)\b", re.IGNORECASE
)
MEANT = (
    "so never touch it across the cell",  # an order
    "As the table has it, the device drew no current",
    "should get no current (common practice)",
    "No current that the meter can tell from none",
    "no current that the meter can tell from none",
    "charging never ends",  # a hazard's name, which the review file may use
)
"""Where such a word is an order, a name, or says whose word it is."""


@pytest.mark.parametrize("path", sorted(WORDS.glob("*.j2")), ids=lambda path: path.stem)
def test_no_sentence_claims_what_has_no_exception(path: Path) -> None:
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    for words in MEANT:
        text = text.replace(words, "")
    assert [found[0] for found in TOO_MUCH.finditer(text)] == []


def _read(folder: Path, rows: str) -> str:
    (folder / "readout.csv").write_text(f"reference (V),shown,load (mA)\n{rows}", encoding="utf-8")
    meter = {"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}
    bench = readout.inputs(voltmeter=meter, readout_table="readout.csv", readout_resolution_V=0.1)
    return repr(readout.summary(readout.analyse(bench, folder)))


def test_a_load_that_nobody_noted_is_not_said_to_be_none(tmp_path: Path) -> None:
    assert "doesn’t say whether the device drew current" in _read(tmp_path, "3.62,3.6,\n3.72,3.7,\n")
    assert "doesn’t say whether the device drew current" in _read(tmp_path, "3.62,3.6,0\n3.72,3.7,\n")
    assert "the device drew no current" in _read(tmp_path, "3.62,3.6,0\n3.72,3.7,0\n")


def test_a_gain_that_the_readings_leave_open_is_not_said_to_be_kept_inside_its_bound(tmp_path: Path) -> None:
    told = _read(tmp_path, "3.70,3.7,\n3.74,3.7,\n3.76,3.8,\n")
    assert "keep it inside" not in told
    assert "lean on the bound" in told


@pytest.mark.parametrize(
    ("mean", "says"),
    [
        ("100.0 uA", "times the quickest"),
        ("65.0 uA", "about what"),
        ("40.0 uA", "about what"),
        ("20.0 uA", "less than"),
    ],
)
def test_a_drain_is_set_beside_the_cells_own_loss_by_its_whole_interval(mean: str, says: str) -> None:
    """1 % to 3 % a month of 1.6 Ah are 21.9 µA to 65.7 µA; ±(0.5 % + 10) of 0.1 µA leave about ±1.3 µA."""
    meter = {"accuracy": "±(0.5 % + 10)", "resolution": "0.1 uA", "full_scale": "600 uA"}
    bench = drain.inputs(
        cell={"rated_capacity_Ah": 1.6},
        drain_ammeter=meter,
        drain_states=[{"name": "off", "reading_A": mean}],
    )
    assert says in str(drain.advice(drain.analyse(bench)))


def test_a_charge_that_ran_to_the_end_of_its_log_is_not_said_to_run_for_ever() -> None:
    told = sentences.of("charge")("never_cut_off")
    assert "as long as the log lasted" in told


def test_a_cable_that_nobody_noted_is_not_said_to_be_in() -> None:
    say = sentences.of("charge")
    assert "with the cable still in" in say("after", sign=-1, declared=True)
    assert "with the cable still in" not in say("after", sign=-1, declared=False)
