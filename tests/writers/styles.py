"""More than eighty styles of writing a log."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import openpyxl

from .pieces import (
    A,
    Column,
    T,
    Truth,
    V,
    W,
    autoranged,
    elapsed,
    epoch,
    mAh,
    number,
    same,
    seconds,
    stamped,
    steps,
)

Columns = Sequence[tuple[str, Column]]


@dataclass(frozen=True)
class Style:
    """One way of writing.

    Parameters
    ----------
    name : str
    write : callable
        Takes a `Truth`, returns the file.
    holds : str
        Quantities in it, "VAT".
    step_s : float [s]
        Step of its stamps.
    interval_s : float [s]
        Time from row to row that it is written with.
    told : dict
        What a reviewer would declare before anything else, such as the sheet.
    """

    name: str
    write: Callable[[Truth], bytes]
    holds: str = "VA"
    step_s: float = 1.0
    interval_s: float = 30.0
    suffix: str = ".csv"
    told: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Text:
    """A table as text."""

    columns: Columns
    sep: str = ","
    decimal: str = "."
    above: str = ""
    units: Sequence[str] = ()
    end: str = "\n"
    encoding: str = "utf-8"
    trailing: str = ""
    heading_trailing: str = ""
    quote: Callable[[str], str] = str
    line: Callable[[str], str] = str
    heading: bool = True
    again: int = 0
    below: str = ""
    comment: str = ""

    def __call__(self, t: Truth) -> bytes:
        cells = [list(column(t)) for _, column in self.columns]
        heads = self.sep.join(self.quote(name) for name, _ in self.columns) + (
            self.heading_trailing or self.trailing
        )
        lines = self.above.splitlines()
        if self.heading:
            lines.append(self.line(self.comment + heads))
        if self.units:
            lines.append(self.line(self.sep.join(map(self.quote, self.units)) + self.trailing))
        for at, row in enumerate(zip(*cells, strict=True)):
            if self.again and at and at % self.again == 0:
                lines.append(self.line(heads))
            shown = [self.quote(self._spelled(cell)) for cell in row]
            lines.append(self.line(self.sep.join(shown) + self.trailing))
        lines += self.below.splitlines()
        return (self.end.join(lines) + self.end).encode(self.encoding)

    def _spelled(self, cell: str) -> str:
        plain = cell.replace(".", "", 1).lstrip("-").isdigit()
        return cell.replace(".", self.decimal) if plain and self.decimal != "." else cell


def quoted(cell: str) -> str:
    return f'"{cell}"'


def wrapped(line: str) -> str:
    return '"' + line.replace('"', '""') + '"'


def padded(widths: int) -> Callable[[str], str]:
    return lambda cell: cell.rjust(widths)


VA: Columns = (("Voltage (V)", V()), ("Current (A)", A()))
T_S = ("Time (s)", seconds())
PREAMBLE = "\n".join(f"Setting {row}: {'on' if row % 3 else 'off'}" for row in range(100)) + "\n\n"


def styles() -> list[Style]:
    made: list[Style] = []

    def add(
        name: str,
        columns: Columns,
        holds: str = "VA",
        step_s: float = 1.0,
        interval_s: float = 30.0,
        **more: object,
    ) -> None:
        made.append(Style(name, Text(columns, **more), holds, step_s, interval_s))  # type: ignore[arg-type]

    # Headings
    add("plain words and units in round brackets", (T_S, *VA))
    add(
        "test time, joined by an underscore",
        (("Test_Time(s)", seconds(3)), ("Current(A)", A()), ("Voltage(V)", V())),
        step_s=1e-3,
    )
    add("symbols and square brackets", (("t [s]", seconds(1)), ("U [V]", V()), ("I [A]", A())), step_s=0.1)
    add(
        "slash before the unit",
        (("Test Time / s", seconds(1)), ("Voltage / V", V()), ("Current / A", A())),
        step_s=0.1,
    )
    add(
        "labels for programs",
        (("test_time_second", seconds(2)), ("voltage_volt", V()), ("current_ampere", A())),
        step_s=0.01,
    )
    add(
        "labels for programs, unix time",
        (("unix_time_second", epoch()), ("voltage_volt", V()), ("current_ampere", A())),
    )
    add("units alone", (("s", seconds()), ("V", V()), ("A", A())))
    add("units alone, small", (("ms", seconds(0, 1000)), ("mV", V(1000, 1)), ("mA", A(1000, 1))), step_s=1e-3)
    add(
        "units written out",
        (("Time (seconds)", seconds()), ("Voltage (volts)", V()), ("Current (milliamps)", A(1000, 1))),
    )
    add("abbreviated minutes", (("Elapsed (Min)", seconds(3, 1 / 60)), *VA), step_s=0.06)
    add("hours", (("Time [hr]", seconds(5, 1 / 3600)), *VA), step_s=0.036)
    add(
        "milliseconds behind an underscore",
        (("elapsed_ms", seconds(0, 1000)), ("bus_mV", V(1000, 0)), ("current_mA", A(1000, 1))),
        step_s=1e-3,
    )
    add(
        "camel case",
        (("elapsedMs", seconds(0, 1000)), ("batteryVoltage", V(1, 4)), ("currentMA", A(1000, 1))),
        step_s=1e-3,
    )
    add("epoch in milliseconds", (("epoch_ms", epoch(1000)), *VA), step_s=1e-3)
    add("epoch in seconds with a fraction", (("timestamp", epoch(1, 3)), *VA), step_s=1e-3)
    add(
        "a computer's stamp",
        (
            ("pc_timestamp", stamped("%Y-%m-%dT%H:%M:%S.%f")),
            ("Voltage_measured", V()),
            ("U_unit", same("V")),
            *VA[1:],
        ),
        "A",
        step_s=1e-6,
    )
    add("capitals", (("TIME(S)", seconds()), ("VOLTAGE(MV)", V(1000, 0)), ("CURRENT(MA)", A(1000, 0))))
    add(
        "unit behind a comma",
        (("Time, s", seconds()), ("Voltage, V", V()), ("Current, mA", A(1000, 1))),
        sep=";",
    )
    add(
        "unit before the word",
        (("ms elapsed", seconds(0, 1000)), ("mV cell", V(1000, 1)), ("mA charge", A(1000, 1))),
        step_s=1e-3,
    )
    add("curly brackets", (("Time {s}", seconds()), ("Voltage {V}", V()), ("Current {A}", A())))
    add("direct current said", (T_S, ("Voltage (VDC)", V()), ("DC Current (mADC)", A(1000, 1))))
    add(
        "means over the interval",
        (
            T_S,
            ("Average Voltage (V)", V()),
            ("Min Voltage (V)", V(0.99)),
            ("Max Voltage (V)", V(1.01)),
            ("Current (A)", A()),
        ),
    )
    add(
        "with a set value beside",
        (
            T_S,
            ("Voltage (V)", V()),
            ("Set Voltage (V)", same("4.2000")),
            ("Current (A)", A()),
            ("Current limit (A)", same("1.0")),
        ),
    )
    add(
        "power, charge and a number beside",
        (("No.", number()), T_S, *VA, ("Power (W)", W()), ("Capacity (mAh)", mAh())),
    )
    add(
        "German",
        (("Zeit (s)", seconds()), ("Spannung (V)", V()), ("Strom (mA)", A(1000, 1))),
        sep=";",
        decimal=",",
        encoding="cp1252",
    )
    add(
        "German, written together",
        (("Messzeit in min", seconds(4, 1 / 60)), ("Akkuspannung in V", V()), ("Ladestrom in A", A())),
        sep=";",
        decimal=",",
        step_s=0.006,
    )
    add(
        "French",
        (("Temps écoulé (s)", seconds()), ("Tension (V)", V()), ("Intensité (A)", A())),
        sep=";",
        decimal=",",
    )
    add(
        "Spanish",
        (("Tiempo (seg)", seconds()), ("Voltaje (V)", V()), ("Corriente (mA)", A(1000, 1))),
        sep=";",
        decimal=",",
        encoding="cp1252",
    )
    add("Chinese", (("时间(秒)", seconds()), ("电压(V)", V()), ("电流(mA)", A(1000, 1))))
    add(
        "Chinese in its national encoding",
        (("时间/s", seconds()), ("电压/V", V()), ("电流/A", A()), ("温度/℃", T())),
        "VAT",
        encoding="gb18030",
    )
    add("temperature in Fahrenheit", (T_S, *VA, ("Temp (°F)", T(1.8, 32, 2))), "VAT")
    add("temperature, degrees without a sign", (T_S, *VA, ("T_cell (degC)", T())), "VAT")
    # Times
    add(
        "moments, day first with points",
        (("Datum/Uhrzeit", stamped("%d.%m.%Y %H:%M:%S")), ("U (V)", V()), ("I (A)", A())),
        sep=";",
        decimal=",",
    )
    add("moments, day first with slashes", (("Date Time", stamped("%d/%m/%Y %H:%M:%S")), *VA))
    add("moments, month first, half days", (("Timestamp", stamped("%m/%d/%Y %I:%M:%S %p")), *VA))
    add("moments with a T and a zone", (("Time", stamped("%Y-%m-%dT%H:%M:%SZ")), *VA))
    add("moments with an offset", (("Time", stamped("%Y-%m-%d %H:%M:%S+01:00")), *VA))
    add("moments with the month's name", (("Time", stamped("%d-%b-%Y %H:%M:%S")), *VA))
    add("moments, American with the month's name", (("Time", stamped("%b %d, %Y %I:%M:%S %p")), *VA), sep=";")
    add("moments as C writes them", (("Time", stamped("%a %b %d %H:%M:%S %Y")), *VA))
    add("moments without marks", (("Time", stamped("%Y%m%dT%H%M%S")), *VA))
    add(
        "moments in Chinese", (("时间", stamped("%Y年%m月%d日 %H:%M:%S")), ("电压(V)", V()), ("电流(A)", A()))
    )
    add("a short year", (("Time", stamped("%d.%m.%y %H:%M:%S")), *VA), sep=";")
    add("minutes only", (("Time", stamped("%Y-%m-%d %H:%M")), *VA), step_s=60.0, interval_s=120.0)
    add("times of day", (("Time", stamped("%H:%M:%S")), *VA))
    add(
        "times of day over midnight, tenths",
        (("Clock", stamped("%H:%M:%S.%f", -5)), *VA),
        step_s=0.1,
        interval_s=60.0,
    )
    add("half days without a date", (("Time", stamped("%I:%M:%S %p")), *VA))
    add("thousandths behind a colon", (("Time", stamped("%H:%M:%S:%f", -3)), *VA), step_s=1e-3)
    add(
        "a date column and a time column", (("Date", stamped("%Y-%m-%d")), ("Time", stamped("%H:%M:%S")), *VA)
    )
    add(
        "date and time columns, German",
        (
            ("Datum", stamped("%d.%m.%Y")),
            ("Uhrzeit", stamped("%H:%M:%S")),
            ("Spannung [V]", V()),
            ("Strom [A]", A()),
        ),
        sep="\t",
    )
    add("elapsed clock", (("Elapsed Time", elapsed()), *VA))
    add(
        "elapsed clock, its pattern in brackets",
        (("Time(hh:mm:ss.ms)", elapsed("{h:d}:{m:02d}:{s:02d}.{f:03d}")), *VA),
        step_s=1e-3,
    )
    add("elapsed with days", (("Total Time", elapsed("{d:d}d {H:02d}:{m:02d}:{s:02d}")), *VA))
    add("elapsed in letters", (("Elapsed", elapsed("{h:d}h{m:02d}m{s:02d}s")), *VA))
    add("minutes and seconds, said", (("Time (mm:ss)", elapsed("{M:02d}:{s:02d}")), *VA))
    add("minutes and seconds, not said", (("Time", elapsed("{M:02d}:{s:02d}")), *VA))
    add("seconds, not said", (("Time", seconds()), *VA))
    add("milliseconds, not said", (("Time", seconds(0, 1000)), *VA), step_s=1e-3)
    add("hours, not said", (("Time", seconds(6, 1 / 3600)), *VA), step_s=0.0036)
    add("an unknown unit of time", (("Time (ticks)", seconds(0, 1000)), *VA), step_s=1e-3)
    add(
        "a number and a date beside each other",
        (("Index", number(0)), ("Date Time", stamped("%Y-%m-%d %H:%M:%S")), ("Elapsed (s)", seconds(3)), *VA),
        step_s=1e-3,
    )
    add(
        "step times beside the time",
        (("Step_Time(s)", steps()), ("Test_Time(s)", seconds(1)), ("Step", number()), *VA),
        step_s=0.1,
    )
    add(
        "minutes beside a date, no unit said",
        (("Date Time", stamped("%Y-%m-%d %H:%M:%S")), ("Time", seconds(4, 1 / 60)), *VA),
    )
    add("several rows in one second", (("Time", stamped("%H:%M:%S")), *VA), step_s=1.0, interval_s=0.25)
    add(
        "several rows in one minute", (("Time", stamped("%Y-%m-%d %H:%M")), *VA), step_s=60.0, interval_s=10.0
    )
    # Layout
    add("semicolons, decimal commas", (T_S, *VA), sep=";", decimal=",")
    add("tabs, decimal commas", (T_S, *VA), sep="\t", decimal=",")
    add("bars", (T_S, *VA), sep="|")
    add(
        "white space in columns",
        (("Time(s)", seconds(1)), ("Voltage(V)", V()), ("Current(A)", A())),
        sep="  ",
        quote=padded(12),
        step_s=0.1,
    )
    add(
        "tabs between stamps with a blank",
        (("Time", stamped("%Y-%m-%d %H:%M:%S")), ("Voltage (V)", V()), ("Current (A)", A())),
        sep="\t",
    )
    add("a trailing comma in every row", (T_S, *VA), trailing=",")
    add(
        "a trailing semicolon below the headings only",
        (T_S, *VA),
        sep=";",
        trailing=";",
        heading_trailing=" ",
    )
    add("every row in one pair of quotes", (("Time", stamped("%Y-%m-%d %H:%M:%S")), *VA), line=wrapped)
    add("every cell in quotes, decimal commas", (T_S, *VA), decimal=",", quote=quoted)
    add(
        "a row of units",
        (("Time", seconds()), ("Voltage", V(1000, 1)), ("Current", A(1000, 1))),
        units=("s", "mV", "mA"),
    )
    add(
        "a row of units in brackets",
        (("Zeit", seconds()), ("Spannung", V()), ("Strom", A())),
        units=("[s]", "[V]", "[A]"),
        sep=";",
        decimal=",",
    )
    add("a preamble of a hundred lines", (T_S, *VA), above=PREAMBLE)
    add("a preamble with commas", (T_S, *VA), above="Device,7\nSerial,12345,\nRate,30,s\n\n")
    add("headings behind a comment sign", (("Time (s)", seconds()), *VA), comment="# ")
    add("headings again and again", (T_S, *VA), again=50)
    add("a summary below", (T_S, *VA), below="\nTotal,0.9 Ah\nEnd of file\n")
    add("UTF-16", (T_S, *VA), sep="\t", encoding="utf-16")
    add("a byte order mark and Windows line ends", (T_S, *VA), encoding="utf-8-sig", end="\r\n")
    add("old line ends", (T_S, *VA), end="\r")
    add(
        "no headings, units in the cells",
        (("", stamped("%Y-%m-%d %H:%M:%S")), ("", V(1, 4, "{} V")), ("", A(1000, 1, "{} mA"))),
        heading=False,
    )
    add("no headings at all", (("", stamped("%Y-%m-%d %H:%M:%S")), ("", V())), "V", heading=False)
    add("no unit anywhere", (T_S, ("Voltage", V()), ("Current", A())))
    add("no unit, thousandths", (T_S, ("Voltage", V(1000, 1)), ("Current", A(1000, 1))))
    add(
        "two columns of either",
        (T_S, ("Voltage 1 (V)", V()), ("Voltage 2 (V)", V(0.5)), ("Current (A)", A())),
    )
    add("one heading too few", (T_S, *VA), trailing=",7", heading_trailing=" ")
    # Meters
    for quantity, name in (("V", "Voltage"), ("A", "Current")):
        shown, unit = autoranged(quantity)
        add(
            f"a meter that changes its range, {name}",
            (("Time", stamped("%H:%M:%S")), ("Value", shown), ("Unit", unit)),
            quantity,
        )
        add(
            f"the same, the columns not headed so, {name}",
            (("Zeit", stamped("%H:%M:%S")), ("Hauptanzeige", shown), ("Einheit", unit)),
            quantity,
            sep=";",
            decimal=",",
        )
    add(
        "a unit behind each reading",
        (("Time", stamped("%H:%M:%S")), ("Voltage", V(1, 4, "{} V")), ("Current", A(1000, 1, "{}mA"))),
    )
    add(
        "a unit in the preamble",
        (("Time", stamped("%H:%M:%S")), ("Reading", V(1000, 1))),
        "V",
        above="Function: DC\nUnit: mV\n\n",
    )
    add(
        "readings in powers of ten",
        (
            T_S,
            ("Voltage (V)", lambda t: [f"{x:.5E}" for x in t.volts]),
            ("Current (A)", lambda t: [f"{x:+.5E}" for x in t.amps]),
        ),
    )
    made += _books()
    return made


def _books() -> list[Style]:
    return [
        Style("a workbook", _book({"Sheet1": _rows}), "VA", suffix=".xlsx"),
        Style(
            "a workbook whose second sheet holds the readings",
            _book({"Info": _info, "Data": _rows}),
            "VA",
            suffix=".xlsx",
        ),
        Style(
            "a workbook with two sheets of readings",
            _book({"Ch 1": _rows, "Ch 2": _rows}),
            "VA",
            suffix=".xlsx",
        ),
        Style("a workbook with moments and a title", _book({"Log": _dated}), "VA", suffix=".xlsx"),
        Style("two tables one under another", _stacked, "VA"),
        Style("voltage and current in rows of their own", _interleaved, "VA"),
    ]


def _book(pages: dict[str, Callable[[Truth], list[list[object]]]]) -> Callable[[Truth], bytes]:
    def write(t: Truth) -> bytes:
        book = openpyxl.Workbook()
        book.remove(book.active)
        for name, rows in pages.items():
            page = book.create_sheet(name)
            for row in rows(t):
                page.append(row)
        out = io.BytesIO()
        book.save(out)
        return out.getvalue()

    return write


def _rows(t: Truth) -> list[list[object]]:
    body = zip(t.time_s.tolist(), t.volts.tolist(), t.amps.tolist(), strict=True)
    return [["Time (s)", "Voltage (V)", "Current (A)"], *map(list, body)]


def _info(t: Truth) -> list[list[object]]:
    return [["Device", "seven"], ["Rows", len(t.time_s)], ["Operator", "nobody"]]


def _dated(t: Truth) -> list[list[object]]:
    body = zip(t.moments, t.volts.tolist(), (t.amps * 1000).tolist(), strict=True)
    return [["Log of a charge"], [], ["Date and time", "U / V", "I / mA"], *map(list, body)]


def _stacked(t: Truth) -> bytes:
    first = Text((T_S, ("Voltage (V)", V())))(t)
    return first + b"\n" + Text((T_S, ("Temp (C)", T()), ("Current (A)", A())))(t)


def _interleaved(t: Truth) -> bytes:
    lines = ["Time (s),Voltage (V),Current (A)"]
    for at, second in enumerate(t.time_s):
        lines += [f"{second:.0f},{t.volts[at]:.4f},", f"{second + 1:.0f},,{t.amps[at]:.4f}"]
    return ("\n".join(lines) + "\n").encode()


STYLES = styles()
