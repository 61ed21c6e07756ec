"""A second set of styles, written after the reader was finished and from how loggers behave in general."""

from __future__ import annotations

import io
from datetime import timedelta

import numpy as np
import openpyxl

from .pieces import A, T, Truth, V, W, elapsed, epoch, mAh, number, same, seconds, stamped
from .styles import T_S, VA, Columns, Style, Text, quoted


def more() -> list[Style]:
    """Return the styles."""
    made: list[Style] = []

    def add(
        name: str,
        columns: Columns,
        holds: str = "VA",
        step_s: float = 1.0,
        rest_s: float = 30.0,
        **text: object,
    ) -> None:
        made.append(Style(name, Text(columns, **text), holds, step_s, rest_s))  # type: ignore[arg-type]

    add(
        "a scope's capture, headings in two rows without brackets",
        (("Time", seconds(6)), ("Channel A", V()), ("Channel B", A())),
        step_s=1e-6,
        units=("(s)", "(V)", "(A)"),
    )
    add(
        "millis of a board, short names",
        (
            ("ms", seconds(0, 1000)),
            ("busV", V()),
            ("shunt_mA", A(1000, 1)),
            ("load_V", V(1.0)),
            ("power_mW", W()),
        ),
        "A",
        step_s=1e-3,
    )
    add(
        "a board's serial print with labels in the cells",
        (("millis", seconds(0, 1000)), ("vbat_mv", V(1000, 0)), ("ibat_ma", A(1000, 0))),
        step_s=1e-3,
    )
    add(
        "an electronic load's file",
        (
            ("Time(S)", seconds(1)),
            ("Voltage(V)", V()),
            ("Current(A)", A()),
            ("Power(W)", W()),
            ("Resistance(Ω)", same("4.1")),
        ),
        step_s=0.1,
    )
    add(
        "a tester of ports",
        (
            ("Timestamp", seconds(3)),
            ("V", V()),
            ("I", A()),
            ("D+", same("0.6")),
            ("D-", same("0.6")),
            ("T", T()),
        ),
        "V",
        step_s=1e-3,
    )
    add(
        "the same, units said",
        (
            ("Elapsed time [s]", seconds(3)),
            ("Voltage [V]", V()),
            ("Current [A]", A()),
            ("D+ [V]", same("0.6")),
            ("D- [V]", same("0.6")),
            ("Energy [Wh]", mAh()),
        ),
        step_s=1e-3,
    )
    add(
        "a bench supply, measured beside set",
        (
            ("Date", stamped("%m/%d/%Y")),
            ("Time", stamped("%H:%M:%S")),
            ("CH1 Voltage(V)", V()),
            ("CH1 Current(A)", A()),
            ("CH1 Set Voltage(V)", same("4.2")),
            ("CH1 Set Current(A)", same("1")),
        ),
    )
    add(
        "two channels of a supply",
        (
            ("Time", stamped("%H:%M:%S")),
            ("CH1_V(V)", V()),
            ("CH1_I(A)", A()),
            ("CH2_V(V)", same("0.0012")),
            ("CH2_I(A)", same("0.0003")),
        ),
    )
    add(
        "a multimeter's software, spaces before commas",
        (
            ("No ", number()),
            (" Time ", stamped("%Y/%m/%d %H:%M:%S")),
            (" DC Voltage ", V()),
            (" Unit ", same("V")),
        ),
        "V",
        sep=" , ",
    )
    add(
        "a multimeter: function, value, unit",
        (
            ("Date", stamped("%d-%m-%Y")),
            ("Time", stamped("%H:%M:%S")),
            ("Function", same("DC Current")),
            ("Value", A(1000, 2)),
            ("Unit", same("mA")),
        ),
        "A",
    )
    add(
        "a multimeter with two displays",
        (
            ("Index", number()),
            ("Time", stamped("%H:%M:%S")),
            ("Main", V(1, 4)),
            ("Main Unit", same("V")),
            ("Sub", T()),
            ("Sub Unit", same("°C")),
        ),
        "V",
    )
    add(
        "a logger with channel numbers and units in the second row",
        (
            ("Scan", number()),
            ("Time", stamped("%m/%d/%Y %H:%M:%S:%f", -3)),
            ("101 (VDC)", V(1, 7)),
            ("102 (ADC)", A(1, 7)),
            ("Alarm 101", same("0")),
        ),
        step_s=1e-3,
    )
    add(
        "readings as +1.23456789E+00",
        (("Elapsed", seconds(3)), ("U", lambda t: [f"{x:+.8E}" for x in t.volts])),
        "V",
        step_s=1e-3,
    )
    add(
        "charger with lines of its own language",
        (
            ("Zeit[s]", seconds()),
            ("Spannung[mV]", V(1000, 0)),
            ("Strom[mA]", A(1000, 0)),
            ("Ladung[mAh]", mAh()),
            ("Temp. ext[°C]", T()),
        ),
        "VAT",
        sep=";",
    )
    add(
        "a terminal's capture, stamp in square brackets",
        (
            ("time", lambda t: [f"[{m:%Y-%m-%d %H:%M:%S}]" for m in t.moments]),
            ("voltage_V", V()),
            ("current_A", A()),
        ),
    )
    add(
        "a database export",
        (
            ("id", number(4711)),
            ("created_at", stamped("%Y-%m-%d %H:%M:%S.%f+00")),
            ("voltage", V()),
            ("current", A()),
        ),
        "V",
        step_s=1e-6,
    )
    add(
        "home automation, one quantity",
        (
            ("entity_id", same("sensor.cell")),
            ("state", V()),
            ("last_changed", stamped("%Y-%m-%dT%H:%M:%S.%fZ")),
        ),
        "V",
        step_s=1e-6,
    )
    add(
        "a data frame with its index",
        (("", number(0)), ("timestamp", epoch(1, 6)), ("voltage (V)", V()), ("current (A)", A())),
        step_s=1e-6,
    )
    add(
        "French spreadsheet",
        (
            ("Date et heure", stamped("%d/%m/%Y %H:%M:%S")),
            ("Tension (V)", V()),
            ("Courant (mA)", A(1000, 1)),
            ("Température (°C)", T()),
        ),
        "VAT",
        sep=";",
        decimal=",",
        encoding="cp1252",
    )
    add(
        "Spanish, half days with points",
        (
            (
                "Fecha y hora",
                lambda t: [
                    m.strftime("%d/%m/%Y %I:%M:%S ") + ("p. m." if m.hour >= 12 else "a. m.")
                    for m in t.moments
                ],
            ),
            ("Tensión (V)", V()),
            ("Corriente (A)", A()),
        ),
        sep=";",
        decimal=",",
    )
    add(
        "Chinese tester with a title",
        (
            ("序号", number()),
            ("测试时间", elapsed("{h:02d}:{m:02d}:{s:02d}")),
            ("电压(V)", V()),
            ("电流(A)", A()),
            ("容量(mAh)", mAh()),
        ),
        above="测试名称:充电\n\n",
        encoding="gb18030",
    )
    add(
        "Chinese headings, half days",
        (
            (
                "日期时间",
                lambda t: [
                    m.strftime("%Y/%m/%d ") + ("上午" if m.hour < 12 else "下午") + m.strftime(" %I:%M:%S")
                    for m in t.moments
                ],
            ),
            ("电压/mV", V(1000, 0)),
            ("电流/mA", A(1000, 0)),
        ),
    )
    add(
        "cycler: total, step, cycle",
        (
            ("Record", number()),
            ("Cycle", same("1")),
            ("Step", same("2")),
            ("Step Time", elapsed()),
            ("Total Time", elapsed()),
            ("Voltage/V", V()),
            ("Current/A", A()),
            ("Capacity/Ah", mAh()),
        ),
    )
    add(
        "minutes in floating point",
        (("Time/min", lambda t: [repr(float(s) / 60) for s in t.time_s]), ("U/V", V()), ("I/mA", A(1000, 2))),
        sep="\t",
    )
    add(
        "hours, days long",
        (("t (h)", seconds(6, 1 / 3600)), ("Cell voltage (V)", V()), ("Cell current (A)", A())),
        step_s=0.004,
        rest_s=120.0,
    )
    add(
        "quoted everything, semicolons, decimal commas",
        (
            ("Zeitstempel", stamped("%d.%m.%Y %H:%M:%S,%f", -3)),
            ("Akku-Spannung [V]", V()),
            ("Ladestrom [A]", A()),
        ),
        sep=";",
        decimal=",",
        quote=quoted,
        step_s=1e-3,
    )
    add(
        "percent comments and tabs",
        (("t/s", seconds(2)), ("U/mV", V(1000, 2)), ("I/mA", A(1000, 2))),
        sep="\t",
        comment="% ",
        above="% charge\n% 2025\n",
        step_s=0.01,
    )
    add(
        "a note column at the end, mostly empty",
        (T_S, *VA, ("Remark", lambda t: ["start" if row == 3 else "" for row in range(len(t.time_s))])),
    )
    add(
        "thousands with commas in quotes",
        (
            T_S,
            ("Voltage (mV)", lambda t: [f'"{x * 1000:,.1f}"' for x in t.volts]),
            ("Current (mA)", A(1000, 1)),
        ),
    )
    add(
        "overload at first",
        (
            T_S,
            *VA,
            ("Temp (°C)", lambda t: ["OL" if row < 5 else f"{x:.1f}" for row, x in enumerate(t.degrees)]),
        ),
    )
    made.append(
        Style("a workbook that begins in C5, with a chart sheet's numbers", _offset, "VA", suffix=".xlsx")
    )
    made.append(Style("a workbook of day numbers", _day_numbers, "VA", suffix=".xlsx", step_s=1.0))
    made.append(Style("a log that changes its rate and drops to a stamp of seconds", _two_rates, "VA"))
    return made


def _offset(t: Truth) -> bytes:
    book = openpyxl.Workbook()
    page = book.active
    for at, name in enumerate(("Time [s]", "U [V]", "I [A]")):
        page.cell(5, 3 + at, name)
    for row, values in enumerate(zip(t.time_s.tolist(), t.volts.tolist(), t.amps.tolist(), strict=True)):
        for at, value in enumerate(values):
            page.cell(6 + row, 3 + at, value)
    other = book.create_sheet("Summary")
    other.append(["Charge", 0.9, "Ah"])
    return _saved(book)


def _day_numbers(t: Truth) -> bytes:
    book = openpyxl.Workbook()
    page = book.active
    page.append(["Zeit", "Spannung (V)", "Strom (A)"])
    for moment, volts, amps in zip(t.moments, t.volts.tolist(), t.amps.tolist(), strict=True):
        page.append(
            [
                (moment - moment.replace(year=1899, month=12, day=30, hour=0, minute=0, second=0))
                / timedelta(days=1),
                volts,
                amps,
            ]
        )
    return _saved(book)


def _saved(book: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _two_rates(t: Truth) -> bytes:
    return Text((("Time", stamped("%H:%M:%S")), *VA))(Truth(t.time_s, t.volts, t.amps, np.asarray(t.degrees)))


MORE = more()
