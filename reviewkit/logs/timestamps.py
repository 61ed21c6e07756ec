"""Time columns: moments, spans, times of day, plain numbers; in whatever spelling a meter uses."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from reviewkit.logs import cells, decimation
from reviewkit.logs.cells import DAY_S, Seconds
from reviewkit.metrology import units
from reviewkit.tables import headers

arrow: Any = pa
compute: Any = pc
_EPOCH_S = (8e8, 5e9)
"""Seconds since 1970 between the years 1995 and 2128 (chosen: no logger's clock is set outside)."""
_EPOCH_UNITS = (
    (1.0, "s", "seconds"),
    (1e3, "ms", "milliseconds"),
    (1e6, "us", "microseconds"),
    (1e9, "ns", "nanoseconds"),
)
_LONGEST_S = 3.2e9
"""A hundred years: no log is longer, and seconds of that size still tell a millionth apart."""
NO_UNIT = "Times taken as seconds: their heading names no unit."
_STEP_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0, "d": DAY_S}
_SECONDS_ROW_S = (0.005, 300.0)
"""Usual time between rows that a log without a unit may have to be taken as seconds (chosen: meters log from
a hundred times a second to once in five minutes; beyond, the numbers are of another unit)."""
_HABITS_S = (90.0, 120.0, 150.0, 180.0, 240.0, 300.0)
"""Of the slow intervals those that loggers offer in seconds (common practice, no source): 100, 200, 250 or
500 from row to row are milliseconds more often."""
_LONGEST_LOG_S = 60 * DAY_S
_USUAL_LOG_S = 3 * 3600.0


class UnitAsked(ValueError):
    """It can't be told in what unit times count; `proposed` is the likely one, "" where there is none."""

    def __init__(self, problem: str, proposed: str) -> None:
        super().__init__(problem)
        self.proposed = proposed


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
    step_s : float [s]
        Step of the spelling: what the last digit of a stamp counts.
    """

    seconds: Seconds
    origin: datetime | None = None
    wall_clock: bool = False
    of_day: bool = False
    step_s: float = 0.0
    notes: tuple[str, ...] = ()


def read(times: Any, days: Any = None, *, unit: str = "", since: bool = False) -> Stamps:
    """Return a time column, or a date column and a time column, in seconds.

    Parameters
    ----------
    times : pyarrow.Array of str, or Series of numbers, moments or spans
    days : the same or None
        Dates, where they stand in a column of their own.
    unit : str
        Unit of plain numbers: "s", "ms", "min", "h"; or a clock's pattern; "" if nothing says so.
    since : bool
        Whether the heading says that times count from the start of the log.

    Raises
    ------
    UnitAsked
        If the numbers can't be seconds and no unit is known.
    ValueError
        If the spelling is not known, or leaves open what is meant; says what to do.
    """
    found = _spelled(times, days, unit=unit)
    if found.of_day and (since or _starts_at_zero(found.seconds)):
        first = float(found.seconds[np.isfinite(found.seconds)][:1].sum())
        found = replace(found, seconds=found.seconds - first, of_day=False, wall_clock=False)
    if found.origin is not None and not 1 < found.origin.year < 9999:
        raise ValueError(f"the times are of the year {found.origin.year}: the meter's clock was not set")
    far = np.abs(found.seconds) > _LONGEST_S
    return replace(found, seconds=np.where(far, np.nan, found.seconds)) if far.any() else found


def _starts_at_zero(seconds: Seconds) -> bool:
    known = seconds[np.isfinite(seconds)]
    return bool(len(known)) and 0 <= known[0] < 2


def _spelled(times: Any, days: Any, *, unit: str) -> Stamps:
    """Return the seconds that the cells say, by the kind of the column and of most of its cells."""
    if isinstance(times, pd.Series):
        return _typed(times, unit)
    if any(re.search(cells.ZONE_NAME, cell) for cell in times[:20].to_pylist()):
        times = compute.replace_substring_regex(times, cells.ZONE_NAME, "")
    what = usual(times)
    if what == "number" and not unit and (clock := _compact_clock(times, dated=days is not None)) is not None:
        return _on_days(clock, days, unit)
    if what == "number":
        return _from_numbers(_numbers(times), unit, digits=_digits(times))
    if what == "clock":
        return _on_days(times, days, unit)
    if what == "moment":
        return _from_moment_text(times)
    if what == "day":
        return _from_moment_text(compute.binary_join_element_wise(times, "00:00", " "))
    example = next((cell for cell in times[:200].to_pylist() if cell), "")
    raise ValueError(
        f"'{example[:40]}' is no time: expected such as 2025-03-01 21:05:00, 21:05:00 or seconds"
    )


def _compact_clock(times: Any, *, dated: bool) -> Any:
    """Return six digits as times of day, None where they may be a count.

    They are a clock beside a column of dates, with a nought in front, or where they are even as a clock only:
    225950, 230000.
    """
    sample = [cell for cell in times.to_pylist() if cell]
    if not sample or not all(map(cells.COMPACT_CLOCK.fullmatch, sample)):
        return None
    spelled = compute.replace_substring_regex(times, rf"^{cells.COMPACT_CLOCK.pattern}$", r"\1:\2:\3\4")
    if dated or any(cell.startswith("0") for cell in sample):
        return spelled
    as_clock, as_count = (np.diff(values) for values in (cells.read(spelled).seconds, _numbers(times)))
    return spelled if np.ptp(as_clock % DAY_S) < 0.5 * np.ptp(as_count) else None


def _typed(times: pd.Series, unit: str) -> Stamps:
    """Return times that the file keeps as such, or as numbers."""
    if pd.api.types.is_datetime64_any_dtype(times):
        return _from_moments(times)
    if pd.api.types.is_timedelta64_dtype(times):
        return Stamps(cells.in_seconds(times))
    return _from_numbers(times.to_numpy(dtype=float, na_value=np.nan), unit, digits=0)


def as_text(column: Any) -> Any:
    """Return a column as an arrow array of stripped text, "" for a missing cell."""
    if isinstance(column, pd.Series):
        column = arrow.array(
            column.astype("object").where(column.notna(), "").astype(str).str.strip().to_list(),
            arrow.string(),
        )
    return column


def usual(text: Any) -> str:
    """Return what most cells of a column are."""
    sample = Counter(cells.sort(cell) for cell in text[:200].to_pylist() if cell)
    return sample.most_common(1)[0][0] if sample else "empty"


def _numbers(text: Any) -> Seconds:
    try:
        return np.asarray(compute.cast(text, arrow.float64()).to_numpy(zero_copy_only=False))
    except arrow.ArrowInvalid:
        # A unit behind the number, and blanks between thousands.
        bare = compute.replace_substring_regex(text, r"\s*[a-zµ]+$|(?:\s|'|’)", "")
        point = compute.replace_substring(bare, ",", ".").to_pandas()
        return np.asarray(pd.to_numeric(point, errors="coerce").to_numpy(dtype=float, na_value=np.nan))


def _digits(text: Any) -> int:
    shown = [re.search(r"[.,](\d+)", cell) for cell in text[:500].to_pylist()]
    return max((len(found[1]) for found in shown if found), default=0)


def _from_moments(times: pd.Series) -> Stamps:
    if times.dt.tz is not None:
        return _in_zone(_since_first(times.dt.tz_convert("UTC").dt.tz_localize(None)), UTC)
    return replace(_since_first(times), wall_clock=True)


def _since_first(plain: pd.Series) -> Stamps:
    """Return naive moments as seconds since the first one's midnight."""
    known = plain.dropna() if plain.hasnans else plain
    if known.empty:
        raise ValueError("no row has a time that can be read")
    origin = pd.Timestamp(known.iloc[0]).floor("D")
    return Stamps(cells.in_seconds(plain - origin), origin=origin.to_pydatetime())


def _in_zone(found: Stamps, zone: tzinfo) -> Stamps:
    """Say in which zone the origin is: such stamps are no local clock's, to be changed in spring."""
    origin = None if found.origin is None else found.origin.replace(tzinfo=zone)
    return replace(found, origin=origin, wall_clock=False)


def _from_numbers(numbers: Seconds, unit: str, *, digits: int) -> Stamps:
    known = numbers[np.isfinite(numbers)]
    if not len(known):
        raise ValueError("no row has a time that can be read")
    middle = float(np.median(known[decimation.rows(len(known))]))
    step = 10.0**-digits
    for scale, own, name in _EPOCH_UNITS:
        if unit in ("", own) and _is_epoch(known / scale):
            note = f"Times taken as {name} since 1970 (UTC)."
            found = _since_first(pd.Series(pd.to_datetime(numbers / scale, unit="s", errors="coerce")))
            return replace(_in_zone(found, UTC), step_s=step / scale, notes=(note,))
    if not unit and _is_day_numbers(known, middle):
        moments = pd.Series(pd.to_datetime(numbers, unit="D", origin="1899-12-30", errors="coerce"))
        found = _since_first(moments.dt.round("ms"))
        return replace(found, wall_clock=True, notes=("Times taken as a spreadsheet's day numbers.",))
    if not unit:
        _check_seconds(known)
        return Stamps(numbers, step_s=step, notes=(NO_UNIT,))
    if headers.is_clock(unit):
        raise ValueError(f"'{known[0]:g}' is a number: expected a clock such as {unit}")
    many, of = cells.multiple(unit)
    factor = many * (_STEP_S.get(headers.unit(of) or of) or units.factor(of, "s"))
    return Stamps(numbers if factor == 1 else numbers * factor, step_s=step * factor)


def _is_epoch(seconds: Seconds) -> bool:
    """Whether nearly all are moments since 1970, and of one log."""
    inside = seconds[(seconds > _EPOCH_S[0]) & (seconds < _EPOCH_S[1])]
    return len(inside) > 0.9 * len(seconds) and float(np.ptp(inside)) < _LONGEST_LOG_S


def _is_day_numbers(known: Seconds, middle: float) -> bool:
    return bool(
        len(known) > 1
        and 30_000 < middle < 70_000
        and np.ptp(known) < 400
        and np.median(np.abs(np.diff(known))) < 0.05
    )


def _check_seconds(known: Seconds) -> None:
    """Refuse numbers without a unit that are no seconds by their steps.

    Raises
    ------
    UnitAsked
    """
    steps = np.abs(np.diff(known[:20_000]))
    steps = steps[steps > 0]
    if not len(steps):
        return
    usual_s, length_s = float(np.median(steps)), float(np.ptp(known))
    low, high = _SECONDS_ROW_S
    odd = usual_s > _HABITS_S[0] and min(abs(usual_s / habit - 1) for habit in _HABITS_S) > 0.02
    divided = (
        usual_s < 1 and not _is_decimal(steps) and any(_is_even(usual_s * scale) for scale in (60.0, 3600.0))
    )
    if low <= usual_s <= high and length_s <= _LONGEST_LOG_S and not odd and not divided:
        return
    fits = likely_units(usual_s, length_s)
    told = " or ".join(f"{unit} ({usual_s * _STEP_S[unit]:.3g} s)" for unit in fits) or "none"
    raise UnitAsked(
        f"the times rise by {usual_s:.4g} from row to row and no unit is given; a log's would be {told}",
        fits[0] if fits else "",
    )


def likely_units(step: float, length: float) -> list[str]:
    """Return the units in which times would be those of a log, the likeliest first.

    Parameters
    ----------
    step, length : float
        From row to row, and from first to last, as they are written.

    Notes
    -----
    The likeliest is the one in which the log is nearest to some hours long, as a charge or a drain is.
    """
    low, high = _SECONDS_ROW_S
    fits = [
        unit
        for unit, scale in _STEP_S.items()
        if low <= step * scale <= high and length * scale <= _LONGEST_LOG_S
    ]
    away = {unit: abs(np.log(max(length, 1e-12) * _STEP_S[unit] / _USUAL_LOG_S)) for unit in fits}
    return sorted(fits, key=lambda unit: (unit == "d", away[unit]))


def _is_even(interval_s: float) -> bool:
    """Whether an interval is one of whole tenths of seconds."""
    return interval_s >= 0.1 and abs(interval_s - round(interval_s, 1)) < 2e-3 * interval_s


def _is_decimal(steps: Seconds) -> bool:
    """Whether steps are multiples of a thousandth, as seconds that a meter counts."""
    rest = np.abs(steps / 1e-3 - np.round(steps / 1e-3))
    return bool(np.mean(rest < 0.02) > 0.9)


def _on_days(text: Any, days: Any, pattern: str) -> Stamps:
    """Return times of day on their days, or on an unknown one."""
    quick = cells.plain(text)
    if quick is not None:
        seconds, step_s = quick
    else:
        clock = cells.read(text, pattern if headers.is_clock(pattern) else "")
        seconds, step_s = clock.seconds, clock.step_s
    if days is None:
        return Stamps(seconds, wall_clock=True, of_day=True, step_s=step_s)
    return _dated(seconds, as_text(days), step_s, month_first=_half_days(text))


def _dated(seconds: Seconds, days: Any, step_s: float, *, month_first: bool) -> Stamps:
    coded = compute.dictionary_encode(days)
    kinds = coded.dictionary.to_pylist()
    codes = coded.indices.to_numpy(zero_copy_only=False)
    since_s, origin, notes = cells.days_passed(codes, kinds, month_first=month_first)
    return Stamps(seconds + since_s, origin=origin, wall_clock=True, step_s=step_s, notes=notes)


def _half_days(text: Any) -> bool:
    return any(re.search(r"[AaPp][Mm]$", cell) for cell in text[:200].to_pylist())


_ISO = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}:\d{2}(?:\.\d{1,6})?")
_FIXED = re.compile(r"\d{1,4}[./\-]\d{1,2}[./\-]\d{1,4}(?= \d{2}:\d{2}:\d{2}(?:\.\d{1,6})?$)")
_DAY_US = 86_400_000_000
_COMPACT = re.compile(r"(\d{8})[T _\-]?(\d{2})(\d{2})(\d{2})((?:[.,]\d+)?)Z?")


def _from_moment_text(text: Any) -> Stamps:
    first = next((cell for cell in text[:200].to_pylist() if cells.sort(cell) == "moment"), "")
    if _ISO.fullmatch(first) and (quick := _iso(text, first)) is not None:
        return quick
    day = _FIXED.match(first)
    if day and (split := _fixed(text, day.end())) is not None:
        return split
    if _COMPACT.fullmatch(first):
        text = compute.replace_substring_regex(text, rf"^{_COMPACT.pattern}$", r"\1 \2:\3:\4\5")
    clock = cells.read(text)
    if any(clock.zone[:200].to_pylist()):
        return _zoned(clock)
    return _dated(clock.seconds, clock.around, clock.step_s, month_first=_half_days(text))


def _iso(text: Any, first: str) -> Stamps | None:
    try:
        moments = compute.cast(text, arrow.timestamp("us"))
    except arrow.ArrowInvalid:
        return None
    whole = moments.to_numpy(zero_copy_only=False).astype(np.int64)
    day_us = int(whole[0]) // _DAY_US * _DAY_US
    digits = len(first.partition(".")[2])
    origin = pd.Timestamp(day_us, unit="us").to_pydatetime()
    return Stamps((whole - day_us) / 1e6, origin=origin, wall_clock=True, step_s=10.0**-digits)


def _fixed(text: Any, width: int) -> Stamps | None:
    """Return moments whose date is of one width and whose time is plain, as most loggers write them."""
    lengths = compute.min_max(compute.binary_length(text)).as_py()
    if lengths["min"] != lengths["max"]:
        return None
    quick = cells.plain(compute.utf8_slice_codeunits(text, width + 1))
    if quick is None:
        return None
    return _dated(quick[0], compute.utf8_slice_codeunits(text, 0, width), quick[1], month_first=False)


def _zoned(clock: cells.Clock) -> Stamps:
    """Return moments with their offset from universal time: no clock change can touch them."""
    coded = compute.dictionary_encode(compute.fill_null(clock.zone, ""))
    offsets = np.array([_offset_s(zone) for zone in coded.dictionary.to_pylist()])
    codes = coded.indices.to_numpy(zero_copy_only=False)
    found = _dated(clock.seconds, clock.around, clock.step_s, month_first=False)
    zones = (
        pd.Timestamp(f"2025-01-01T00:00:00{_spelled_zone(coded.dictionary.to_pylist()[codes[0]])}").tzinfo
        or UTC
    )
    seconds = found.seconds - offsets[codes] + offsets[codes[0]]
    return _in_zone(replace(found, seconds=seconds), zones)


def _spelled_zone(zone: str) -> str:
    if zone in ("", "Z", "UTC", "GMT"):
        return "+00:00"
    digits = re.sub(r"\D", "", zone).ljust(4, "0")
    return f"{zone[0]}{digits[:2]}:{digits[2:]}"


def _offset_s(zone: str) -> float:
    spelled = _spelled_zone(zone)
    size = int(spelled[1:3]) * 3600.0 + int(spelled[4:6]) * 60
    return -size if spelled[0] == "-" else size


def step(seconds: Seconds) -> float:
    """Return the step of time stamps [s]: the largest of 1, 0.1 … that all are multiples of; 0 if none is."""
    sample = seconds[:20_000]
    sample = sample[np.isfinite(sample)]
    for size in (1.0, 0.1, 0.01, 0.001):
        if np.all(np.abs(sample / size - np.round(sample / size)) < 1e-6 / size):
            return size
    return 0.0
