"""Times without a date, "hh:mm:ss" with its many variants, in seconds."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

Seconds = npt.NDArray[np.float64]
DAY_S = 86_400.0
_PER_S = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
HALF_DAY = r"\s*[AaPp]\.?[Mm]\.?$"


def clock_seconds(text: pd.Series, unit: str) -> Seconds:
    """Return "hh:mm:ss" with its many variants in seconds."""
    point = text.str.replace(",", ".", regex=False)
    if point.iloc[:200].str.contains(HALF_DAY).any():
        return _half_day_seconds(point)
    if point.iloc[:200].str.contains("d").any():
        spans = point.str.replace(r"\s*d(?:ays?)?\.?\s*", " days ", regex=True)
        return _span_seconds(spans)
    two = point.iloc[:200].str.count(":").max() == 1
    if two:
        return _span_seconds(_with_third_part(point, unit))
    return _span_seconds(point)


def _with_third_part(text: pd.Series, unit: str) -> pd.Series:
    first = text.iloc[:200]
    if first.str.contains(".", regex=False).any() or unit == "mm:ss":
        return "0:" + text
    if unit == "hh:mm":
        return text + ":00"
    raise ValueError(
        f"'{first.iloc[0]}' may be hours and minutes or minutes and seconds: "
        "head the column 'Time (hh:mm)' or 'Time (mm:ss)'"
    )


def _span_seconds(text: pd.Series) -> Seconds:
    """Return "hh:mm:ss" in seconds: spans of a day or more the slow way."""
    moments = pd.Series(pd.to_datetime("1970-01-01T" + text, format="ISO8601", errors="coerce", utc=True))
    seconds = np.array(in_seconds(moments - pd.Timestamp(0, tz="UTC")))
    left = np.flatnonzero(np.isnan(seconds) & text.str.contains(":", regex=False).to_numpy(dtype=bool))
    if len(left):
        spelled = text.iloc[left].astype("object").str.replace(r"\s*d(?:ays?)?\b\.?\s*", " days ", regex=True)
        seconds[left] = in_seconds(pd.Series(pd.to_timedelta(spelled, errors="coerce")))
    return seconds


def in_seconds(spans: Any) -> Seconds:
    """Return a Series of spans as numbers of seconds, NaN where there is none."""
    plain = spans.to_numpy()
    seconds = plain.view(np.int64) / _PER_S[np.datetime_data(plain.dtype)[0]]
    missing = np.isnat(plain)
    if missing.any():
        seconds[missing] = np.nan
    return np.asarray(seconds)


def _half_day_seconds(text: pd.Series) -> Seconds:
    afternoon = text.str.contains(r"[Pp]\.?[Mm]\.?$").to_numpy(dtype=bool)
    seconds = _span_seconds(text.str.replace(HALF_DAY, "", regex=True))
    return np.asarray(np.where(seconds >= DAY_S / 2, seconds - DAY_S / 2, seconds) + afternoon * (DAY_S / 2))
