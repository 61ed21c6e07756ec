"""Intervals of whole simulated reviews hold the truth as often as they say: a part of the stored study."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).resolve().parent / "benchmarks"))

import coverage_table
import honest_intervals
import worked
from coverage_table import Outcome

ROOT = Path(__file__).resolve().parents[1]
REVIEWS, SEED = 60, 7000
LEAST_SHARE = 0.94
CHANCE = 1e-4
"""Of a finding whose intervals hold in 94 % of all cases to fall below the least number."""

STUDY = json.loads(honest_intervals.STORED.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def rows() -> list[dict]:
    processes = honest_intervals.run(REVIEWS, SEED, 2)
    return coverage_table.rows(one for each in processes for one in each)


def fewest(given: int) -> int:
    """The least number of intervals that hold, of so many, at a true share of 94 %."""
    return int(binom.ppf(CHANCE, given, LEAST_SHARE))


def test_the_bound_would_tell_intervals_that_hold_too_seldom() -> None:
    """At a true share of 75 % a finding given 60 times falls below the bound three times in four."""
    assert fewest(60) >= 48
    assert binom.cdf(fewest(60) - 1, 60, 0.75) > 0.7
    assert binom.cdf(fewest(60) - 1, 60, LEAST_SHARE) < CHANCE


def test_every_finding_holds_the_truth_as_often_as_it_says(rows: list[dict]) -> None:
    short = [
        (row["finding"], row["held"], row["given"]) for row in rows if row["held"] < fewest(row["given"])
    ]
    assert short == []


def test_exact_bounds_always_hold(rows: list[dict]) -> None:
    bounds = [row for row in rows if row["kind"] == "bound"]
    assert {"readout.switching_place", "readout.gain", "readout.largest_error"} <= {
        row["finding"] for row in bounds
    }
    assert [row["finding"] for row in bounds if row["held"] < row["given"]] == []


def test_no_interval_is_much_wider_than_the_meters_force(rows: list[dict]) -> None:
    """The stored study says how wide each is; 60 reviews must not be far from that."""
    stored = {row["finding"]: row for row in STUDY["rows"]}
    wide = [
        (row["finding"], row["width"], stored[row["finding"]]["width"])
        for row in rows
        if row["width"] is not None and row["given"] >= REVIEWS / 2
        if row["width"] > 1.25 * stored[row["finding"]]["width"] + 0.1
    ]
    assert wide == []


def test_intervals_half_as_wide_would_be_told() -> None:
    """A lone rectangular error is within half of its interval in half of the cases."""
    outcomes = [Outcome("charge.x", seed, "given", seed % 2 == 0, 0.0, 1.0, 1.0) for seed in range(60)]
    (row,) = coverage_table.rows(outcomes)
    assert (row["held"], row["given"], row["held_percent"]) == (30, 60, 50.0)
    assert row["held"] < fewest(60)


def test_the_notebook_shows_the_stored_study() -> None:
    shown = worked.honest_intervals(ROOT / "tests" / "published")
    assert (shown.reviews, shown.seed) == (STUDY["reviews"], STUDY["seed"])
    html = shown._repr_mimebundle_()["text/html"]
    assert html.count("<tr>") == len(STUDY["rows"]) + 1
    assert STUDY["command"] in html


def test_every_row_of_the_stored_study_says_what_forces_its_floor() -> None:
    assert [row["finding"] for row in STUDY["rows"] if row["width"] is not None and not row["floor"]] == []
