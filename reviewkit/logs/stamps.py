"""Time columns: moments, spans, times of day, plain seconds; in whatever spelling a meter uses."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo

import numpy as np
import pandas as pd

from reviewkit.logs import cells, dates, fixed, spans, thinning
from reviewkit.logs.spans import Seconds
from reviewkit.metrology import units

_EPOCH_S = (8e8, 5e9)
_LONGEST_S = 3.2e9
"""A hundred years: no log is longer, and seconds of that size still tell a millionth apart."""


@dataclass(frozen=True)
class Stamps:
    """A time column in seconds.

    Parameters
    ----------
    seconds : array of float [s]
        Since `origin` where there is one; NaN for a cell that makes no sense.
    origin : datetime or None
        Moment of second 0; None for times of day and plain spans.
    wall_clock : bool
        Whether the stamps are a local clock's: they may roll over at midnight and be changed in spring
        and autumn.
    of_day : bool
        Whether second 0 is midnight of an unknown day.
    notes : tuple of str
    """

    seconds: Seconds
    origin: datetime | None = None
    wall_clock: bool = False
    of_day: bool = False
    notes: tuple[str, ...] = ()


def read(times: pd.Series, days: pd.Series | None = None, *, unit: str = "", of_day: bool = False) -> Stamps:
    """Return a time column, or a date column and a time column, in seconds.

    Parameters
    ----------
    times : Series
        Numbers, text or moments.
    days : Series or None
        Dates, where they stand in a column of their own.
    unit : str
        Unit of plain numbers: "s", "ms", "min", "h"; "" if the heading has none.
    of_day : bool
        Whether spans are times of day.

    Raises
    ------
    ValueError
        If the spelling is not known, or leaves open what is meant; says what to do.
    """
    return _sensible(_spelled(times, days, unit=unit, of_day=of_day))


def of_moments(split: fixed.Moments) -> Stamps:
    """Return moments that are split already in seconds.

    Raises
    ------
    ValueError
        As `read` does.
    """
    return _sensible(_from_split(split))


def _sensible(found: Stamps) -> Stamps:
    if found.origin is not None and not 1 < found.origin.year < 9999:
        raise ValueError(f"the times are of the year {found.origin.year}: the meter's clock was not set")
    if (
        max(np.fmax.reduce(found.seconds, initial=0.0), -np.fmin.reduce(found.seconds, initial=0.0))
        <= _LONGEST_S
    ):
        return found
    far = np.abs(found.seconds) > _LONGEST_S
    return replace(found, seconds=np.where(far, np.nan, found.seconds))


def _spelled(times: pd.Series, days: pd.Series | None, *, unit: str, of_day: bool) -> Stamps:
    """Return the seconds that the cells say, by the kind of the column and of most of its cells."""
    if pd.api.types.is_datetime64_any_dtype(times):
        return _from_moments(times)
    if pd.api.types.is_timedelta64_dtype(times):
        seconds = spans.in_seconds(times)
        return _on_days(seconds, days) if of_day else Stamps(seconds)
    if pd.api.types.is_numeric_dtype(times) and not pd.api.types.is_bool_dtype(times):
        return _from_numbers(times.to_numpy(dtype=float, na_value=np.nan), unit)
    text = as_text(times)
    what = _usual(text)
    if what == "number":
        point = pd.to_numeric(text.str.replace(",", ".", regex=False), errors="coerce")
        return _from_numbers(point.to_numpy(dtype=float, na_value=np.nan), unit)
    if what == "clock":
        return _from_clock(text, days, unit)
    if what == "moment":
        return _from_moment_text(text)
    example = next((cell for cell in text if cell), "")
    raise ValueError(
        f"'{example[:40]}' is no time: expected such as 2025-03-01 21:05:00, 21:05:00 or seconds"
    )


def as_text(column: pd.Series) -> pd.Series:
    """Return a column as stripped text, "" for a missing cell."""
    if not isinstance(column.dtype, pd.StringDtype):
        column = column.astype("object").fillna("").astype(str)
    return column.fillna("").str.strip()


def _usual(text: pd.Series) -> str:
    sample = [cells.sort(cell) for cell in text.iloc[:200] if cell]
    return max(set(sample), key=sample.count) if sample else "empty"


def _from_moments(times: pd.Series) -> Stamps:
    zoned = times.dt.tz is not None
    if zoned:
        return _in_zone(_since_first(times.dt.tz_convert("UTC").dt.tz_localize(None)), UTC)
    return replace(_since_first(times), wall_clock=True)


def _since_first(plain: pd.Series) -> Stamps:
    """Return naive moments as seconds since the first one."""
    known = plain.dropna() if plain.hasnans else plain
    if known.empty:
        raise ValueError("no row has a time that can be read")
    origin = pd.Timestamp(known.iloc[0]).floor("D")
    return Stamps(spans.in_seconds(plain - origin), origin=origin.to_pydatetime())


def _in_zone(found: Stamps, zone: tzinfo) -> Stamps:
    """Say in which zone the origin is: such stamps are no local clock's, to be changed in spring."""
    origin = None if found.origin is None else found.origin.replace(tzinfo=zone)
    return replace(found, origin=origin, wall_clock=False)


def _from_numbers(numbers: Seconds, unit: str) -> Stamps:
    finite = np.isfinite(numbers)
    known = numbers if finite.all() else numbers[finite]
    if not len(known):
        raise ValueError("no row has a time that can be read")
    middle = float(np.median(known[thinning.rows(len(known))]))
    numbers = numbers if finite.all() else np.where(finite, numbers, np.nan)
    for scale, name in ((1.0, "seconds"), (1e3, "milliseconds")):
        if unit in ("", "s", "ms") and _EPOCH_S[0] < middle / scale < _EPOCH_S[1]:
            note = f"Times taken as {name} since 1970 (UTC)."
            found = _since_first(pd.Series(pd.to_datetime(numbers / scale, unit="s", errors="coerce")))
            return replace(_in_zone(found, UTC), notes=(note,))
    if (
        not unit
        and len(known) > 1
        and 30_000 < middle < 70_000
        and np.ptp(known) < 400
        and np.median(np.abs(np.diff(known))) < 0.05
    ):
        moments = pd.Series(pd.to_datetime(numbers, unit="D", origin="1899-12-30", errors="coerce"))
        found = _since_first(moments.dt.round("ms"))
        return replace(found, wall_clock=True, notes=("Times taken as a spreadsheet's day numbers.",))
    notes = () if unit else ("Times taken as seconds: their heading names no unit.",)
    factor = units.factor(_time_unit(unit), "s")
    return Stamps(numbers if factor == 1 else numbers * factor, notes=notes)


def _time_unit(unit: str) -> str:
    return {"": "s", "sec": "s", "secs": "s", "hr": "h", "hrs": "h", "mins": "min"}.get(unit.lower(), unit)


def _from_clock(text: pd.Series, days: pd.Series | None, unit: str) -> Stamps:
    month_first = bool(text.iloc[:200].str.contains(spans.HALF_DAY).any())
    return _on_days(spans.clock_seconds(text, unit), days, month_first=month_first)


def _on_days(seconds: Seconds, days: pd.Series | None, *, month_first: bool = False) -> Stamps:
    """Return times of day on their days, or on an unknown one."""
    if days is None:
        return Stamps(seconds, wall_clock=True, of_day=True)
    since_s, origin, notes = dates.days_passed(days, month_first=month_first)
    return Stamps(seconds + since_s, origin=origin, wall_clock=True, notes=notes)


_ISO = re.compile(r"\d{4}-\d{1,2}-\d{1,2}.*")
_ZONED = re.compile(r":\d{2}(?:[.,]\d+)?\s?(?:Z|UTC|[+\-]\d{2}:?(?:\d{2})?)$")


def _from_moment_text(text: pd.Series) -> Stamps:
    sample = text[text != ""].iloc[:200]
    point = text.str.replace(",", ".", regex=False) if sample.str.contains(r":\d+,\d").any() else text
    if sample.str.fullmatch(_ISO.pattern).all():
        return _from_iso(point, zoned=bool(sample.str.contains(_ZONED.pattern).any()))
    alike = fixed.moments(text)
    if alike is not None:
        return _from_split(alike)
    width = {len(re.split(r"[\sT]", cell)[0]) for cell in sample}
    if len(width) == 1 and text.str.slice(width.pop()).str.match(r"[\sT]|$").all():
        at = len(re.split(r"[\sT]", sample.iloc[0])[0])
        day, clock = text.str.slice(0, at), point.str.slice(at + 1)
    else:
        parts = text.str.extract(r"^(\S+?)(?:\s+|T)(.*)$")
        day, clock = parts[0].fillna(""), parts[1].fillna("").str.replace(",", ".", regex=False)
    return _from_clock(clock.str.strip(), day.str.rstrip(","), "hh:mm")


def _from_split(split: fixed.Moments) -> Stamps:
    since_s, origin, notes = dates.days_of_kinds(split.codes, split.days, month_first=split.half_day)
    return Stamps(split.seconds + since_s, origin=origin, wall_clock=True, notes=notes)


def _from_iso(text: pd.Series, *, zoned: bool) -> Stamps:
    if zoned:
        moments = pd.to_datetime(text, format="ISO8601", errors="coerce", utc=True)
        zone = pd.Timestamp(text[text != ""].iloc[0]).tzinfo or UTC
        return _in_zone(_since_first(moments.dt.tz_convert(zone).dt.tz_localize(None)), zone)
    moments = pd.to_datetime(text, format="ISO8601", errors="coerce")
    return replace(_since_first(moments), wall_clock=True)


def step(seconds: Seconds) -> float:
    """Return the step of time stamps [s]: the largest of 1, 0.1, 0.01 and 0.001 that all are multiples of."""
    sample = seconds[:20_000]
    sample = sample[np.isfinite(sample)]
    for size in (1.0, 0.1, 0.01, 0.001):
        if np.all(np.abs(sample / size - np.round(sample / size)) < 1e-6 / size):
            return size
    return 0.0
