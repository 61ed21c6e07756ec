"""Whole reviews of devices that do not exist: a charge, its source, a readout and three drains at random."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from simulate.charger import Mode
from simulate.scenario import Run
from simulate.whole_charge import DrawnCharge, draw_charge
from simulate.whole_drain import DrawnDrain, draw_drain
from simulate.whole_port import Port, draw_port
from simulate.whole_readout import DrawnReadout, draw_readout

_PORT_SHARE = 0.4

DISPLAYS_S = 2.0
"""How far an offset read off two displays may be wrong: told where the logs only count seconds."""


@dataclass(frozen=True)
class Whole:
    """A random review.

    Parameters
    ----------
    charge : DrawnCharge
    port : Port or None
        None where the source's side was not logged.
    readout : DrawnReadout
    drain : DrawnDrain
    """

    charge: DrawnCharge
    port: Port | None
    readout: DrawnReadout
    drain: DrawnDrain

    @cached_property
    def run(self) -> Run:
        """The charge, run through and seen by its two meters."""
        return self.charge.scenario.run()

    @property
    def cable_out_s(self) -> float:
        """When the cable is pulled, on the voltage log's own count of seconds, as noted by hand [s]."""
        bench = self.charge.scenario
        return float(round(bench.before_s + bench.plugged_s - float(self.run.voltage.true_s[0])))

    def write(self, folder: Path) -> dict[str, Any]:
        """Write a review folder: logs, table of readings, review file; return the review file's content."""
        run, bench = self.run, self.charge.scenario
        run.write_logs(folder, voltage="logs/voltage.csv", current="logs/current.csv")
        self.readout.write(folder)
        known = bench.review()
        known["ammeter"] |= {
            "burden_ohm": self.charge.declared.burden_ohm,
            "leads_ohm": self.charge.declared.leads_ohm,
        }
        known["charge_runs"][0]["cable_out_s"] = self.cable_out_s
        if bench.voltage_style.counts_from_its_start:
            offset_s = run.clock_offset_s + DISPLAYS_S * (bench.seed % 2001 / 1000 - 1)
            current = {"path": "logs/current.csv", "clock_offset_s": round(offset_s, 1)}
            known["charge_runs"][0]["current"] = current
        if self.port:
            self.port.write(folder, run)
            known["charge_runs"][0] |= self.port.review()
            for name, meter in (
                ("source_voltmeter", self.port.voltmeter),
                ("source_ammeter", self.port.ammeter),
            ):
                known[name] = {"name": name, "accuracy": meter.accuracy, "resolution": meter.resolution}
        known |= self.readout.review()
        known |= {"drain_ammeter": self.drain.block, "drain_states": self.drain.write(folder)}
        text = json.dumps(known, indent=2, ensure_ascii=False)
        (folder / "review.yaml").write_text(text + "\n", encoding="utf-8")  # JSON is YAML as well
        return known

    @property
    def _knee_before_its_step_s(self) -> float:
        """How long before its first step constant voltage began: where a line through two steps says [s]."""
        course = self.run.course
        first = int(np.flatnonzero(course.mode == Mode.VOLTAGE.value)[0])
        before, at, after = (float(course.current_A[first + place]) for place in (-1, 0, 1))
        return min(1.0, (before - at) / (at - after)) if at > after else 0.0

    def known(self) -> dict[str, Any]:
        """Return what is true, by the findings' keys; None where there is nothing to find."""
        charge = self.run.known()
        if charge["knee_time"]:
            charge["knee_time"] -= self._knee_before_its_step_s
        if self.port:
            charge |= self.port.known(self.run)
        found = {f"charge.{name}": value for name, value in charge.items()}
        found |= {f"readout.{name}": value for name, value in self.readout.known().items()}
        found |= {f"drain.{name}": value for name, value in self.drain.known().items()}
        capacity = self.charge.scenario.cell.capacity_Ah
        for state in self.drain.states:
            key = f"drain.{state.name.replace(' ', '_')}"
            found[f"{key}.days_to_empty"] = capacity / state.source.mean_A / 24
            found[f"{key}.days_to_level"] = 0.5 * capacity / state.source.mean_A / 24
        return found


def draw_whole(seed: int) -> Whole:
    """Return a random review: another one for each seed."""
    rng = np.random.default_rng([seed, 9])
    return Whole(
        draw_charge(rng),
        draw_port(rng) if rng.random() < _PORT_SHARE else None,
        draw_readout(rng),
        draw_drain(rng),
    )
