"""Logs whose form is damaged: cut, mixed, torn, in a strange encoding, or no log at all."""

from __future__ import annotations

import random

from .entry import Refused, both, changed, rows, swapped, wrote

VOLTAGE, CURRENT, STANDBY = "logs/voltage.csv", "logs/current.csv", "logs/standby.csv"
TODO = "?"


def _noise(length: int) -> bytes:
    return random.Random(7).randbytes(length)


def _without_nul(raw: bytes) -> bytes:
    return raw.replace(b"\0", b"\1")


FORM = (
    Refused("log empty", wrote(CURRENT, ""), TODO),
    Refused("log of blank lines", wrote(CURRENT, "\n \n\t\n"), TODO),
    Refused("log with a heading row and nothing below", wrote(CURRENT, "Time,Current (A)\n"), TODO),
    Refused("log with one row", wrote(CURRENT, "Time (s),Current (A)\n0,0.5\n"), TODO),
    Refused("log with four rows", wrote(CURRENT, "Time (s),Current (A)\n0,0.5\n1,0.5\n2,0.5\n3,0.4\n"), TODO),
    Refused("log cut within its heading row", wrote(CURRENT, "Time,Curr"), TODO),
    Refused("log cut within its first row", wrote(CURRENT, "Time,Current (A)\n2026-02-10 21:3"), TODO),
    Refused("log without headings", changed(CURRENT, lambda raw: raw.partition(b"\n")[2]), TODO),
    Refused("log with NUL bytes in its middle", changed(CURRENT, lambda raw: raw[:900] + bytes(400) + raw[900:]), TODO),
    Refused("log of NUL bytes", wrote(CURRENT, bytes(5000)), TODO),
    Refused("log that ends in NUL bytes", changed(CURRENT, lambda raw: raw + bytes(4096)), TODO),
    Refused("one line of ten million characters", wrote(CURRENT, "1" * 10_000_000), TODO),
    Refused("ten million characters without a line end", wrote(CURRENT, "Time,Current (A)," * 600_000), TODO),
    Refused("binary junk", wrote(CURRENT, _noise(20_000)), TODO),
    Refused("binary junk without NUL bytes", wrote(CURRENT, _without_nul(_noise(20_000))), TODO),
    Refused("a picture in place of a log", wrote(CURRENT, b"\x89PNG\r\n\x1a\n" + _without_nul(_noise(3000))), TODO),
    Refused("a PDF in place of a log", wrote(CURRENT, b"%PDF-1.7\n1 0 obj\n<< /Type /Catalog >>\nendobj\n%%EOF\n"), TODO),
    Refused("a web page in place of a log", wrote(CURRENT, "<!DOCTYPE html>\n<html><body><p>404: not found</p></body></html>\n"), TODO),
    Refused("a letter in place of a log", wrote(CURRENT, "Dear keeper,\nthe lamp came on Monday, 3 March.\nIt is red.\n"), TODO),
    Refused("an old XLS workbook", wrote(CURRENT, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)), TODO),
    Refused("a zip file in place of a log", wrote(CURRENT, b"PK\x03\x04" + _noise(600)), TODO),
    Refused("a compressed log", wrote(CURRENT, b"\x1f\x8b\x08\x00" + _without_nul(_noise(900))), TODO),
    Refused("JSON in place of a log", wrote(CURRENT, '{"rows": [{"t": 1, "i": 0.5}, {"t": 2, "i": 0.5}]}\n'), TODO),
    Refused("UTF-16 cut at an odd byte, then read as another", wrote(CURRENT, "Time,Current (A)\n".encode("utf-16")[:-3]), TODO),
    Refused("another alphabet's encoding", wrote(CURRENT, "Время,Ток\n1,0.5\n2,0.5\n3,0.6\n".encode("koi8-r")), TODO),
    Refused("decimal commas between commas", rows(CURRENT, lambda _, cells: [cells[0], cells[1].replace(".", ",")]), TODO),
    Refused("decimal commas in some rows, points in others", rows(CURRENT, lambda row, cells: [cells[0], cells[1] if row % 2 else '"' + cells[1].replace(".", ",") + '"']), TODO),
    Refused("thousands set off by commas", rows(CURRENT, lambda row, cells: [cells[0], f'"{1000 * float(cells[1]) * 1.2:,.0f}"']), TODO),
    Refused("thousands set off by points", rows(CURRENT, lambda row, cells: [cells[0], f"{1000 * float(cells[1]) * 1.2:,.0f}".replace(",", ".")]), TODO),
    Refused("two columns with one heading", changed(CURRENT, lambda raw: b"\n".join(line + (b",Current (A)" if b"Time" in line else b",0.4") for line in raw.splitlines())), TODO),
    Refused("two columns of which either may be the current", changed(CURRENT, lambda raw: b"\n".join(line + (b",Sink (A)" if b"Time" in line else b",0.4") for line in raw.replace(b"Current", b"Source").splitlines())), TODO),
    Refused("no unit anywhere", swapped(CURRENT, ("Current (A)", "Current")), TODO),
    Refused("no column of times", both(rows(CURRENT, lambda row, cells: [cells[1], cells[1]]), swapped(CURRENT, ("Time", "Charge"))), TODO),
    Refused("times in words", rows(CURRENT, lambda row, cells: ["soon", cells[1]]), TODO),
    Refused("times of which most can't be read", rows(CURRENT, lambda row, cells: [cells[0] if row < 40 else "?", cells[1]]), TODO),
    Refused("times that stand still", rows(CURRENT, lambda row, cells: ["2026-02-10 21:38:00", cells[1]]), TODO),
    Refused("time runs backwards throughout", changed(CURRENT, lambda raw: b"\n".join([raw.splitlines()[0], *raw.splitlines()[:0:-1]])), TODO),
    Refused("a clock that was never set", rows(CURRENT, lambda row, cells: [cells[0].replace("2026-02", "0001-01"), cells[1]]), TODO),
    Refused("times that are hours and minutes or minutes and seconds", rows(CURRENT, lambda row, cells: [f"{row // 60:02d}:{row % 60:02d}", cells[1]]), TODO),
    Refused("dates that exist in no calendar", rows(CURRENT, lambda row, cells: [cells[0].replace("2026-02-1", "2026-02-3"), cells[1]]), TODO),
    Refused("every reading OL", rows(CURRENT, lambda row, cells: [cells[0], "OL"]), TODO),
    Refused("every reading empty", rows(CURRENT, lambda row, cells: [cells[0], ""]), TODO),
    Refused("every reading ERR", rows(CURRENT, lambda row, cells: [cells[0], "ERR"]), TODO),
    Refused("every drain reading OL", rows(STANDBY, lambda row, cells: [cells[0], "-OL"]), TODO),
    Refused("readings as large as no number is", rows(CURRENT, lambda row, cells: [cells[0], "9.9E37"]), TODO),
    Refused("a drain log with no table in it", wrote(STANDBY, "see the other notebook\n"), TODO),
    Refused("a drain log whose times run backwards", rows(STANDBY, lambda row, cells: [str(900 - row), cells[1]]), TODO),
    Refused("a drain log of which most readings can't be read", rows(STANDBY, lambda row, cells: [cells[0], cells[1] if row < 30 else "Auto"]), TODO),
    Refused("a drain log with one row", wrote(STANDBY, "Time (s),Current (µA)\n0,43\n"), TODO),
    Refused("an unclosed quote swallows the log", changed(CURRENT, lambda raw: raw.replace(b"\n2026", b'\n"2026', 1)), TODO),
)
