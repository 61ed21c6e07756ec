"""Reading logs: every format, heading, unit, clock and fault that a bench meets."""

from __future__ import annotations

import contextlib
import io
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from reviewkit import logs
from reviewkit.errors import InputError, LogError
from reviewkit.schema.blocks import LogBlock


def put(
    folder: Path, text: str | bytes, quantity: logs.Quantity = "V", encoding: str = "utf-8", **entry: object
) -> logs.Log:
    (folder / "log.csv").write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return logs.read(LogBlock(path="log.csv", **entry), quantity, folder=folder)  # type: ignore[arg-type]


def rows(head: str, *body: str) -> str:
    return "\n".join([head, *body]) + "\n"


# Formats


@pytest.mark.parametrize(
    "text",
    [
        "Time (s),Voltage (V)\n0.0,3.501\n0.5,3.502\n1.0,3.503\n",
        "Time (s);Voltage (V)\n0,0;3,501\n0,5;3,502\n1,0;3,503\n",
        "Time (s)\tU [V]\n0.0\t3.501\n0.5\t3.502\n1.0\t3.503\n",
        "t/s|Voltage / mV\n0|3501\n0.5|3502\n1.0|3503\n",
        "Time(s) Voltage(V)\n0.0 3.501\n0.5 3.502\n1.0 3.503\n",
        '"Time (s)","Voltage (V)"\r\n"0,0","3,501"\r\n"0,5","3,502"\r\n"1,0","3,503"\r\n',
        "# Bench meter\n# Range,5\nInterval;0.5\n\nElapsed [ms],V [V]\n0,3.501\n500,3.502\n1000,3.503\n",
        "No.,Elapsed (min),Voltage\n,min,mV\n1,0,3501\n2,0.008333333333333,3502\n3,0.0166666666666667,3503\n",
        "Time (s),Voltage (V),\n0.0,3.501,\n0.5,3.502,\n1.0,3.503,\n",
        "Time (s),Voltage (V)\r0.0,3.501\r0.5,3.502\r1.0,3.503\r",
    ],
)
def test_the_same_readings_in_many_layouts(tmp_path: Path, text: str) -> None:
    log = put(tmp_path, text)
    assert log.series.index.name == "time_s"
    assert log.series.name == "voltage_V"
    np.testing.assert_allclose(log.time_s, [0, 0.5, 1.0], atol=1e-9)
    np.testing.assert_allclose(log.series, [3.501, 3.502, 3.503])
    assert log.resolution == pytest.approx(0.001)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    log = put(tmp_path, "Zeit (s);Strom (µA)\n0;45,1\n1;45,2\n2;45,3\n", "A", encoding)
    np.testing.assert_allclose(log.series, [45.1e-6, 45.2e-6, 45.3e-6])


def test_a_workbook_and_a_parquet_file_read_like_a_text(tmp_path: Path) -> None:
    began = datetime(2025, 3, 1, 23, 59, 59)
    moments = [began + timedelta(seconds=place) for place in range(3)]
    book = openpyxl.Workbook()
    for row in [["Meter"], [], ["Time", "Current (mA)"], *zip(moments, [500.0, "OL", 502.5], strict=True)]:
        book.active.append(list(row))
    book.save(tmp_path / "log.xlsx")
    frame = pd.DataFrame({"Time": moments, "Current (mA)": [500.0, np.inf, 502.5]})
    frame.to_parquet(tmp_path / "log.parquet")
    for name in ("log.xlsx", "log.parquet"):
        log = logs.read(name, "A", folder=tmp_path)
        assert log.started == began
        assert log.time_s.tolist() == [0.0, 1.0, 2.0]
        np.testing.assert_allclose(log.series, [0.5, np.nan, 0.5025])
        assert log.report.overloads == 1


def test_one_file_may_hold_both_quantities_and_a_temperature(tmp_path: Path) -> None:
    text = rows("Time (s),Voltage (V),Current (A),Temp (°F)", "0,3.5,0.5,77", "1,3.6,0.4,78.8")
    assert put(tmp_path, text, "V").series.tolist() == [3.5, 3.6]
    assert put(tmp_path, text, "A").series.tolist() == [0.5, 0.4]
    np.testing.assert_allclose(put(tmp_path, text, "degC").series, [25.0, 26.0])


# Units


def test_a_unit_column_switches_in_the_middle(tmp_path: Path) -> None:
    log = put(tmp_path, rows("Time (s),Value,Unit", "0,999.1,mV", "1,1.001,V", "2,1002,DC mV", "3,12.1,Ω"))
    np.testing.assert_allclose(log.series, [0.9991, 1.001, 1.002, np.nan])
    assert log.report.unreadable == 1


def test_a_unit_behind_each_reading(tmp_path: Path) -> None:
    log = put(tmp_path, rows("Time (s),Reading", "0,999.5 mV", "1,1.0003 V", "2,OL V"))
    np.testing.assert_allclose(log.series, [0.9995, 1.0003, np.nan])
    assert log.report.overloads == 1


def test_a_unit_is_never_guessed(tmp_path: Path) -> None:
    text = rows("Time (s),Current", "0,500", "1,501")
    with pytest.raises(LogError, match=r"no unit.*column 'Current'|column 'Current'.*no unit") as caught:
        put(tmp_path, text, "A")
    assert "unit: mA" in caught.value.remedy
    np.testing.assert_allclose(put(tmp_path, text, "A", unit="mA").series, [0.5, 0.501])
    np.testing.assert_allclose(put(tmp_path, "# Unit: mA\n" + text, "A").series, [0.5, 0.501])


def test_a_unit_of_another_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no unit of current"):
        put(tmp_path, rows("Time (s),Current", "0,500", "1,501"), "A", unit="mV")
    with pytest.raises(LogError, match="headed as the voltage"):
        put(tmp_path, rows("Time (s),Current (mA)", "0,500", "1,501"), "V")


def test_columns_named_by_the_review_file(tmp_path: Path) -> None:
    text = rows("Time (s),A (V),B (V)", "0,1.5,3.5", "1,1.6,3.6")
    with pytest.raises(LogError, match="several columns"):
        put(tmp_path, text)
    assert put(tmp_path, text, value="B (V)").series.tolist() == [3.5, 3.6]
    with pytest.raises(LogError, match=r"no column 'C'.*'B \(V\)'"):
        put(tmp_path, text, value="C")
    bare = "0,3.5\n1,3.6\n2,3.6\n"
    assert put(tmp_path, bare, time="1", value="2", unit="V").series.tolist() == [3.5, 3.6, 3.6]


def test_the_sign_is_reversed_only_where_the_review_file_says_so(tmp_path: Path) -> None:
    text = rows("Time (s),I (A)", "0,-0.5", "1,-0.6")
    assert put(tmp_path, text, "A").series.tolist() == [-0.5, -0.6]
    reversed_ = put(tmp_path, text, "A", sign=-1)
    assert reversed_.series.tolist() == [0.5, 0.6]
    assert any("reversed" in note for note in reversed_.report.notes)


# Clocks


@pytest.mark.parametrize(
    ("stamps", "started"),
    [
        (("2025-03-01T21:05:00.5", "2025-03-01T21:05:01.5"), datetime(2025, 3, 1, 21, 5, 0, 500_000)),
        (("01.03.2025 21:05:00", "01.03.2025 21:05:01"), datetime(2025, 3, 1, 21, 5)),
        (("3/13/2025 9:05:00 PM", "3/13/2025 9:05:01 PM"), datetime(2025, 3, 13, 21, 5)),
        (("2025/03/01 21:05:00", "2025/03/01 21:05:01"), datetime(2025, 3, 1, 21, 5)),
        (("31.12.25 23:59:59", "01.01.26 00:00:00"), datetime(2025, 12, 31, 23, 59, 59)),
        (("31/01/2025 23:59:59", "01/02/2025 00:00:00"), datetime(2025, 1, 31, 23, 59, 59)),
        (("1750000000", "1750000001"), datetime(2025, 6, 15, 15, 6, 40, tzinfo=UTC)),
        (("2025-03-01T21:05:00Z", "2025-03-01T21:05:01Z"), datetime(2025, 3, 1, 21, 5, tzinfo=UTC)),
        (("1750000000500", "1750000001500"), datetime(2025, 6, 15, 15, 6, 40, 500_000, tzinfo=UTC)),
    ],
)
def test_dates_in_many_spellings(tmp_path: Path, stamps: tuple[str, str], started: datetime) -> None:
    log = put(tmp_path, rows("Time,Voltage (V)", *(f"{stamp},3.5" for stamp in stamps)))
    assert log.started == started
    np.testing.assert_allclose(log.time_s, [0.0, 1.0], atol=1e-6)


def test_a_date_column_and_a_time_column(tmp_path: Path) -> None:
    log = put(tmp_path, rows("Date,Time,U (V)", "2025-03-01,23:59:59,3.5", "2025-03-02,00:00:01,3.6"))
    assert log.started == datetime(2025, 3, 1, 23, 59, 59)
    assert log.time_s.tolist() == [0.0, 2.0]


def test_times_of_day_go_on_past_midnight(tmp_path: Path) -> None:
    log = put(tmp_path, rows("Time,U (V)", "23:59:58,3.5", "23:59:59,3.6", "00:00:01,3.7", "00:00:00,3.8"))
    assert log.time_s.tolist() == [0.0, 1.0, 2.0, 3.0]
    assert log.series.tolist() == [3.5, 3.6, 3.8, 3.7]
    assert log.report.out_of_order == 1
    assert log.time_of_day_s == 86_398.0


def test_spans_beyond_a_day(tmp_path: Path) -> None:
    log = put(tmp_path, rows("Elapsed,U (V)", "23:59:59,3.5", "24:00:00,3.6", "25:00:00,3.7"))
    assert log.time_s.tolist() == [0.0, 1.0, 3601.0]


def test_minutes_and_seconds_are_not_confused_with_hours_and_minutes(tmp_path: Path) -> None:
    body = ("00:01,3.5", "00:02,3.6", "00:03,3.7")
    with pytest.raises(LogError, match="mm:ss"):
        put(tmp_path, rows("Time,U (V)", *body))
    assert put(tmp_path, rows("Time (mm:ss),U (V)", *body)).time_s.tolist() == [0.0, 1.0, 2.0]
    assert put(tmp_path, rows("Time (hh:mm),U (V)", *body)).time_s.tolist() == [0.0, 60.0, 120.0]


def night(hours: tuple[int, ...], day: str) -> str:
    return rows(
        "Time,U (V)", *(f"{day} {hour:02d}:{m:02d}:00,3.{m:02d}" for hour in hours for m in range(60))
    )


def test_the_clock_set_back_in_autumn_is_taken_out_and_reported(tmp_path: Path) -> None:
    # In the European Union summer time ends on October's last Sunday, 01:00 UTC (Directive 2000/84/EC).
    log = put(tmp_path, night((1, 2, 2, 3), "2025-10-26"))
    assert log.report.clock_changes == (logs.ClockChange(7200.0, -3600.0),)
    np.testing.assert_array_equal(log.time_s, np.arange(240) * 60.0)
    assert not log.report.gaps
    assert any("set back" in sentence for sentence in log.report.sentences())


def test_the_clock_set_forward_in_spring_is_taken_out_and_reported(tmp_path: Path) -> None:
    # Summer time begins on the last Sunday of March at 01:00 UTC (the same directive).
    log = put(tmp_path, night((0, 1, 3, 4), "2025-03-30"))
    assert log.report.clock_changes == (logs.ClockChange(7200.0, 3600.0),)
    np.testing.assert_array_equal(log.time_s, np.arange(240) * 60.0)


def test_an_hour_lost_on_another_day_stays_a_gap_and_is_pointed_out(tmp_path: Path) -> None:
    log = put(tmp_path, night((0, 1, 3, 4), "2025-03-25"))
    assert log.report.clock_changes == ()
    assert log.report.gaps == (logs.Gap(7140.0, 10_800.0),)
    assert any("one hour" in note for note in log.report.notes)


def test_stamps_with_a_zone_know_no_clock_change(tmp_path: Path) -> None:
    body = ("2025-10-26T02:59:59+02:00,3.5", "2025-10-26T02:00:00+01:00,3.6", "2025-10-26T02:00:01+01:00,3.7")
    log = put(tmp_path, rows("Time,U (V)", *body))
    assert log.time_s.tolist() == [0.0, 1.0, 2.0]
    assert log.report.clock_changes == ()


def test_whole_second_stamps_lag_by_half_a_second(tmp_path: Path) -> None:
    whole = put(tmp_path, rows("Time,U (V)", "10:00:00,3.5", "10:00:02,3.6", "10:00:03,3.7"))
    tenths = put(tmp_path, rows("Time,U (V)", "10:00:00.0,3.5", "10:00:01.1,3.6", "10:00:02.2,3.7"))
    assert whole.report.stamp_lag_s == 0.5
    assert tenths.report.stamp_lag_s == pytest.approx(0.05)


def test_several_rows_in_one_second_are_spread_over_it(tmp_path: Path) -> None:
    body = [f"10:00:{place // 4:02d},3.{place:03d}" for place in range(2, 40)]
    log = put(tmp_path, rows("Time,U (V)", *body))
    np.testing.assert_allclose(log.time_s, np.arange(38) * 0.25)
    assert log.report.duplicates == 0
    assert log.report.stamp_lag_s == 0.125


# Faults that are counted


def test_every_overload_mark_is_missing_and_counted(tmp_path: Path) -> None:
    marks = [
        "OL",
        "0L",
        "O.L",
        "-OL",
        "----",
        "--.--",
        "inf",
        "-inf",
        "Overload",
        "OVLD",
        "9.9E37",
        "OL mA",
        "∞",
    ]
    body = [f"{place},{mark}" for place, mark in enumerate(marks)] + ["13,0.5", "14,0.5", "15,"]
    log = put(tmp_path, rows("Time (s),I (A)", *body), "A")
    assert log.report.overloads == len(marks)
    assert log.report.empty == 1
    assert log.series.notna().sum() == 2


def test_rows_out_of_order_twice_missing_and_unreadable(tmp_path: Path) -> None:
    order = [0, 1, 2, 2, 4, 3, *range(5, 40), *range(99, 140)]
    body = [f"{second},3.{second:03d}" for second in order]
    body.insert(10, "meter paused")
    body.insert(20, "17.5,3.5,7,7")
    log = put(tmp_path, rows("Time (s),U (V)", *body))
    kept = [*range(40), *range(99, 140)]
    assert log.time_s.tolist() == [float(second) for second in kept]
    np.testing.assert_allclose(log.series, [float(f"3.{second:03d}") for second in kept])
    report = log.report
    assert (report.duplicates, report.out_of_order, report.unreadable, report.missing) == (1, 1, 2, 59)
    assert report.gaps == (logs.Gap(39.0, 99.0),)
    assert report.gap_time_s == log.gap_time_s == 60.0
    assert report.rows == len(order) + 2


@pytest.mark.parametrize("last", ["3,3.6", "3,", "3"])
def test_a_last_row_cut_in_its_middle_is_left_out_and_counted(tmp_path: Path, last: str) -> None:
    log = put(tmp_path, "Time (s),U (V)\n0,3.501\n1,3.602\n2,3.603\n" + last)
    assert log.time_s.tolist() == [0.0, 1.0, 2.0]
    assert log.report.cut_off == 1


def test_a_last_row_without_line_end_is_kept_where_it_is_whole(tmp_path: Path) -> None:
    log = put(tmp_path, "Time (s),U (V)\n0,3.501\n1,3.602\n2,3.603")
    assert log.report.cut_off == 0
    assert len(log.series) == 3


# Faults that stop


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf \r\n", "empty"),
        (b"Time (s),U (V)\n0,3.5\n1,\0\0\n", "NUL"),
        (b"hello\nthis is no table\n", "no table"),
        (b"Time (s),U (V)\n", "no table"),
        (b"Time (s),U (V)\n0," + b"3" * 10_000_000 + b"\n", "longer than"),
        (b"Time (s),U (V)\n0,OL\n1,OL\n2,OL\n", "beyond the meter's range"),
        (b"Time (s),U (V)\n5,3.5\n5,3.6\n5,3.7\n", "do not advance"),
        (b"Time (s),U (V)\n" + b"".join(b"%d,3.5\n" % (n % 50) for n in range(100)), "backwards"),
        (b"PK\x03\x04 no workbook", "workbook"),
        (b"PAR1 no table PAR1", "Parquet"),
        (b"\xd0\xcf\x11\xe0 old", "XLS"),
        (b"Start,U (V)\nnow,3.5\nlater,3.6\n", "headed as the time"),
    ],
)
def test_faults_say_which_file_and_what_to_do(tmp_path: Path, text: bytes, words: str) -> None:
    with pytest.raises(LogError, match=words) as caught:
        put(tmp_path, text)
    assert caught.value.file == "log.csv"
    assert caught.value.message.startswith("log.csv")


@pytest.mark.parametrize(
    "path", ["../log.csv", "/etc/hosts", "C:\\log.csv", "a/../../log.csv", "", "no.csv", ".", "a\0"]
)
def test_paths_that_leave_the_folder_or_lead_nowhere(tmp_path: Path, path: str) -> None:
    with pytest.raises(LogError):
        logs.read(path, "V", folder=tmp_path)


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "out.csv").write_text("Time (s),U (V)\n0,3.5\n1,3.6\n")
    (tmp_path / "in" / "link.csv").symlink_to(tmp_path / "out.csv")
    with pytest.raises(LogError, match="out of the review folder"):
        logs.read("link.csv", "V", folder=tmp_path / "in")


def test_a_very_long_line_far_down_costs_one_row(tmp_path: Path) -> None:
    body = "".join(f"{second},3.5\n" for second in range(20_000))
    log = put(tmp_path, "Time (s),U (V)\n" + body + "20000," + "3" * 10_000_000 + "\n")
    assert log.report.overloads + log.report.unreadable == 1
    assert log.series.notna().sum() == 20_000


def test_rows_that_share_a_stamp_are_spread_within_its_last_digit_and_none_is_lost(tmp_path: Path) -> None:
    log = put(tmp_path, "Time (s),U (V)\n0.12345,3.5\n0.12345,3.6\n0.5,3.7\n0.5,3.8\n")
    np.testing.assert_allclose(log.time_s, [0.12345, 0.123455, 0.5, 0.500005], atol=1e-9)
    assert log.series.tolist() == [3.5, 3.6, 3.7, 3.8]
    assert log.report.duplicates == 0


def test_a_time_more_than_a_hundred_years_away_is_not_readable(tmp_path: Path) -> None:
    log = put(tmp_path, "Time (s),U (V)\n0,3.5\n1,3.6\n2,3.7\n9999999999999999999,3.8\n")
    assert log.time_s.tolist() == [0.0, 1.0, 2.0]
    assert log.report.unreadable == 1


def test_a_clock_that_was_never_set_is_told(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="clock was not set"):
        put(tmp_path, "Time,U (V)\n9999-12-31 23:59:58,3.5\n9999-12-31 23:59:59,3.6\n")


def test_gaps_are_told_in_a_sentence_that_says_nothing_twice() -> None:
    one = logs.LogReport(rows=9, gaps=(logs.Gap(10.0, 78.0),))
    assert one.sentences() == ("1 gap without rows, 68\u00a0s long.",)
    two = logs.LogReport(rows=9, gaps=(logs.Gap(10.0, 78.0), logs.Gap(100.0, 136.0)))
    assert two.sentences() == ("2 gaps without rows, together 104\u00a0s, the longest 68\u00a0s.",)


# Leads


def test_swapped_leads_are_recognised_and_a_drain_is_not() -> None:
    time_s = np.arange(0.0, 600.0, 10.0)
    rising = pd.Series(3.6 + time_s / 6000, index=time_s)
    current = pd.Series(np.where(time_s > 60, 0.5, 0.0), index=time_s)
    voltage = logs.of_series(rising, "V")
    assert logs.leads_swapped(voltage, logs.of_series(-current, "A"))
    assert not logs.leads_swapped(voltage, logs.of_series(current, "A"))
    falling = logs.of_series(pd.Series(rising.to_numpy()[::-1], index=time_s), "V")
    assert not logs.leads_swapped(falling, logs.of_series(-current, "A"))


# Any content at all

QUIET = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@QUIET
@given(data=st.binary(max_size=400), quantity=st.sampled_from(["V", "A", "degC"]))
def test_any_bytes_give_a_log_or_an_error_of_the_kit(
    tmp_path: Path, data: bytes, quantity: logs.Quantity
) -> None:
    with contextlib.suppress(InputError):
        put(tmp_path, data, quantity)


CELLS = st.one_of(
    st.sampled_from(
        [
            "0",
            "1",
            "2.5",
            "3,5",
            "OL",
            "----",
            "inf",
            "nan",
            "",
            "-",
            "12:00:00",
            "24:00:01",
            "11:59 PM",
            "99:99:99",
            "2025-03-01 10:00:00",
            "2025-02-30 10:00:00",
            "31.12.2025 23:59",
            "0000-00-00T00:00:00Z",
            "1e999",
            "1e400",
            "mV",
            "V",
            "V (V)",
            "Time",
            "Unit",
            "Current (A)",
            '"',
            "'",
            "#",
            "\t",
            "9999999999999999999",
            "1750000000",
            "2025-03-01T10:00:00+99:99",
            "12:00:00,5",
            "1 d 02:03:04",
            "3.5 V",
            "−1",
            "٣",
            "½",
            "\u2028",
            "\x1a",
        ]
    ),
    st.text(max_size=5),
)


HUGE = "9999999999999999999"


@QUIET
@example(table=[["0", "1"], [HUGE, "1"], [HUGE, "1"]], delimiter=",", head="Time{d}V\n", unit="V")
@example(table=[["0.12345", "1"], ["0.12345", "2"], ["0.5", "2"]], delimiter=",", head="Time{d}V\n", unit="V")
@example(table=[["45000.5", "1"], ["OL", "2"], ["x", "2"]], delimiter=";", head="Time{d}V\n", unit="V")
@example(
    table=[["9999-12-31 23:59:59", "1"], ["9999-12-31 00:00:00", "2"]],
    delimiter=",",
    head="Time{d}V\n",
    unit="V",
)
@given(
    table=st.lists(st.lists(CELLS, min_size=1, max_size=4), min_size=1, max_size=12),
    delimiter=st.sampled_from([",", ";", "\t", "|", " "]),
    head=st.sampled_from(["", "Time (s){d}Voltage (V)\n", "Date{d}Time{d}Voltage{d}Unit\n", "Time{d}V\n"]),
    unit=st.sampled_from([None, "V", "mV"]),
)
def test_any_table_gives_a_log_or_an_error_of_the_kit(
    tmp_path: Path, table: list[list[str]], delimiter: str, head: str, unit: str | None
) -> None:
    text = head.replace("{d}", delimiter) + "\n".join(delimiter.join(row) for row in table)
    with contextlib.suppress(InputError):
        log = put(tmp_path, text.encode("utf-8", "surrogatepass"), unit=unit)
        assert (np.diff(log.time_s) > 0).all()
        assert log.series.notna().any()
        assert log.report.sentences() is not None


@QUIET
@given(
    milliseconds=st.lists(st.integers(1, 100_000), min_size=1, max_size=15),
    counts=st.lists(st.integers(-60_000, 60_000), min_size=16, max_size=16),
    delimiter=st.sampled_from([";", "\t", "|", ","]),
    decimal=st.sampled_from([".", ","]),
    stamp=st.sampled_from(["elapsed", "iso", "dotted"]),
    unit=st.sampled_from([("V", 1.0), ("mV", 1000.0)]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    preamble=st.sampled_from(["", "# Meter: 3\n\n", "Model,7\nRange;60 V\n"]),
    end=st.sampled_from(["\n", "\r\n"]),
)
def test_what_a_meter_writes_is_read_back(
    tmp_path: Path,
    milliseconds: list[int],
    counts: list[int],
    delimiter: str,
    decimal: str,
    stamp: str,
    unit: tuple[str, float],
    encoding: str,
    preamble: str,
    end: str,
) -> None:
    quote = '"' if delimiter == decimal == "," else ""
    time_s = np.cumsum([0, *milliseconds]) / 1000
    began = datetime(2025, 1, 14, 23, 59, 30)
    volts = np.array(counts[: len(time_s)]) / 1000

    def spelled(second: float) -> str:
        if stamp == "elapsed":
            return f"{second:.3f}".replace(".", decimal)
        moment = began + timedelta(seconds=second)
        return moment.strftime("%Y-%m-%d %H:%M:%S.%f" if stamp == "iso" else "%d.%m.%Y %H:%M:%S.%f")[:-3]

    text = io.StringIO()
    text.write(
        preamble
        + delimiter.join(["Time (s)" if stamp == "elapsed" else "Time", f"Voltage ({unit[0]})"])
        + "\n"
    )
    for second, volt in zip(time_s, volts, strict=True):
        reading = f"{volt * unit[1]:.3f}".replace(".", decimal)
        text.write(f"{quote}{spelled(second)}{quote}{delimiter}{quote}{reading}{quote}\n")
    log = put(tmp_path, text.getvalue().replace("\n", end).encode(encoding), plausible="yes, I mean it")
    np.testing.assert_allclose(log.time_s, time_s, atol=1e-6)
    np.testing.assert_allclose(log.series, volts, rtol=1e-12, atol=1e-12)
    assert log.started == (None if stamp == "elapsed" else began)


@pytest.mark.parametrize(
    "stamp",
    [
        "%d.%m.%Y %H:%M:%S.%f",
        "%d.%m.%Y %H:%M:%S,%f",
        "%d.%m.%y, %H:%M:%S",
        "%d/%m/%Y %H:%M",
        "%m/%d/%Y %I:%M:%S %p",
        "%Y/%m/%d %H:%M:%S.%f",
    ],
)
def test_moments_in_many_spellings_are_read_row_by_row(tmp_path: Path, stamp: str) -> None:
    began = datetime(2025, 2, 27, 23, 50)
    moments = [began + timedelta(minutes=11, seconds=60.25 * place) for place in range(0, 4000, 7)]
    body = [f"{moment.strftime(stamp)};{3.5 + place % 9 / 1000:.3f}" for place, moment in enumerate(moments)]
    log = put(tmp_path, rows("Time;U (V)", *body))
    assert log.started == datetime.strptime(moments[0].strftime(stamp), stamp)
    cut = [datetime.strptime(moment.strftime(stamp), stamp) for moment in moments]
    np.testing.assert_allclose(log.time_s, [(moment - cut[0]).total_seconds() for moment in cut], atol=1e-6)


@pytest.mark.parametrize(
    "odd",
    [
        "31.02.2025 10:00:01",
        "01.03.2025 10:60:01",
        "01.03.2025 24:00:01",
        "01-03-2025 10:00:01",
        "٣1.03.2025 10:00:01",
    ],
)
def test_one_moment_spelled_in_another_way_or_none_at_all_costs_at_most_its_row(
    tmp_path: Path, odd: str
) -> None:
    body = [f"01.03.2025 10:00:0{second};3.5" for second in range(9)]
    body[4] = f"{odd};3.5"
    log = put(tmp_path, rows("Time;U (V)", *body))
    assert log.started == datetime(2025, 3, 1, 10, 0, 0)
    assert log.series.notna().sum() + log.report.unreadable == 9
