"""Tables of readings: their text is pandas' own, however long they are; packing loses nothing."""

from __future__ import annotations

import base64
import gzip

import numpy as np
import pandas as pd
import pytest

from reviewkit.findings import displays
from reviewkit.findings.displays import DATASET_MIME, PACKED, Dataset
from reviewkit.privacy import images


def _by_pandas(frame: pd.DataFrame) -> str:
    text: str = frame.to_csv(index=False, float_format="%.9g", lineterminator="\n")
    return text


def _table(seed: int) -> pd.DataFrame:
    """Return numbers of all sizes, some missing, in one to three columns of no to forty rows."""
    rng = np.random.default_rng(seed)
    rows = int(rng.integers(0, 40))
    columns = {}
    for place in range(int(rng.integers(1, 4))):
        numbers = rng.choice([-1.0, 0.0, 1.0, rng.random()], rows) * 10.0 ** rng.integers(-12, 12, rows)
        columns[f"c{place}, with a comma"] = np.where(rng.random(rows) < 0.3, np.nan, numbers)
    frame = pd.DataFrame(columns)
    if seed % 3 == 0:
        frame["count"] = np.arange(rows)
    return frame


@pytest.mark.parametrize("seed", range(60))
def test_the_text_is_the_one_that_pandas_writes(seed: int) -> None:
    frame = _table(seed)
    assert Dataset("a", "a", frame, {}).csv() == _by_pandas(frame)


def test_a_long_log_with_few_different_readings_is_written_row_for_row() -> None:
    rng = np.random.default_rng(5)
    time = np.arange(250_001) * 0.1
    volts = pd.Series(np.round(3.7 + 0.1 * rng.standard_normal(len(time)), 3), index=time)
    volts.iloc[rng.integers(0, len(time), 300)] = np.nan
    amps = pd.Series(np.full(1000, 0.8), index=time[::250][:1000] + 0.03)
    made = displays.merged(name="long", title="long", voltage_V=volts, current_A=amps)
    assert made.csv() == _by_pandas(made.frame)


def test_nothing_and_nothing_below_zero_are_told_apart() -> None:
    frame = pd.DataFrame(
        {"a": [0.0, -0.0, 1.0, -0.0, 0.0] * 40, "b": np.float32([0.1, -0.0, 0, 1e-9, 7] * 40)}
    )
    assert Dataset("a", "a", frame, {}).csv() == _by_pandas(frame)


def test_a_packed_table_comes_out_as_it_went_in() -> None:
    made = Dataset("a", "a", _table(3), {})
    packed = made._repr_mimebundle_()[DATASET_MIME][PACKED]
    assert displays.unpacked(packed) == made.csv()


def test_only_the_headings_of_a_packed_table_of_numbers_can_hold_anything_private() -> None:
    text = "/home/ann/a, V\n1,2\n-1.5e-07,\n"
    packed = base64.b64encode(gzip.compress(text.encode(), mtime=0)).decode()
    cleaned = images.packed(packed, lambda part: part.replace("/home/ann/", "").replace("1", "x"))
    assert displays.unpacked(cleaned) == "a, V\n1,2\n-1.5e-07,\n"


def test_a_packed_table_with_words_is_cleaned_everywhere() -> None:
    text = "what\n1\nseen by ann\n"
    packed = base64.b64encode(gzip.compress(text.encode(), mtime=0)).decode()
    cleaned = images.packed(packed, lambda part: part.replace("ann", "…"))
    assert displays.unpacked(cleaned) == "what\n1\nseen by …\n"
