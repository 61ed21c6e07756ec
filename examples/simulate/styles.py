"""How an invented meter writes its log: headings, delimiter, decimal mark, spelling of time, marks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

import numpy as np

from simulate.meters import LoggingMeter, Readings

Spelling = Literal["seconds", "span", "time of day", "moment", "date and time"]
_SCALE = {"V": 1.0, "mV": 1e-3, "A": 1.0, "mA": 1e-3, "°C": 1.0}


@dataclass(frozen=True)
class Style:
    """A way of writing a log. All styles are made up.

    Parameters
    ----------
    time_heading, value_heading : str
        `value_heading` may hold ``{unit}``.
    preamble : tuple of str
        Lines above the headings; may hold ``{started}``.
    spelling : str
        How a time stamp is written.
    time_decimals : int
    unit_heading : str
        Heading of a column of units; empty: the unit stands in the value's heading.
    other_unit : str
        Unit in which an autoranging meter writes its lower range.
    """

    time_heading: str = "Time (s)"
    value_heading: str = "Voltage ({unit})"
    preamble: tuple[str, ...] = ()
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    line_end: str = "\n"
    spelling: Spelling = "seconds"
    time_decimals: int = 1
    unit_heading: str = ""
    other_unit: str = ""
    overload: str = "OL"

    @property
    def counts_from_its_start(self) -> bool:
        """Whether stamps count from the log's own start, not from a wall clock."""
        return self.spelling in ("seconds", "span")


STYLES: dict[str, Style] = {
    "plain": Style(),
    "plain current": Style(value_heading="Current ({unit})"),
    "comments": Style(
        time_heading="Elapsed [s]",
        value_heading="Reading [{unit}]",
        preamble=("# bench logger, invented", "# started: {started}", "# filter: off"),
        time_decimals=2,
        overload="----",
    ),
    "semicolon": Style(
        time_heading="Zeit",
        value_heading="Strom ({unit})",
        delimiter=";",
        decimal=",",
        encoding="cp1252",
        line_end="\r\n",
        spelling="time of day",
        time_decimals=0,
        overload="OL",
    ),
    "tabs": Style(
        time_heading="Timestamp",
        value_heading="Value / {unit}",
        delimiter="\t",
        encoding="utf-16",
        spelling="moment",
        time_decimals=0,
    ),
    "ranges": Style(
        time_heading="Clock",
        value_heading="Display",
        unit_heading="Unit",
        preamble=("Record of the autoranging meter;;", "Begun;{started};"),
        delimiter=";",
        spelling="time of day",
        time_decimals=0,
        overload="OVER",
    ),
    "spans": Style(
        time_heading="Elapsed time",
        value_heading="{unit}",
        delimiter="|",
        spelling="span",
        time_decimals=1,
        overload="inf",
    ),
    "dated": Style(
        time_heading="Date,Time",
        value_heading="Reading_{unit}",
        encoding="utf-8-sig",
        line_end="\r\n",
        spelling="date and time",
        time_decimals=0,
        overload="OL",
    ),
}


def write(
    path: Path,
    style: Style,
    readings: Readings,
    meter: LoggingMeter,
    *,
    unit: str,
    started: datetime,
) -> None:
    """Write a log.

    Parameters
    ----------
    path : Path
    style : Style
    readings : Readings
    meter : LoggingMeter
        For the digits of its display.
    unit : {"V", "mV", "A", "mA", "°C"}
        In which it writes; readings are in V, A or °C.
    started : datetime
        True time at which the bench began.
    """
    values = _values(style, readings, meter, unit)
    headings = [style.value_heading.format(unit=unit)]
    headings += [style.unit_heading] if style.unit_heading else []
    write_columns(path, style, readings, headings, values, started=started)


def write_columns(
    path: Path,
    style: Style,
    readings: Readings,
    headings: Sequence[str],
    values: Sequence[str],
    *,
    started: datetime,
) -> None:
    """Write a log whose values are written out already.

    Parameters
    ----------
    path : Path
    style : Style
    readings : Readings
        For its stamps.
    headings : sequence of str
        Of the columns behind the time.
    values : sequence of str
        One per row: everything behind the time.
    started : datetime
        True time at which the bench began.
    """
    moment = started + timedelta(seconds=round(float(readings.clock_s[0])))
    head = [line.format(started=f"{moment:%Y-%m-%d %H:%M:%S}") for line in style.preamble]
    heading = style.delimiter.join([style.time_heading, *headings])
    times = _times(style, readings, started)
    rows = [time + style.delimiter + value for time, value in zip(times, values, strict=True)]
    text = style.line_end.join([*head, heading, *rows]) + style.line_end
    path.parent.mkdir(parents=True, exist_ok=True)
    encoding, mark = ("utf-16-le", "\ufeff") if style.encoding == "utf-16" else (style.encoding, "")
    path.write_bytes((mark + text).encode(encoding))


def column(readings: Readings, meter: LoggingMeter, style: Style, unit: str) -> list[str]:
    """Return the readings of one range as text, with the style's decimal mark and overload mark."""
    digits = _digits(meter.resolution / _SCALE[unit])
    return [_marked(f"{value / _SCALE[unit]:.{digits}f}", style) for value in readings.shown]


def _values(style: Style, readings: Readings, meter: LoggingMeter, unit: str) -> list[str]:
    coarse = _digits(meter.resolution / _SCALE[unit])
    texts = [f"{value / _SCALE[unit]:.{coarse}f}" for value in readings.shown]
    units = [unit] * len(texts)
    if meter.fine_below:
        other = style.other_unit or unit
        fine = _digits(meter.fine_resolution / _SCALE[other])
        for row in np.flatnonzero(readings.fine):
            texts[row] = f"{readings.shown[row] / _SCALE[other]:.{fine}f}"
            units[row] = other
    texts = [_marked(text, style) for text in texts]
    if style.unit_heading:
        return [text + style.delimiter + unit for text, unit in zip(texts, units, strict=True)]
    return texts


def _marked(text: str, style: Style) -> str:
    if text == "nan":
        return style.overload
    return text.replace(".", style.decimal)


def _digits(step: float) -> int:
    return max(0, -math.floor(math.log10(step) + 1e-9))


def _times(style: Style, readings: Readings, started: datetime) -> list[str]:
    if style.spelling == "seconds":
        return [
            f"{stamp:.{style.time_decimals}f}".replace(".", style.decimal) for stamp in readings.elapsed_s
        ]
    if style.spelling == "span":
        return [_clock(float(stamp), style) for stamp in readings.elapsed_s]
    if style.spelling == "time of day":
        midnight = started.replace(hour=0, minute=0, second=0, microsecond=0)
        shift = (started - midnight).total_seconds()
        return [_clock((shift + float(stamp)) % 86_400, style) for stamp in readings.clock_s]
    between = "T" if style.spelling == "moment" else style.delimiter
    moments = (started + timedelta(seconds=float(stamp)) for stamp in readings.clock_s)
    return [f"{moment:%Y-%m-%d}{between}{_with_fraction(moment, style)}" for moment in moments]


def _with_fraction(moment: datetime, style: Style) -> str:
    midnight = moment.replace(hour=0, minute=0, second=0, microsecond=0)
    return _clock((moment - midnight).total_seconds(), style)


def _clock(seconds: float, style: Style) -> str:
    """Return hh:mm:ss, cut off at the style's decimals."""
    unit = 10**style.time_decimals
    whole, rest = divmod(math.floor(seconds * unit + 1e-6), unit)
    text = f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return f"{text}{style.decimal}{rest:0{style.time_decimals}d}" if style.time_decimals else text
