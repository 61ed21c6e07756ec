"""The invented charge logs of the two helmet lamps, with the truth beside them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from simulate import styles, truth
from simulate.cell import Cell, FloatArray
from simulate.charger import Charger, Fold, Rig
from simulate.meters import Lapse, LoggingMeter, look
from simulate.scenario import Run, Scenario
from simulate.styles import STYLES

_HOUR_S = 3600.0
_PORT_STYLE = replace(STYLES["dated"], time_heading="Date,Time", spelling="date and time")


def alder() -> Scenario:
    """Return Alder's night: a clean charge at 0.8 A; the cable is pulled in the morning."""
    return Scenario(
        cell=Cell(capacity_Ah=3.0, series_ohm=0.042, slow_ohm=0.03, slow_s=1900.0),
        charger=Charger(plateau_A=0.8, set_V=4.20, stop_A=0.08, device_ohm=0.06, idle_A=0.0004),
        rig=Rig(burden_ohm=0.03, leads_ohm=0.02),
        charge_state=0.115,
        before_s=300.0,
        plugged_s=9.4 * _HOUR_S,
        after_s=4500.0,
        started=datetime(2026, 2, 10, 21, 38, 12),
        seed=101,
        source="wall adapter",
        voltmeter=LoggingMeter(
            percent=0.05,
            counts=2,
            error_share=0.35,
            noise=0.35e-3,
            interval_s=2.0,
            jitter_s=0.12,
            clock_offset_s=-8.3,
            clock_rate_ppm=4.0,
            gaps=(Lapse(7130.0, 74.0),),
            overloads=(Lapse(301.0, 3.0),),
            overload_chance=2e-4,
        ),
        voltage_style=replace(STYLES["comments"], time_heading="Time", spelling="moment", time_decimals=1),
        ammeter=LoggingMeter(
            percent=0.5,
            counts=3,
            error_share=-0.4,
            noise=0.5e-3,
            interval_s=3.0,
            jitter_s=0.1,
            starts_s=25.0,
            clock_offset_s=34.6,
            clock_rate_ppm=-6.0,
            stamp_step_s=1.0,
            gaps=(Lapse(10_950.0, 41.0), Lapse(20_120.0, 18.0)),
            overloads=(Lapse(5000.0, 7.0),),
            overload_chance=3e-4,
        ),
        current_style=STYLES["semicolon"],
        current_unit="mA",
    )


def birch_wall() -> Scenario:
    """Return Birch's night on a wall adapter: an empty cell, a warm charger, two top-ups."""
    return Scenario(
        cell=Cell(capacity_Ah=3.4, series_ohm=0.038, slow_ohm=0.032, slow_s=2400.0),
        charger=Charger(
            plateau_A=1.2,
            set_V=4.17,
            stop_A=0.12,
            precharge_A=0.11,
            precharge_below_V=3.0,
            device_ohm=0.035,
            idle_A=0.012,
            recharge_below_V=4.14,
            folds=(Fold(2400.0, 0.8), Fold(4500.0, 0.65)),
        ),
        rig=Rig(burden_ohm=0.03, leads_ohm=0.02),
        charge_state=0.002,
        before_s=240.0,
        plugged_s=11.5 * _HOUR_S,
        after_s=4200.0,
        started=datetime(2026, 2, 17, 19, 52, 40),
        seed=202,
        source="wall adapter",
        voltmeter=_birch_voltmeter(),
        voltage_style=replace(STYLES["ranges"], other_unit="mV"),
        ammeter=_birch_ammeter(),
        current_style=replace(STYLES["tabs"], value_heading="Charge current / {unit}"),
    )


def birch_laptop() -> Scenario:
    """Return Birch's charge on a laptop's port of 0.5 A; the log ends soon after the cable is pulled."""
    wall = birch_wall()
    return replace(
        wall,
        charger=replace(wall.charger, plateau_A=0.47, folds=(), precharge_A=0.11),
        charge_state=0.21,
        before_s=180.0,
        plugged_s=6.8 * _HOUR_S,
        after_s=1500.0,
        started=datetime(2026, 2, 19, 8, 14, 5),
        seed=203,
        source="laptop port",
        voltmeter=replace(wall.voltmeter, interval_s=5.0, clock_offset_s=11.9, gaps=(), overload_chance=0.0),
        ammeter=replace(wall.ammeter, interval_s=5.0, clock_offset_s=-20.4, gaps=(), starts_s=31.0),
    )


def _birch_voltmeter() -> LoggingMeter:
    return LoggingMeter(
        percent=0.05,
        counts=2,
        error_share=-0.3,
        noise=0.4e-3,
        interval_s=4.0,
        jitter_s=0.15,
        clock_offset_s=12.2,
        clock_rate_ppm=-3.0,
        stamp_step_s=1.0,
        gaps=(Lapse(15_300.0, 62.0),),
        overload_chance=2e-4,
        fine_below=3.0,
        fine_resolution=1e-4,
    )


def _birch_ammeter() -> LoggingMeter:
    return LoggingMeter(
        percent=0.5,
        counts=3,
        error_share=0.25,
        noise=0.6e-3,
        interval_s=4.0,
        jitter_s=0.2,
        starts_s=47.0,
        clock_offset_s=-19.5,
        clock_rate_ppm=5.0,
        stamp_step_s=1.0,
        gaps=(Lapse(21_010.0, 33.0),),
        overload_chance=2e-4,
    )


def write(folder: Path, known: dict[str, Any]) -> None:
    """Write the charge logs of one device into its folder and add what is true of them to `known`.

    Parameters
    ----------
    folder : Path
        The device's review folder; its name says which device.
    known : dict
        Gets the key ``charge``: one mapping per run, by its label.
    """
    runs = {
        "alder": {"wall_adapter": alder()},
        "birch": {"wall_adapter": birch_wall(), "laptop_port": birch_laptop()},
    }[folder.name]
    known["charge"] = {}
    for label, scenario in runs.items():
        run = scenario.run()
        place = "logs/charge-" + (label.replace("_", "-") if len(runs) > 1 else "overnight")
        run.write_logs(folder, voltage=f"{place}-voltage.csv", current=f"{place}-current.csv")
        known["charge"][label] = run.known() | {"ended_by": "device"}
        if (folder.name, label) == ("birch", "wall_adapter"):
            known["charge"][label] |= _write_port(folder / f"{place}-port.csv", run)


def _write_port(path: Path, run: Run) -> dict[str, Any]:
    """Write what a third meter saw at the device's port, with the cell's temperature; return the truth."""
    port_V, port_A = _at_the_port(run)
    degrees = _warmth(run, port_V, port_A)
    rng = np.random.default_rng(run.scenario.seed + 1000)
    volts, amps, warmth = (
        LoggingMeter(
            percent=0.3,
            counts=2,
            resolution=step,
            error_share=0.2,
            noise=step / 3,
            interval_s=10.0,
            clock_offset_s=1.4,
            stamp_step_s=1.0,
        )
        for step in (0.001, 0.001, 0.1)
    )
    time_s = run.course.time_s
    seen_V, seen_A = look(volts, time_s, port_V, rng), look(amps, time_s, port_A, rng)
    seen_C = look(replace(warmth, percent=0.0, counts=0.0), time_s, degrees, rng)
    columns = (
        styles.column(seen_V, volts, _PORT_STYLE, "V"),
        styles.column(seen_A, amps, _PORT_STYLE, "A"),
        styles.column(seen_C, warmth, _PORT_STYLE, "°C"),
    )
    values = [_PORT_STYLE.delimiter.join(cells) for cells in zip(*columns, strict=True)]
    headings = ["Port voltage (V)", "Port current (A)", "Cell temperature (°C)"]
    styles.write_columns(path, _PORT_STYLE, seen_V, headings, values, started=run.scenario.started)
    return _port_truth(run, port_V, port_A, degrees)


def _at_the_port(run: Run) -> tuple[FloatArray, FloatArray]:
    """Return port voltage [V] and current [A]: the charger is linear and needs 7 mA for itself."""
    plugged = (run.course.time_s >= run.scenario.before_s) & (
        run.course.time_s < run.scenario.before_s + run.scenario.plugged_s
    )
    port_A = np.where(plugged, np.maximum(run.course.current_A, 0.0) + 0.007, 0.0)
    port_V = np.where(plugged, 5.12 - 0.11 * port_A, 0.0)
    return port_V, port_A


def _warmth(run: Run, port_V: FloatArray, port_A: FloatArray) -> FloatArray:
    """Return the cell's temperature [°C]: the charger's loss warms it, slowly, from 21 °C."""
    loss_W = port_V * port_A - run.course.regulation_V * np.maximum(run.course.current_A, 0.0)
    step_s = float(run.course.time_s[1] - run.course.time_s[0])
    warmth = np.empty(len(loss_W))
    above = 0.0
    for row, watts in enumerate(loss_W):
        warmth[row] = above
        above += (7.5 * watts - above) * step_s / 1300.0
    return 21.0 + warmth


def _port_truth(run: Run, port_V: FloatArray, port_A: FloatArray, degrees: FloatArray) -> dict[str, Any]:
    """Return what is true at the port of the main charge."""
    main = run.course.main
    step_h = float(run.course.time_s[1] - run.course.time_s[0]) / 3600
    into_cell = float((run.course.cell_V * run.course.current_A)[main].sum()) * step_h
    from_port = float((port_V * port_A)[main].sum()) * step_h
    return {
        "port_energy": truth.tidy(from_port),
        "efficiency": truth.tidy(100 * into_cell / from_port),
        "temperature_high": truth.tidy(float(degrees[main].max())),
    }
