"""What a third meter logs at the device's port during a simulated charge."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from simulate import styles, truth
from simulate.cell import FloatArray
from simulate.meters import LoggingMeter, look
from simulate.scenario import Run
from simulate.styles import STYLES

LOG = "logs/port.csv"


@dataclass(frozen=True)
class Port:
    """A source, and the meter between it and the device.

    Parameters
    ----------
    source_V, source_ohm : float [V], [ohm]
    own_A : float [A]
        What the charger takes for itself.
    voltmeter, ammeter : LoggingMeter
        Both quantities stand in one log.
    """

    source_V: float
    source_ohm: float
    own_A: float
    voltmeter: LoggingMeter
    ammeter: LoggingMeter

    def traces(self, run: Run) -> tuple[FloatArray, FloatArray]:
        """Return port voltage [V] and current [A] over the charge's steps: the charger is linear."""
        bench, time = run.scenario, run.course.time_s
        plugged = (time >= bench.before_s) & (time < bench.before_s + bench.plugged_s)
        amps = np.where(plugged, np.maximum(run.course.current_A, 0.0) + self.own_A, 0.0)
        return np.where(plugged, self.source_V - self.source_ohm * amps, 0.0), amps

    def known(self, run: Run) -> dict[str, Any]:
        """Return what is true at the port during the main charge."""
        volts, amps = self.traces(run)
        main = run.course.main
        into = float((run.course.cell_V * run.course.current_A)[main].sum())
        drawn = float((volts * amps)[main].sum())
        return {
            "efficiency": truth.tidy(100 * into / drawn),
            "drawn_from_source": truth.tidy(float(np.quantile(amps[main], 0.99))),
        }

    def write(self, folder: Path, run: Run) -> None:
        """Write the port's log into a review folder."""
        rng = np.random.default_rng(run.scenario.seed + 7)
        style = replace(STYLES["comments"] if run.scenario.voltage_style.counts_from_its_start else _CLOCKED)
        columns = []
        for meter, values, unit in zip(
            (self.voltmeter, self.ammeter), self.traces(run), ("V", "A"), strict=True
        ):
            seen = look(meter, run.course.time_s, values, rng)
            columns.append(styles.column(seen, meter, style, unit))
        rows = [style.delimiter.join(cells) for cells in zip(*columns, strict=True)]
        headings = ["Port voltage (V)", "Port current (A)"]
        styles.write_columns(folder / LOG, style, seen, headings, rows, started=run.scenario.started)

    def review(self) -> dict[str, Any]:
        """Return the port's two entries of a charge run."""
        return {
            "source_voltage": {"path": LOG, "value": "Port voltage (V)"},
            "source_current": {"path": LOG, "value": "Port current (A)"},
        }


_CLOCKED = replace(STYLES["tabs"], encoding="utf-8")


def draw_port(rng: np.random.Generator) -> Port:
    """Return a random source with its meter, whose two errors lie anywhere within the statement."""
    starts_s, offset_s = float(rng.uniform(0.0, 30.0)), float(rng.uniform(-0.5, 0.5))
    volts, amps = (
        LoggingMeter(
            percent=percent,
            counts=2.0,
            error_share=float(rng.uniform(-1.0, 1.0)),
            counts_hold_rounding=False,
            noise=0.3e-3,
            interval_s=10.0,
            starts_s=starts_s,
            clock_offset_s=offset_s,
        )
        for percent in ((0.3, 0.3) if rng.random() < 0.5 else (0.5, 1.0))
    )
    return Port(
        source_V=float(rng.uniform(4.9, 5.2)),
        source_ohm=float(rng.uniform(0.05, 0.2)),
        own_A=float(rng.uniform(0.002, 0.02)),
        voltmeter=volts,
        ammeter=amps,
    )
