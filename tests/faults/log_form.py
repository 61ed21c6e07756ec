"""Logs whose form is damaged: cut, mixed, torn, in a strange encoding, or no log at all."""

from __future__ import annotations

import random

from .entry import Refused, both, changed, rows, swapped, wrote

VOLTAGE, CURRENT, STANDBY = "logs/voltage.csv", "logs/current.csv", "logs/standby.csv"


def _noise(length: int) -> bytes:
    return random.Random(7).randbytes(length)


def _without_nul(raw: bytes) -> bytes:
    return raw.replace(b"\0", b"\1")


FORM = (
    Refused(
        "log empty",
        wrote(CURRENT, ""),
        "logs/current.csv: the file is empty. Export it again from the meter.",
    ),
    Refused(
        "log of blank lines",
        wrote(CURRENT, "\n \n\t\n"),
        "logs/current.csv: the file is empty. Export it again from the meter.",
    ),
    Refused(
        "log with a heading row and nothing below",
        wrote(CURRENT, "Time,Current (A)\n"),
        (
            "logs/current.csv: no table of times and readings is seen in it; expected a heading "
            "row, then rows of a time and a number. Export it from the meter as CSV with "
            "headings."
        ),
    ),
    Refused(
        "log with one row",
        wrote(CURRENT, "Time (s),Current (A)\n0,0.5\n"),
        ("logs/current.csv: only 1 reading; expected at least 5. Check that this is the log of the charge."),
    ),
    Refused(
        "log with four rows",
        wrote(CURRENT, "Time (s),Current (A)\n0,0.5\n1,0.5\n2,0.5\n3,0.4\n"),
        ("logs/current.csv: only 4 readings; expected at least 5. Check that this is the log of the charge."),
    ),
    Refused(
        "log cut within its heading row",
        wrote(CURRENT, "Time,Curr"),
        (
            "logs/current.csv: no table of times and readings is seen in it; expected a heading "
            "row, then rows of a time and a number. Export it from the meter as CSV with "
            "headings."
        ),
    ),
    Refused(
        "log cut within its first row",
        wrote(CURRENT, "Time,Current (A)\n2026-02-10 21:3"),
        (
            "logs/current.csv: no table of times and readings is seen in it; expected a heading "
            "row, then rows of a time and a number. Export it from the meter as CSV with "
            "headings."
        ),
    ),
    Refused(
        "log without headings",
        changed(CURRENT, lambda raw: raw.partition(b"\n")[2]),
        (
            "logs/current.csv, heading row: no column is headed as the current; expected one "
            "heading such as 'Current (mA)'. The file has 2 columns without headings, by number "
            "from 1: 1 (2026-02-10 21:38:00, 2026-02-10 21:38:30, 2026-02-10 21:39:00), 2 (0.000, "
            "0.000, 0.000). If it is '2', write into the review file: current: {path: logs/current.csv, "
            "value: 2, unit: A}."
        ),
    ),
    Refused(
        "log with NUL bytes in its middle",
        changed(CURRENT, lambda raw: raw[:900] + bytes(400) + raw[900:]),
        (
            "logs/current.csv: the file holds NUL bytes, so it was damaged, as by a full memory "
            "card. Export it again, or remove the damaged rows."
        ),
    ),
    Refused(
        "log of NUL bytes",
        wrote(CURRENT, bytes(5000)),
        (
            "logs/current.csv: the file holds NUL bytes, so it was damaged, as by a full memory "
            "card. Export it again, or remove the damaged rows."
        ),
    ),
    Refused(
        "log that ends in NUL bytes",
        changed(CURRENT, lambda raw: raw + bytes(4096)),
        (
            "logs/current.csv: the file holds NUL bytes, so it was damaged, as by a full memory "
            "card. Export it again, or remove the damaged rows."
        ),
    ),
    Refused(
        "one line of ten million characters",
        wrote(CURRENT, "1" * 10_000_000),
        (
            "logs/current.csv, row 1: a line is longer than 100 000 characters; expected one row "
            "per line. Export it again as CSV."
        ),
    ),
    Refused(
        "ten million characters without a line end",
        wrote(CURRENT, "Time,Current (A)," * 600_000),
        (
            "logs/current.csv, row 1: a line is longer than 100 000 characters; expected one row "
            "per line. Export it again as CSV."
        ),
    ),
    Refused(
        "one line of a million characters in its middle",
        rows(CURRENT, lambda row, cells: [cells[0], "9" * 1_000_000 if row == 250 else cells[1]]),
        (
            "logs/current.csv, row 252: a line is longer than 100 000 characters; expected one "
            "row per line. Export it again as CSV."
        ),
    ),
    Refused(
        "binary junk",
        wrote(CURRENT, _noise(20_000)),
        (
            "logs/current.csv: the file holds NUL bytes, so it was damaged, as by a full memory "
            "card. Export it again, or remove the damaged rows."
        ),
    ),
    Refused(
        "binary junk without NUL bytes",
        wrote(CURRENT, _without_nul(_noise(20_000))),
        "logs/current.csv: the file is damaged or no text. Export it from the meter as CSV.",
    ),
    Refused(
        "a picture in place of a log",
        wrote(CURRENT, b"\x89PNG\r\n\x1a\n" + _without_nul(_noise(3000))),
        "logs/current.csv: this is a picture, no log. Export it from the meter as CSV.",
    ),
    Refused(
        "a PDF in place of a log",
        wrote(CURRENT, b"%PDF-1.7\n1 0 obj\n<< /Type /Catalog >>\nendobj\n%%EOF\n"),
        "logs/current.csv: this is a PDF document, no log. Export it from the meter as CSV.",
    ),
    Refused(
        "a web page in place of a log",
        wrote(CURRENT, "<!DOCTYPE html>\n<html><body><p>404: not found</p></body></html>\n"),
        "logs/current.csv: this is a web page, no log. Export it from the meter as CSV.",
    ),
    Refused(
        "a letter in place of a log",
        wrote(CURRENT, "Dear keeper,\nthe lamp came on Monday, 3 March.\nIt is red.\n"),
        (
            "logs/current.csv: no table of times and readings is seen in it; expected a heading "
            "row, then rows of a time and a number. Export it from the meter as CSV with "
            "headings."
        ),
    ),
    Refused(
        "an old XLS workbook",
        wrote(CURRENT, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)),
        "logs/current.csv: this is an old XLS workbook. Save it as XLSX or CSV.",
    ),
    Refused(
        "a zip file in place of a log",
        wrote(CURRENT, b"PK\x03\x04" + _noise(600)),
        ("logs/current.csv: the workbook is damaged and cannot be read. Save it again, or as CSV."),
    ),
    Refused(
        "a compressed log",
        wrote(CURRENT, b"\x1f\x8b\x08\x00" + _without_nul(_noise(900))),
        "logs/current.csv: this is a packed file, no log. Export it from the meter as CSV.",
    ),
    Refused(
        "JSON in place of a log",
        wrote(CURRENT, '{"rows": [{"t": 1, "i": 0.5}, {"t": 2, "i": 0.5}]}\n'),
        "logs/current.csv: this is a JSON file, no log. Export it from the meter as CSV.",
    ),
    Refused(
        "UTF-16 cut at an odd byte, then read as another",
        wrote(CURRENT, "Time,Current (A)\n".encode("utf-16")[:-3]),
        (
            "logs/current.csv: no table of times and readings is seen in it; expected a heading "
            "row, then rows of a time and a number. Export it from the meter as CSV with "
            "headings."
        ),
    ),
    Refused(
        "another alphabet's encoding",
        wrote(CURRENT, "Время,Ток\n1,0.5\n2,0.5\n3,0.6\n".encode("koi8-r")),
        (
            "logs/current.csv, heading row: no column is headed as the time; expected a heading "
            "such as 'Time' or 'Elapsed (s)'. The file has: '÷ÒÅÍÑ' (1, 2, 3), 'ôÏË' (0.5, 0.5, "
            "0.6). If it is '÷ÒÅÍÑ', write into the review file: current: {path: logs/current.csv, time: "
            '"÷ÒÅÍÑ"}.'
        ),
    ),
    Refused(
        "decimal commas between commas",
        rows(CURRENT, lambda _, cells: [cells[0], cells[1].replace(".", ",")]),
        (
            "logs/current.csv, row 2: the rows have more cells than the heading row, as "
            "'2026-02-10 21:38:00,0,000': their commas may be decimal marks; expected a comma "
            "between cells or within numbers, not both. Export it with ';' between the cells."
        ),
    ),
    Refused(
        "decimal commas in some rows, points in others",
        rows(
            CURRENT,
            lambda row, cells: [cells[0], cells[1] if row % 2 else '"' + cells[1].replace(".", ",") + '"'],
        ),
        (
            "logs/current.csv, column 'Current (A)': some rows have a decimal point and some a "
            "comma, such as '0.000' and '0,000'; expected one decimal mark throughout, and "
            "nothing between thousands. Export it again so."
        ),
    ),
    Refused(
        "thousands set off by commas",
        rows(CURRENT, lambda row, cells: [cells[0], f'"{1000 * float(cells[1]) * 1.2:,.0f}"']),
        (
            "logs/current.csv, column 'Current (A)': '1,200' may be 1200, or 1.200; expected one "
            "decimal mark throughout, and nothing between thousands. Export it again so."
        ),
    ),
    Refused(
        "thousands set off by points",
        rows(
            CURRENT, lambda row, cells: [cells[0], f"{1000 * float(cells[1]) * 1.2:,.0f}".replace(",", ".")]
        ),
        (
            "logs/current.csv: the largest reading is 974 A, taken in A, which no bench has; "
            "expected 1e-10 to 30 A. Check the unit. Were they in mA or µA or nA, they would be. "
            "If in mA, write into the review file: current: {path: logs/current.csv, unit: mA}. If it is "
            "right as it is, write into the review file: current: {path: logs/current.csv, plausible: "
            '"yes, I mean it"}.'
        ),
    ),
    Refused(
        "two columns with one heading",
        changed(
            CURRENT,
            lambda raw: b"\n".join(
                line + (b",Current (A)" if b"Time" in line else b",0.4") for line in raw.splitlines()
            ),
        ),
        (
            "logs/current.csv, heading row: several columns may be the current: 'Current (A)', "
            "'Current (A)'; expected one heading such as 'Current (mA)'. The file has: 'Time' "
            "(2026-02-10 21:38:00, 2026-02-10 21:38:30, 2026-02-10 21:39:00), 'Current (A)' "
            "(0.000, 0.000, 0.000), 'Current (A)' (0.4, 0.4, 0.4). If it is the first of them, "
            "write into the review file: current: {path: logs/current.csv, value: 2}."
        ),
    ),
    Refused(
        "two columns of which either may be the current",
        changed(
            CURRENT,
            lambda raw: b"\n".join(
                line + (b",Sink (A)" if b"Time" in line else b",0.4")
                for line in raw.replace(b"Current", b"Source").splitlines()
            ),
        ),
        (
            "logs/current.csv, heading row: several columns may be the current: 'Source (A)', "
            "'Sink (A)'; expected one heading such as 'Current (mA)'. The file has: 'Time' "
            "(2026-02-10 21:38:00, 2026-02-10 21:38:30, 2026-02-10 21:39:00), 'Source (A)' "
            "(0.000, 0.000, 0.000), 'Sink (A)' (0.4, 0.4, 0.4). If it is the first of them, write "
            'into the review file: current: {path: logs/current.csv, value: "Source (A)"}.'
        ),
    ),
    Refused(
        "no unit anywhere",
        swapped(CURRENT, ("Current (A)", "Current")),
        (
            "logs/current.csv, column 'Current': no unit is given for the current; expected a "
            "heading with a unit, such as 'Current (mA)'. Their size, 0 to 1 near the top, would "
            "fit A or mA or µA. Which it is can't be told: look at the meter. The file has: "
            "'Time' (2026-02-10 21:38:00, 2026-02-10 21:38:30, 2026-02-10 21:39:00), 'Current' "
            "(0.000, 0.000, 0.000). If they are A, write into the review file: current: {path: "
            "logs/current.csv, value: Current, unit: A}."
        ),
    ),
    Refused(
        "no column of times",
        both(rows(CURRENT, lambda row, cells: [cells[1], cells[1]]), swapped(CURRENT, ("Time", "Charge"))),
        (
            "logs/current.csv, heading row: no column is headed as the time; expected a heading "
            "such as 'Time' or 'Elapsed (s)'. The file has: 'Charge' (0.000, 0.000, 0.000), "
            "'Current (A)' (0.000, 0.000, 0.000). No column here can be the time: export the log "
            "with the time of each row."
        ),
    ),
    Refused(
        "times in words",
        rows(CURRENT, lambda row, cells: ["soon", cells[1]]),
        (
            "logs/current.csv, heading row: no column is headed as the time; expected a heading "
            "such as 'Time' or 'Elapsed (s)'. The file has: 'Time' (soon, soon, soon), 'Current "
            "(A)' (0.000, 0.000, 0.000). No column here can be the time: export the log with the "
            "time of each row."
        ),
    ),
    Refused(
        "times of which most can't be read",
        rows(CURRENT, lambda row, cells: [cells[0] if row < 40 else "?", cells[1]]),
        (
            "logs/current.csv, heading row: no column is headed as the time; expected a heading "
            "such as 'Time' or 'Elapsed (s)'. The file has: 'Time' (2026-02-10 21:38:00, "
            "2026-02-10 21:38:30, 2026-02-10 21:39:00), 'Current (A)' (0.000, 0.000, 0.000). No "
            "column here can be the time: export the log with the time of each row."
        ),
    ),
    Refused(
        "times that stand still",
        rows(CURRENT, lambda row, cells: ["2026-02-10 21:38:00", cells[1]]),
        "logs/current.csv: the times do not advance. Export it with the time of each row.",
    ),
    Refused(
        "time runs backwards throughout",
        changed(CURRENT, lambda raw: b"\n".join([raw.splitlines()[0], *raw.splitlines()[:0:-1]])),
        "logs/current.csv: the newest row comes first. Sort the rows by their time.",
    ),
    Refused(
        "a clock that was never set",
        rows(CURRENT, lambda row, cells: [cells[0].replace("2026-02", "0001-01"), cells[1]]),
        (
            "logs/current.csv, the column of times: the times are of the year 1: the meter's "
            "clock was not set. Correct the column, or have the meter count seconds."
        ),
    ),
    Refused(
        "times that are hours and minutes or minutes and seconds",
        rows(CURRENT, lambda row, cells: [f"{row // 60:02d}:{row % 60:02d}", cells[1]]),
        (
            "logs/current.csv, column 'Time': '00:00' may be hours and minutes or minutes and "
            "seconds: head the column 'Time (hh:mm)' or 'Time (mm:ss)'; expected a heading with "
            "the unit of the times, or 'time_unit' in the review file: hh:mm or mm:ss. The file "
            "has: 'Time' (00:00, 00:01, 00:02), 'Current (A)' (0.000, 0.000, 0.000). If they are "
            "mm:ss, write into the review file: current: {path: logs/current.csv, time: Time, time_unit: "
            '"mm:ss"}.'
        ),
    ),
    Refused(
        "dates that exist in no calendar",
        rows(CURRENT, lambda row, cells: [cells[0].replace("2026-02-1", "2026-02-3"), cells[1]]),
        (
            "logs/current.csv, the column of times: '2026-02-30' is no date: expected such as "
            "2025-03-01 or 01.03.2025. Correct the column, or have the meter count seconds."
        ),
    ),
    Refused(
        "every reading OL",
        rows(CURRENT, lambda row, cells: [cells[0], "OL"]),
        (
            "logs/current.csv, column 'Current (A)': every row is beyond the meter's range. "
            "Measure again on a larger range."
        ),
    ),
    Refused(
        "every reading empty",
        rows(CURRENT, lambda row, cells: [cells[0], ""]),
        (
            "logs/current.csv: no table of times and readings is seen in it; expected a heading "
            "row, then rows of a time and a number. Export it from the meter as CSV with "
            "headings."
        ),
    ),
    Refused(
        "every reading ERR",
        rows(CURRENT, lambda row, cells: [cells[0], "ERR"]),
        (
            "logs/current.csv: no table of times and readings is seen in it; expected a heading "
            "row, then rows of a time and a number. Export it from the meter as CSV with "
            "headings."
        ),
    ),
    Refused(
        "every drain reading OL",
        rows(STANDBY, lambda row, cells: [cells[0], "-OL"]),
        (
            "logs/standby.csv, column 'Current (µA)': every row is beyond the meter's range. "
            "Measure again on a larger range."
        ),
    ),
    Refused(
        "readings as large as no number is",
        rows(CURRENT, lambda row, cells: [cells[0], "9.9E37"]),
        (
            "logs/current.csv, column 'Current (A)': every row is beyond the meter's range. "
            "Measure again on a larger range."
        ),
    ),
    Refused(
        "a drain log with no table in it",
        wrote(STANDBY, "see the other notebook\n"),
        (
            "logs/standby.csv: no table of times and readings is seen in it; expected a heading "
            "row, then rows of a time and a number. Export it from the meter as CSV with "
            "headings."
        ),
    ),
    Refused(
        "a drain log whose times run backwards",
        rows(STANDBY, lambda row, cells: [str(900 - row), cells[1]]),
        "logs/standby.csv: the newest row comes first. Sort the rows by their time.",
    ),
    Refused(
        "a drain log of which most readings can't be read",
        rows(STANDBY, lambda row, cells: [cells[0], cells[1] if row < 30 else "Auto"]),
        (
            "logs/standby.csv: the column 'Current (µA)' holds mostly words, such as 'Auto'; "
            "expected numbers. The file has: 'Time' (2026-02-10 21:38:00, 2026-02-10 21:38:01, "
            "2026-02-10 21:38:02), 'Current (µA)' (60, 43, 43)."
        ),
    ),
    Refused(
        "a drain log with one row",
        wrote(STANDBY, "Time (s),Current (µA)\n0,43\n"),
        (
            "logs/standby.csv: only 1 reading; expected at least 3. Log the state for longer, or "
            "give its reading as 'reading_A'."
        ),
    ),
    Refused(
        "an unclosed quote swallows the log",
        changed(CURRENT, lambda raw: raw.replace(b"\n2026", b'\n"2026', 1)),
        (
            "logs/current.csv, heading row: no column is headed as the current; expected one "
            "heading such as 'Current (mA)'. The file has 2 columns without headings, by number "
            "from 1: 1 (2026-02-10 21:38:30, 2026-02-10 21:39:00, 2026-02-10 21:39:30), 2 (0.000, "
            "0.000, 0.000). If it is '2', write into the review file: current: {path: logs/current.csv, "
            "value: 2, unit: A}."
        ),
    ),
)
