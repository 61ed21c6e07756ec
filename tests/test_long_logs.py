"""The quick way to read a long log gives what the thorough one gives, to the last digit."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reviewkit import logs
from reviewkit.errors import LogError
from reviewkit.logs import long, ruled, source
from reviewkit.logs.raw import Columns
from reviewkit.schema.blocks import LogBlock

ROWS = 320
BEGAN = datetime(2025, 3, 1, 23, 59, 20)


def moments(spelling: str, cut: int | None = None) -> list[str]:
    return [(BEGAN + timedelta(seconds=place / 10)).strftime(spelling)[:cut] for place in range(ROWS)]


def unpadded(twelve: bool) -> list[str]:
    found = []
    for place in range(ROWS):
        at = BEGAN + timedelta(minutes=37 * place)
        hour, half = (at.hour % 12 or 12, f" {at:%p}") if twelve else (at.hour, "")
        found.append(f"{at.month}/{at.day}/{at.year} {hour}:{at:%M}{half}")
    return found


TIMES: dict[str, tuple[str, list[str]]] = {
    "seconds": ("Time (s)", [f"{place / 10:.1f}" for place in range(ROWS)]),
    "milliseconds": ("Elapsed (ms)", [str(place * 100 + 7) for place in range(ROWS)]),
    "whole numbers and halves": ("Time (s)", [f"{place / 2:g}" for place in range(ROWS)]),
    "since 1970": ("Time", [f"{1_740_866_360 + place / 10:.1f}" for place in range(ROWS)]),
    "iso": ("Time", moments("%Y-%m-%d %H:%M:%S.%f", -3)),
    "iso with a T, whole seconds": ("Timestamp", moments("%Y-%m-%dT%H:%M:%S")),
    "time of day": ("Time", moments("%H:%M:%S.%f", -4)),
    "day first": ("Time", moments("%d.%m.%Y %H:%M:%S")),
    "slashes": ("Time", moments("%d/%m/%Y %H:%M:%S.%f", -5)),
    "widths that differ": ("Time", unpadded(False)),
    "half days": ("Time", unpadded(True)),
    "hours and minutes": ("Time (hh:mm)", [f"{place // 60}:{place % 60:02d}" for place in range(ROWS)]),
    "zoned": ("Time", [f"{one}Z" for one in moments("%Y-%m-%dT%H:%M:%S")]),
}
DECIMAL = ("seconds", "since 1970", "whole numbers and halves")
LAYOUTS: dict[str, tuple[str, str, str, str]] = {
    "plain": (",", ".", "utf-8", "\n"),
    "decimal commas": (";", ",", "cp1252", "\r\n"),
    "tabs": ("\t", ".", "utf-8-sig", "\n"),
    "utf-16": (";", ".", "utf-16", "\n"),
}
READINGS = [
    f"{value:.3f}"
    for value in (((place * 37) % 900 - 300) / 100 + 0.001 * (place % 7) for place in range(ROWS))
]


def body(time: str, layout: str, spoil: Callable[[list[str], str], None] | None = None) -> bytes:
    delimiter, decimal, encoding, end = LAYOUTS[layout]
    heading, stamps = TIMES[time]
    lines = [
        f"{at.replace('.', decimal) if time in DECIMAL else at}{delimiter}{shown.replace('.', decimal)}"
        for at, shown in zip(stamps, READINGS, strict=True)
    ]
    if spoil:
        spoil(lines, delimiter)
    head = f"# Gerät µ{end}" if encoding != "utf-16" else ""
    return (head + end.join([f"{heading}{delimiter}Current (mA)", *lines]) + end).encode(encoding)


def value(lines: list[str], row: int, delimiter: str, said: str) -> None:
    lines[row] = lines[row].split(delimiter)[0] + delimiter + said


def overloads(lines: list[str], delimiter: str) -> None:
    for row in (0, 5, 6, 250, ROWS - 1):
        value(lines, row, delimiter, "OL")
    value(lines, 200, delimiter, "-OL")
    value(lines, 201, delimiter, "----")
    value(lines, 202, delimiter, "1e400")


def missing(lines: list[str], delimiter: str) -> None:
    value(lines, 9, delimiter, "")
    value(lines, 10, delimiter, "n/a")
    value(lines, 11, delimiter, "paused")
    lines[12] = ""
    lines[30] = "paused"
    lines[31] = lines[31].split(delimiter)[0]


def order(lines: list[str], delimiter: str) -> None:
    lines[40], lines[41] = lines[41], lines[40]
    lines[50] = lines[51]
    del lines[100:160]


def odd_times(lines: list[str], delimiter: str) -> None:
    lines[20] = delimiter + lines[20].split(delimiter)[1]
    lines[21] = "?" + delimiter + lines[21].split(delimiter)[1]
    lines[22] = "garbled 7" + delimiter + lines[22].split(delimiter)[1]


def too_wide(lines: list[str], delimiter: str) -> None:
    lines[15] += delimiter + "1" + delimiter + "2"


def cut_off(lines: list[str], delimiter: str) -> None:
    lines[-1] = lines[-1].split(delimiter)[0][:-1]


SPOILS = {one.__name__: one for one in (overloads, missing, order, odd_times, too_wide, cut_off)}


def outcome(folder: Path, data: bytes, **entry: object) -> logs.Log | str:
    (folder / "log.csv").write_bytes(data)
    try:
        return logs.read(LogBlock(path="log.csv", **entry), "A", folder=folder)  # type: ignore[arg-type]
    except LogError as fault:
        return str(fault)


def compared(
    folder: Path, data: bytes, monkeypatch: pytest.MonkeyPatch, *, readable: bool = False, **entry: object
) -> bool:
    """Hold the quick way against the thorough one; return whether it was the quick one's own result."""
    thorough = outcome(folder, data, **entry)
    if readable:
        assert isinstance(thorough, logs.Log), thorough
    used: list[bool] = []
    own = long.read

    def spied(*given: Any, **more: Any) -> Columns | None:
        found = own(*given, **more)
        used.append(found is not None)
        return found

    with monkeypatch.context() as patched:
        patched.setattr(source, "_LONG_BYTES", 0)
        patched.setattr(ruled, "STRETCH_BYTES", 3000)
        patched.setattr(long, "read", spied)
        same(thorough, outcome(folder, data, **entry))
    return used == [True]


def same(one: logs.Log | str, other: logs.Log | str) -> None:
    if isinstance(one, str) or isinstance(other, str):
        assert one == other
        return
    pd.testing.assert_series_equal(one.series, other.series, check_exact=True)
    assert (one.started, one.time_of_day_s, one.resolution) == (
        other.started,
        other.time_of_day_s,
        other.resolution,
    )
    assert one.report == other.report


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("time", TIMES)
def test_every_spelling_of_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, time: str, layout: str
) -> None:
    left_to_the_thorough = layout == "utf-16" or time in ("hours and minutes", "zoned")
    quick = compared(tmp_path, body(time, layout), monkeypatch, readable=True)
    assert quick is not left_to_the_thorough


@pytest.mark.parametrize("spoil", SPOILS)
@pytest.mark.parametrize("time", ["seconds", "iso", "time of day", "day first", "widths that differ"])
@pytest.mark.parametrize("layout", ["plain", "decimal commas"])
def test_every_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: str, time: str, layout: str
) -> None:
    compared(tmp_path, body(time, layout, SPOILS[spoil]), monkeypatch)


def test_marks_of_overload_and_missing_rows_keep_the_quick_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def spoil(lines: list[str], delimiter: str) -> None:
        missing(lines, delimiter)
        for row in (0, 5, 300, ROWS - 1):
            value(lines, row, delimiter, "OL")

    for time in ("seconds", "iso", "day first", "widths that differ"):
        assert compared(tmp_path, body(time, "plain", spoil), monkeypatch)


def test_a_date_column_and_a_unit_column(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [
        f"{one.replace(' ', ',')},{shown},{'mA' if place % 3 else 'A'},x"
        for place, (one, shown) in enumerate(zip(moments("%d.%m.%Y %H:%M:%S"), READINGS, strict=True))
    ]
    data = "\n".join(["Date,Time,Value,Unit,Note", *lines, ""]).encode()
    assert compared(tmp_path, data, monkeypatch, value="Value")


@pytest.mark.parametrize(
    "odd",
    [
        "3.5 mA,",
        '"3.5"',
        " 3.5 ",
        "+3.5",
        "3.",
        ".5",
        "1e3",
        "−3.5",
        "3,5",
        "1.234.5",
        "inf",
        "nan",
        "9.9E37",
        "0x1A",
        "1_000",
        "٣.5",
        "3.5\x0b",
        "3.5\r",
        "123456789.123456789123",
        "--.--",
        "OL V",
        "-0.000",
        "#",
    ],
)
@pytest.mark.parametrize("delimiter", [",", ";"])
def test_one_odd_cell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, odd: str, delimiter: str) -> None:
    lines = [f"{place / 10:.1f}{delimiter}{shown}" for place, shown in enumerate(READINGS)]
    lines[233] = f"23.3{delimiter}{odd}"
    data = "\n".join([f"Time (s){delimiter}Current (mA)", *lines, ""]).encode()
    compared(tmp_path, data, monkeypatch)


@pytest.mark.parametrize(
    "odd",
    [
        "2025-02-30 10:00:00",
        "2025-03-01 24:00:00",
        "2025-03-01 10:60:00",
        "2025-03-01 10:00",
        "0000-00-00 00:00:00",
        "2025-03-01 10:00:00.5",
        "2025-3-1 10:00:00",
        "٢025-03-01 10:00:00",
        "1e3",
        "2025-03-01",
        "power off",
    ],
)
def test_one_odd_moment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, odd: str) -> None:
    lines = [f"2025-03-01 10:{place // 60:02d}:{place % 60:02d},3.5" for place in range(600)]
    lines[233] = f"{odd},3.5"
    compared(tmp_path, "\n".join(["Time,Current (A)", *lines, ""]).encode(), monkeypatch)


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    cuts=st.lists(st.tuples(st.integers(0, 4000), st.binary(max_size=3)), max_size=3),
    time=st.sampled_from(["seconds", "iso", "time of day", "widths that differ"]),
)
def test_bytes_changed_anywhere(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    cuts: list[tuple[int, bytes]],
    time: str,
) -> None:
    data = bytearray(body(time, "plain"))
    for place, new in cuts:
        data[place : place + len(new)] = new
    compared(tmp_path, bytes(data), monkeypatch)


def test_several_quantities_of_a_file_are_read_in_one_pass(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [
        f"{stamp},{3.5 + place / 1000:.3f},{shown},{25 + place % 3}"
        for place, (stamp, shown) in enumerate(
            zip(moments("%d.%m.%Y %H:%M:%S.%f", -3), READINGS, strict=True)
        )
    ]
    heading = "Time,Voltage (V),Current (mA),Temperature (°C)"
    (tmp_path / "log.csv").write_text("\n".join([heading, *lines, ""]), encoding="utf-8")
    monkeypatch.setattr(source, "_LONG_BYTES", 0)
    wanted: list[tuple[LogBlock, logs.Quantity]] = [
        (LogBlock(path="log.csv"), quantity) for quantity in ("V", "A", "degC")
    ]
    one_by_one = [logs.read(entry, quantity, folder=tmp_path) for entry, quantity in wanted]
    passes: list[int] = []
    own = ruled.read
    monkeypatch.setattr(ruled, "read", lambda plan: passes.append(1) or own(plan))
    with logs.one_pass(wanted):
        together = [logs.read(entry, quantity, folder=tmp_path) for entry, quantity in wanted]
    assert passes == [1]
    for one, other in zip(one_by_one, together, strict=True):
        same(one, other)


def test_many_stretches_at_once_give_the_rows_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = "Time (s),Current (A)\n" + "".join(f"{place},{place % 11 - 5}\n" for place in range(200_000))
    monkeypatch.setattr(ruled, "STRETCH_BYTES", 50_000)
    found = outcome(tmp_path, data.encode())
    assert isinstance(found, logs.Log)
    assert found.time_s.tolist() == list(range(200_000))
    assert found.series.to_list() == [place % 11 - 5 for place in range(200_000)]
