"""Whole reviews at random that `check` passes: nothing but the kit's own word about the input stops them.

`tests/fuzz/whole_reviews.py` tries as many as one likes; here are few, and mended failures by their cause.
"""

from __future__ import annotations

import warnings

import faults
import pytest
from fuzz import as_notebooks, whole_reviews

SEED, SAMPLE = 1, range(40, 100)


def test_a_sample_of_changed_reviews_ends_in_nothing_but_words_about_the_input(record_property):
    """Sixty inputs, most of which pass `check`; one that fails is told with its number, to be run again."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        tally = whole_reviews.batch(SEED, SAMPLE)
    record_property("figure", f"{tally.passed} of {len(SAMPLE)} random reviews passed check and were run")
    failed = {name: number for name, number in tally.first.items() if not name.startswith("refused")}
    assert not failed
    assert tally.passed >= len(SAMPLE) // 3


def test_the_fuzzer_notices_a_number_that_is_none():
    """A section that says 'nan' is a failure: the sample above can fail."""
    with pytest.raises(as_notebooks.NotAsItMust, match="nan"):
        as_notebooks._hold_words("readout", "text/plain", "an offset of nan V")


def good(tmp_path, *, old="", new="", **tables):
    folder = faults.write(tmp_path / "hazel")
    review = folder / "review.yaml"
    text = review.read_text(encoding="utf-8")
    assert old in text
    review.write_text(text.replace(old, new), encoding="utf-8")
    for name, rows in tables.items():
        (folder / f"{name}.csv").write_text(rows, encoding="utf-8")
    return [fault.message for fault in as_notebooks.check(folder)]


def test_check_knows_a_claim_about_a_state_that_nobody_measured(tmp_path):
    """The summary refused it after all sections had run."""
    old, new = "{about: readout.largest_error, at_most: 0.1 V}", "{about: drain.standyb.mean, at_most: 1 mA}"
    (fault,) = good(tmp_path, old=old, new=new)
    assert "'drain.standyb.mean'" in fault
    assert "Did you mean 'drain.standby.mean'?" in fault


def test_check_knows_a_step_that_no_readout_has(tmp_path):
    """The section refused it after `check` had passed it: the displayed values tell the step."""
    rows = "reference (V),shown\n3.605,3.6\n3.557,3.6000001\n4.172,4.2\n"
    (fault,) = good(
        tmp_path, old="readout_resolution_V: 0.1", new="readout_gain_bound_percent: 4", readout=rows
    )
    assert "multiples of 1e-07 V" in fault


def test_check_knows_a_range_too_short_for_the_step(tmp_path):
    """The same for a working range of less than two steps."""
    new = "readout_resolution_V: 0.1\nreadout_range_V: [3.5, 3.65]"
    (fault,) = good(tmp_path, old="readout_resolution_V: 0.1", new=new)
    assert "less than two steps" in fault
