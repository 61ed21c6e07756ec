"""Simulated charges replayed into growing logs, with a clock of their own: nothing is waited for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from adversary import Charge
from adversary.meters import BENCH_BEGAN, LogRows

from reviewkit.following import Alarm, State, opened

Array = npt.NDArray[np.float64]
BEGAN_S = BENCH_BEGAN.timestamp()
"""This computer's clock when the true time is 0."""


@dataclass
class GrowingFile:
    """A log as its meter's program writes it: each row when it is taken.

    Parameters
    ----------
    true_s : array, shape (n,) [s]
        When each row is written.
    stamp_s, shown : array, shape (n,)
        What it says; NaN is a mark of overload.
    """

    path: Path
    heading: str
    true_s: Array
    stamp_s: Array
    shown: Array
    dated: bool
    places: int
    written: int = 0

    def until(self, true_s: float) -> None:
        """Write all rows up to a moment; the first is written with the headings."""
        end = int(np.searchsorted(self.true_s, true_s, side="right"))
        if end <= self.written:
            return
        rows = range(self.written, end)
        lines = "".join(f"{self._stamp(row)},{self._reading(row)}\n" for row in rows)
        with self.path.open("a", encoding="utf-8") as opened_file:
            opened_file.write((f"{self.heading}\n" if self.written == 0 else "") + lines)
        self.written = end

    def _stamp(self, row: int) -> str:
        moment = float(self.stamp_s[row])
        if self.dated:
            return (BENCH_BEGAN + timedelta(seconds=moment)).isoformat(" ", "milliseconds")
        return f"{moment - float(self.stamp_s[0]):.3f}"

    def _reading(self, row: int) -> str:
        return "OL" if np.isnan(self.shown[row]) else f"{self.shown[row]:.{self.places}f}"


@dataclass
class Night:
    """A charge whose logs grow, and what follows it.

    Parameters
    ----------
    charge : Charge
    folder : Path
    faults : mapping of str to callable
        Changes of the rows before they are written, by log.
    more : mapping
        What else the review file says, over what the charge declares.
    """

    charge: Charge
    folder: Path
    faults: Mapping[str, Callable[[LogRows], LogRows]] = field(default_factory=dict)
    more: Mapping[str, Any] = field(default_factory=dict)
    hot: Callable[[Array], Array] | None = None
    read_every_s: float = 60.0
    now_s: float = 0.0

    def __post_init__(self) -> None:
        (self.folder / "logs").mkdir(parents=True, exist_ok=True)
        same: Callable[[LogRows], LogRows] = lambda rows: rows  # noqa: E731
        logs = {"voltage": self.charge.voltage, "current": self.charge.current}
        rows = {key: self.faults.get(key, same)(one) for key, one in logs.items()}
        values = {**self.charge.declared(), **self.more}
        run = {name: one for name, one in values["charge_runs"][0].items() if name != "cable_out_s"}
        self.files = {
            key: _file(self.folder / "logs" / f"{key}.csv", one, head)
            for (key, one), head in zip(rows.items(), ("Voltage (V)", "Current (A)"), strict=True)
        }
        if self.hot is not None:
            true_s = rows["voltage"].true_s[::5]
            path = self.folder / "logs" / "temperature.csv"
            self.files["temperature"] = GrowingFile(
                path, "Time (s),Temperature (°C)", true_s, true_s, self.hot(true_s), dated=False, places=1
            )
            run["temperature"] = "logs/temperature.csv"
        self.follower = opened(
            {**values, "charge_runs": [run]}, self.folder, clock=lambda: BEGAN_S + self.now_s,
            read_every_s=self.read_every_s,
        )  # fmt: skip

    def at(self, true_s: float) -> State:
        """Let the logs grow up to a moment and look at them."""
        self.now_s = true_s
        for one in self.files.values():
            one.until(true_s)
        return self.follower.poll()

    def through(self, from_s: float, until_s: float, every_s: float) -> Iterator[tuple[float, State]]:
        """Give moment and state, at even steps."""
        for moment in np.arange(from_s, until_s, every_s):
            yield float(moment), self.at(float(moment))

    def first(
        self, kind: str, from_s: float, until_s: float, every_s: float = 5.0
    ) -> tuple[float, Alarm] | None:
        """Return when an alarm of a kind is first told within a stretch, and the alarm."""
        for moment, state in self.through(from_s, until_s, every_s):
            for one in state.new_alarms:
                if one.kind == kind:
                    return moment, one
        return None


def _file(path: Path, rows: LogRows, reading: str) -> GrowingFile:
    places = max(-int(np.floor(np.log10(min(one.resolution for one in rows.meter.ranges)))), 0)
    dated = rows.meter.dated
    heading = f"{'Time' if dated else 'Time (s)'},{reading}"
    return GrowingFile(path, heading, rows.true_s, rows.stamp_s, rows.shown, dated, places)


def changed(
    from_s: float, change: Callable[[Array], Array], until_s: float = np.inf
) -> Callable[[LogRows], LogRows]:
    """Return what changes the readings of a stretch."""

    def apply(rows: LogRows) -> LogRows:
        inside = (rows.true_s >= from_s) & (rows.true_s < until_s)
        return replace(rows, shown=np.where(inside, change(rows.shown), rows.shown))

    return apply


def cut(from_s: float) -> Callable[[LogRows], LogRows]:
    """Return what ends a log at a moment."""

    def apply(rows: LogRows) -> LogRows:
        kept = rows.true_s < from_s
        return replace(rows, true_s=rows.true_s[kept], stamp_s=rows.stamp_s[kept], shown=rows.shown[kept])

    return apply


def kept_on(from_s: float, level: float, for_s: float) -> Callable[[LogRows], LogRows]:
    """Return what has a log go on with one reading for a time, whatever came then."""

    def apply(rows: LogRows) -> LogRows:
        kept = rows.true_s < from_s
        step = float(np.median(np.diff(rows.true_s[kept][-20:])))
        more = np.arange(from_s, from_s + for_s, step)
        stamps = rows.meter.clock_s(more)
        return replace(
            rows,
            true_s=np.r_[rows.true_s[kept], more],
            stamp_s=np.r_[rows.stamp_s[kept], stamps],
            shown=np.r_[rows.shown[kept], np.full(len(more), level)],
        )

    return apply


def clock_set(from_s: float, by_s: float) -> Callable[[LogRows], LogRows]:
    """Return what sets a meter's clock forward at a moment."""

    def apply(rows: LogRows) -> LogRows:
        return replace(rows, stamp_s=rows.stamp_s + by_s * (rows.true_s >= from_s))

    return apply
