"""Logs read while they grow, whatever becomes of the file; and what is said of them."""

from __future__ import annotations

import stat
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from simulate.meters import LoggingMeter, Readings
from simulate.styles import STYLES, write

from reviewkit import logs
from reviewkit.following.growing import GrowingLog
from reviewkit.following.observed import Observed, Rows
from reviewkit.schema.blocks import LogBlock

BEGAN = datetime(2026, 3, 6, 23, 41)
ROWS = 2500
FIVE = ("comments", "semicolon", "tabs", "ranges", "spans")
"""Counting seconds, time of day over midnight (decimal comma), UTF-16 with dates, two units, spans."""


def written(folder: Path, style: str) -> tuple[LogBlock, bytes]:
    """Return a log of a current in a style, and its bytes."""
    moments = np.arange(ROWS) * 2.0
    shown = np.round(0.8 * np.exp(-moments / 3000), 4)
    shown[700:704] = np.nan
    meter = LoggingMeter(percent=1, counts=2, resolution=1e-4, fine_below=0.2, fine_resolution=1e-5)
    readings = Readings(moments, moments, moments + 3.0, shown, shown < 0.2)
    place = folder / "logs" / "current.csv"
    heading = {"comments": "Current [{unit}]", "tabs": "Current / {unit}", "ranges": "Current"}
    from dataclasses import replace

    chosen = STYLES[style]
    chosen = replace(chosen, value_heading=heading.get(style, chosen.value_heading), other_unit="mA")
    if style != "ranges":
        chosen = replace(chosen, other_unit="")
        meter = replace(meter, fine_below=0.0)
    write(place, chosen, readings, meter, unit="A", started=BEGAN)
    return LogBlock(path="logs/current.csv"), place.read_bytes()


class Writer:
    """A meter's program that writes a log piece by piece."""

    def __init__(self, folder: Path, entry: LogBlock, data: bytes) -> None:
        self.path, self.data, self.at = folder / entry.path, data, 0
        self.log = GrowingLog(entry, "A", folder=folder)
        self.time_s: list[float] = []
        self.values: list[float] = []
        self.events: list[str] = []
        self.now_s = 1_000_000.0

    def add(self, size: int) -> None:
        """Append so many bytes, wherever a row may end."""
        with self.path.open("ab") as opened:
            opened.write(self.data[self.at : self.at + size])
        self.at += size

    def look(self) -> None:
        """Poll the log as a follower does."""
        self.now_s += 5.0
        added = self.log.poll(self.now_s)
        self.time_s += added.time_s.tolist()
        self.values += added.values.tolist()
        self.events += [added.event] if added.event else []

    def all(self, rng: np.random.Generator, most: int = 1500) -> None:
        """Write the rest in pieces of any length and look after each."""
        while self.at < len(self.data):
            self.add(int(rng.integers(1, most)))
            self.look()


@pytest.mark.parametrize("style", FIVE)
def test_what_is_read_piece_by_piece_is_what_the_kit_reads_of_the_whole(style: str, tmp_path: Path) -> None:
    """Half lines, half characters and midnight between two looks change nothing: same rows, same times."""
    entry, data = written(tmp_path, style)
    whole = logs.read(entry, "A", folder=tmp_path)
    (tmp_path / entry.path).write_bytes(b"")
    writer = Writer(tmp_path, entry, data)
    writer.all(np.random.default_rng(5), 3000)
    assert writer.log.standing == "read"
    assert len(writer.time_s) == len(whole.series)
    assert np.allclose(writer.time_s, whole.time_s, atol=1e-6)
    assert np.allclose(writer.values, whole.series.to_numpy(), equal_nan=True)
    assert writer.log.first is not None
    assert writer.log.first.started == whole.started or whole.started is None


def test_a_file_that_is_no_log_yet_is_said_and_waited_for(tmp_path: Path) -> None:
    entry, data = written(tmp_path, "comments")
    path = tmp_path / entry.path
    path.unlink()
    writer = Writer(tmp_path, entry, data)
    writer.look()
    assert writer.log.standing == "not there"
    path.write_bytes(b"")
    writer.look()
    assert writer.log.standing == "empty"
    writer.add(data.index(b"0.00") + 10)
    writer.look()
    assert writer.log.standing == "no log yet"
    assert not writer.time_s
    writer.all(np.random.default_rng(1))
    assert writer.log.standing == "read"
    assert len(writer.time_s) == ROWS


def test_half_a_last_line_waits(tmp_path: Path) -> None:
    entry, data = written(tmp_path, "comments")
    (tmp_path / entry.path).write_bytes(b"")
    writer = Writer(tmp_path, entry, data)
    writer.add(data.index(b"\n200.00") + 9)
    writer.look()
    assert writer.time_s[-1] == pytest.approx(198.0)
    writer.add(30)
    writer.look()
    assert writer.time_s[-1] >= 200.0
    assert len(set(writer.time_s)) == len(writer.time_s)


def test_a_file_written_anew_with_the_same_rows_is_read_on(tmp_path: Path) -> None:
    """Some programs write the whole file each time: in place, through another file, or cut short first."""
    for style in ("comments", "tabs"):
        folder = tmp_path / style
        entry, data = written(folder, style)
        whole = logs.read(entry, "A", folder=folder)
        path = folder / entry.path
        path.write_bytes(b"")
        writer = Writer(folder, entry, data)
        for share in np.linspace(0.1, 1.0, 12):
            other = path.with_suffix(".new")
            other.write_bytes(data[: int(share * len(data))])
            other.replace(path)
            writer.look()
        assert np.allclose(writer.time_s, whole.time_s, atol=1e-6)


def test_a_file_cut_short_and_written_again_loses_and_doubles_no_row(tmp_path: Path) -> None:
    entry, data = written(tmp_path, "comments")
    (tmp_path / entry.path).write_bytes(b"")
    writer = Writer(tmp_path, entry, data)
    writer.add(len(data) // 2)
    writer.look()
    (tmp_path / entry.path).write_bytes(data[:40])
    writer.at = 40
    writer.look()
    writer.all(np.random.default_rng(2))
    assert "rewritten" in writer.events
    assert len(writer.time_s) == ROWS
    assert (np.diff(writer.time_s) > 0).all()


def test_a_rotated_log_goes_on_on_the_same_line_of_time(tmp_path: Path) -> None:
    """With dates by its own clock; a log that counts from 0 again by this computer's."""
    for style in ("tabs", "comments"):
        folder = tmp_path / style
        entry, data = written(folder, style)
        whole = logs.read(entry, "A", folder=folder)
        path = folder / entry.path
        mark = "\n".encode("utf-16-le") if style == "tabs" else b"\n"
        lines = data.split(mark)
        if style == "tabs":
            head = lines[:1]
            later = lines[1501:]
        else:
            head = lines[:4]
            later = [
                b"%.2f" % (2.0 * at) + line[line.index(b",") :] for at, line in enumerate(lines[1504:-1])
            ]
        path.write_bytes(mark.join(lines[:1501]) + mark)
        writer = Writer(folder, entry, data)
        writer.look()
        before = len(writer.time_s)
        path.rename(path.with_suffix(".1"))
        path.write_bytes(mark.join([*head, *later]) + mark)
        writer.look()
        assert writer.events == ["started anew"]
        assert len(writer.time_s) > before + 900
        assert (np.diff(writer.time_s) > 0).all()
        if style == "tabs":
            assert writer.time_s[-1] == pytest.approx(whole.time_s[-1])


def test_a_locked_file_is_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    entry, data = written(tmp_path, "comments")
    writer = Writer(tmp_path, entry, data)
    opened: Callable[..., object] = Path.open

    def refuse(*_: object, **__: object) -> object:
        raise PermissionError(13, "in use by another program")

    monkeypatch.setattr(Path, "open", refuse)
    writer.look()
    assert writer.log.standing == "locked"
    assert "another program" in writer.log.told
    monkeypatch.setattr(Path, "open", opened)
    writer.look()
    assert len(writer.time_s) == ROWS


def test_a_picture_is_no_log(tmp_path: Path) -> None:
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "current.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(400))
    log = GrowingLog(LogBlock(path="logs/current.csv"), "A", folder=tmp_path)
    assert not len(log.poll(0.0))
    assert log.standing == "no log yet"
    assert "picture" in log.told


def test_files_are_only_read(tmp_path: Path) -> None:
    entry, data = written(tmp_path, "comments")
    path = tmp_path / entry.path
    path.chmod(stat.S_IRUSR)
    writer = Writer(tmp_path, entry, data)
    writer.look()
    assert len(writer.time_s) == ROWS
    assert path.read_bytes() == data


def test_rows_are_kept_in_bounded_memory_and_stay_in_order() -> None:
    rows = Rows(most=1000)
    for piece in np.array_split(np.arange(40_000.0), 333):
        rows.add(piece, -piece)
    assert rows.count <= 1000
    assert (np.diff(rows.time_s) > 0).all()
    assert (rows.values == -rows.time_s).all()
    assert rows.time_s[0] == 0.0
    assert (rows.time_s[-200:] == np.arange(39_800.0, 40_000.0)).all()


def streamed(folder: Path, rate: float) -> Iterator[Observed]:
    """Give a log that is watched as its clock goes at a rate of the true one."""
    path = folder / "current.csv"
    path.write_text("Time (s),Current (A)\n", encoding="utf-8")
    observed = Observed(GrowingLog(LogBlock(path="current.csv"), "A", folder=folder), "current")
    for second in range(20, 4800, 20):
        with path.open("a", encoding="utf-8") as opened:
            opened.writelines(f"{rate * at:.3f},0.5\n" for at in range(second - 20, second, 4))
        observed.poll(1e9 + second)
        yield observed


@pytest.mark.parametrize(("rate", "moved_s"), [(1.0, 0.0), (0.99, 48.0), (1.01, -48.0)])
def test_a_clock_that_goes_astray_shows_against_this_computers(
    rate: float, moved_s: float, tmp_path: Path
) -> None:
    *_, last = streamed(tmp_path, rate)
    assert last.drift_s == pytest.approx(moved_s, abs=14.0)
