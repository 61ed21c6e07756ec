"""A whole bench: cell, charger, rig, two meters with their clocks, and the files they leave behind."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from simulate import styles, truth
from simulate.cell import Cell
from simulate.charger import Charger, Course, Rig, course_of
from simulate.meters import LoggingMeter, Readings, look
from simulate.styles import STYLES, Style
from simulate.truth import Truth

_RELAXED_S = 3700.0
_MARGIN_S = 600.0


@dataclass(frozen=True)
class Scenario:
    """One charge as it is measured.

    Parameters
    ----------
    cell : Cell
    charger : Charger
    rig : Rig
    voltmeter, ammeter : LoggingMeter
    voltage_style, current_style : Style
    voltage_unit, current_unit : str
        In which the meters write.
    charge_state : float
        Of the cell when it begins, 0 … 1.
    before_s, plugged_s, after_s : float [s]
        How long the bench runs before the charge, with the cable in, and after it was pulled.
    started : datetime
        True time at which the bench begins.
    seed : int
        For noise, jitter and single overloads.
    source : str
    """

    cell: Cell = field(default_factory=Cell)
    charger: Charger = field(default_factory=Charger)
    rig: Rig = field(default_factory=Rig)
    voltmeter: LoggingMeter = field(default_factory=LoggingMeter)
    ammeter: LoggingMeter = field(default_factory=LoggingMeter)
    voltage_style: Style = STYLES["plain"]
    current_style: Style = STYLES["plain current"]
    voltage_unit: str = "V"
    current_unit: str = "A"
    charge_state: float = 0.08
    before_s: float = 60.0
    plugged_s: float = 6 * 3600.0
    after_s: float = 3700.0
    started: datetime = datetime(2031, 2, 3, 20, 0, 0)
    seed: int = 0
    source: str = "wall adapter"

    def run(self) -> Run:
        """Return the charge, what the meters saw of it, and the truth."""
        course = self.course(self.rig)
        rng = np.random.default_rng(self.seed)
        until_s = self.before_s + self.plugged_s + self.after_s
        voltmeter, ammeter = (
            replace(meter, ends_s=min(meter.ends_s, until_s)) for meter in (self.voltmeter, self.ammeter)
        )
        volts = look(voltmeter, course.time_s, course.cell_V, rng)
        amps = look(ammeter, course.time_s, course.current_A, rng)
        exact = truth.of(course, self.charger, self.rig, plugged_s=self.plugged_s)
        return Run(self, course, volts, amps, exact)

    def course(self, rig: Rig, *, relaxed_s: float = _RELAXED_S) -> Course:
        """Return the exact course of the charge with a given rig in series, relaxed for an hour at least."""
        return course_of(
            self.cell,
            self.charger,
            rig,
            charge_state=self.charge_state,
            before_s=self.before_s,
            plugged_s=self.plugged_s,
            after_s=max(self.after_s, relaxed_s),
        )

    def write(self, folder: Path) -> Run:
        """Write a review folder with both logs, and the truth beside them in ``truth.json``."""
        done = self.run()
        done.write_logs(folder, voltage="logs/voltage.csv", current="logs/current.csv")
        text = json.dumps(self.review(), indent=2, ensure_ascii=False)
        (folder / "review.yaml").write_text(text + "\n", encoding="utf-8")  # JSON is YAML as well
        known = json.dumps(done.known(), indent=2, ensure_ascii=False)
        (folder / "truth.json").write_text(known + "\n", encoding="utf-8")
        return done

    def review(self) -> dict[str, Any]:
        """Return the review file that goes with the logs."""
        return {
            "device": {"name": "Simulated lamp", "sample": "invented", "disclosure": "Invented data."},
            "cell": {
                "label": "simulated cell",
                "chemistry": self.cell.chemistry,
                "rated_capacity_Ah": self.cell.capacity_Ah,
            },
            "voltmeter": {"accuracy": self.voltmeter.accuracy, "resolution": self.voltmeter.resolution},
            "ammeter": {
                "accuracy": self.ammeter.accuracy,
                "resolution": self.ammeter.resolution,
                "burden_ohm": self.rig.burden_ohm,
                "leads_ohm": self.rig.leads_ohm,
            },
            "charge_runs": [
                {"source": self.source, "voltage": "logs/voltage.csv", "current": "logs/current.csv"}
            ],
        }


@dataclass(frozen=True)
class Run:
    """A simulated charge.

    Parameters
    ----------
    scenario : Scenario
    course : Course
        Exact traces.
    voltage, current : Readings
        What the two meters wrote down.
    truth : Truth
    """

    scenario: Scenario
    course: Course
    voltage: Readings
    current: Readings
    truth: Truth

    @property
    def voltage_V(self) -> pd.Series[float]:
        """Voltage log: readings over the meter's own count of seconds."""
        return _series(self.voltage, self.scenario.voltage_style, "voltage_V")

    @property
    def current_A(self) -> pd.Series[float]:
        """Current log: readings over the meter's own count of seconds."""
        return _series(self.current, self.scenario.current_style, "current_A")

    @property
    def clock_offset_s(self) -> float:
        """What to add to the current log's stamps to reach the voltage log's, at charge start [s]."""
        moment = self.scenario.before_s
        voltmeter, ammeter = self.scenario.voltmeter, self.scenario.ammeter
        if self.scenario.voltage_style.counts_from_its_start:
            shown_V, shown_A = (moment - one.starts_s for one in (voltmeter, ammeter))
        else:
            shown_V, shown_A = (moment + one.clock_offset_s for one in (voltmeter, ammeter))
        rate = (voltmeter.clock_rate_ppm - ammeter.clock_rate_ppm) * 1e-6
        return shown_V - shown_A + rate * moment

    @property
    def clock_offset_from_first_rows_s(self) -> float:
        """The same for series whose second 0 is their own first row [s]."""
        return float(self.current.true_s[0] - self.voltage.true_s[0])

    @cached_property
    def time_without_rig_s(self) -> float | None:
        """Duration of the same charge with nothing of the bench in series [s]; None if it never ends."""
        bare = Rig(0.0, 0.0)
        scenario = self.scenario
        if self.truth.termination_time is not None:
            # Less resistance never makes a charge longer: what comes after its end need not be run again.
            most_s = min(scenario.plugged_s, self.truth.termination_time + _MARGIN_S)
            scenario = replace(scenario, plugged_s=most_s, after_s=0.0)
        course = scenario.course(bare, relaxed_s=0.0)
        known = truth.of(course, self.scenario.charger, bare, plugged_s=self.scenario.plugged_s)
        return known.termination_time

    def known(self) -> dict[str, Any]:
        """Return the truth by the names of the findings, clocks and prediction included."""
        return self.truth.as_dict() | {
            "clock_offset": truth.tidy(self.clock_offset_s),
            "clock_offset_from_first_rows": truth.tidy(self.clock_offset_from_first_rows_s),
            "time_without_rig": truth.tidy(self.time_without_rig_s),
        }

    def write_logs(self, folder: Path, *, voltage: str, current: str) -> None:
        """Write both logs into a review folder, at paths relative to it."""
        bench = self.scenario
        for path, style, readings, meter, unit in (
            (voltage, bench.voltage_style, self.voltage, bench.voltmeter, bench.voltage_unit),
            (current, bench.current_style, self.current, bench.ammeter, bench.current_unit),
        ):
            styles.write(folder / path, style, readings, meter, unit=unit, started=bench.started)


def _series(readings: Readings, style: Style, name: str) -> pd.Series[float]:
    stamps = readings.elapsed_s if style.counts_from_its_start else readings.clock_s
    return pd.Series(readings.shown, index=pd.Index(stamps, name="time_s"), name=name)
