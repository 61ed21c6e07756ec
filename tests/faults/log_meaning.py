"""Logs whose form is good and whose meaning is not: a wrong unit, column, lead, clock or device."""

from __future__ import annotations

from pathlib import Path

from .entry import Damage, Refused, both, changed, readings, removed, rows, swapped, wrote
from .good import charge, log
from .log_form import CURRENT, STANDBY, TODO, VOLTAGE

_REVIEW = "review.yaml"
_ONE_FILE = ("voltage: logs/voltage.csv\n    current: logs/current.csv", "voltage: logs/both.csv\n    current: logs/both.csv")


def _one_file(heading: str, *, exchanged: bool = False) -> Damage:
    """Both quantities in one log."""

    def damage(folder: Path) -> None:
        pairs = [(amps, volts) if exchanged else (volts, amps) for volts, amps in charge()]
        lines = [f"{30 * row},{one:.3f},{other:.3f}" for row, (one, other) in enumerate(pairs)]
        (folder / "logs/both.csv").write_text("\n".join([heading, *lines, ""]), encoding="utf-8")
        swapped(_REVIEW, _ONE_FILE)(folder)

    return damage


def _twice(folder: Path) -> None:
    """The lamp was charged, used, and charged again while the loggers ran."""
    pairs = charge() + [(4.0 - 0.4 * row / 60, 0.0) for row in range(60)] + charge(first_V=3.5)
    (folder / VOLTAGE).write_text(log("Voltage (V)", [volts for volts, _ in pairs], digits=3), encoding="utf-8")
    (folder / CURRENT).write_text(log("Current (A)", [amps for _, amps in pairs], digits=3), encoding="utf-8")


def _started_again(raw: bytes) -> bytes:
    """The logger was started twice and wrote both logs into one file, headings and all."""
    return raw + raw


MEANING = (
    Refused("current in A headed as mA", swapped(CURRENT, ("(A)", "(mA)")), TODO),
    Refused("current in mA headed as A", readings(CURRENT, lambda amps: 1000 * amps), TODO),
    Refused("current in mA headed as µA", both(readings(CURRENT, lambda amps: 1000 * amps), swapped(CURRENT, ("(A)", "(µA)"))), TODO),
    Refused("voltage in V headed as mV", swapped(VOLTAGE, ("(V)", "(mV)")), TODO),
    Refused("voltage in mV headed as V", readings(VOLTAGE, lambda volts: 1000 * volts, digits=0), TODO),
    Refused("drain in µA headed as mA", swapped(STANDBY, ("µA", "mA")), TODO),
    Refused("drain in mA headed as µA", readings(STANDBY, lambda amps: amps / 1000), TODO),
    Refused("minutes headed as seconds", both(rows(CURRENT, lambda row, cells: [str(row / 2), cells[1]]), rows(VOLTAGE, lambda row, cells: [str(row / 2), cells[1]]), swapped(CURRENT, ("Time", "Time (s)")), swapped(VOLTAGE, ("Time", "Time (s)"))), TODO),
    Refused("milliseconds headed as seconds", both(rows(CURRENT, lambda row, cells: [str(30000 * row), cells[1]]), rows(VOLTAGE, lambda row, cells: [str(30000 * row), cells[1]]), swapped(CURRENT, ("Time", "Time (s)")), swapped(VOLTAGE, ("Time", "Time (s)"))), TODO),
    Refused("columns of one log exchanged", _one_file("Time (s),Voltage (V),Current (A)", exchanged=True), TODO),
    Refused("voltage and current logs exchanged", swapped(_REVIEW, ("voltage: logs/voltage.csv", "voltage: logs/x.csv"), ("current: logs/current.csv", "current: logs/voltage.csv"), ("logs/x.csv", "logs/current.csv")), TODO),
    Refused("voltage and current logs exchanged, without units in them", both(swapped(VOLTAGE, ("Voltage (V)", "Reading")), swapped(CURRENT, ("Current (A)", "Reading")), swapped(_REVIEW, ("voltage: logs/voltage.csv", "voltage: {path: logs/x.csv, unit: V}"), ("current: logs/current.csv", "current: {path: logs/voltage.csv, unit: A}"), ("logs/x.csv", "logs/current.csv"))), TODO),
    Refused("one log for both quantities that holds only one", swapped(_REVIEW, ("current: logs/current.csv", "current: logs/voltage.csv")), TODO),
    Refused("ammeter's leads swapped", readings(CURRENT, lambda amps: -amps), TODO),
    Refused("voltmeter's leads swapped", readings(VOLTAGE, lambda volts: -volts), TODO),
    Refused("both meters' leads swapped", both(readings(VOLTAGE, lambda volts: -volts), readings(CURRENT, lambda amps: -amps)), TODO),
    Refused("a sign that turns a good log round", swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, sign: -1}")), TODO),
    Refused("two charges in one log", _twice, TODO),
    Refused("two logs in one file", changed(CURRENT, _started_again), TODO),
    Refused("a temperature log as current", swapped(CURRENT, ("Current (A)", "Temperature (°C)")), TODO),
    Refused("a temperature log named as the current's column", both(swapped(CURRENT, ("Current (A)", "Temperature (°C)")), swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, value: Temperature}"))), TODO),
    Refused("a log of the mains as the cell's voltage", readings(VOLTAGE, lambda volts: 230 + volts / 10), TODO),
    Refused("a log of the port as the cell's voltage", readings(VOLTAGE, lambda volts: 5 + volts / 100), TODO),
    Refused("a log of a sleeping device as the charge current", readings(CURRENT, lambda amps: 0.000043, digits=6), TODO),
    Refused("a log of another day as the charge current", rows(CURRENT, lambda row, cells: [cells[0].replace("2026-02", "2025-11"), cells[1]]), TODO),
    Refused("a voltage log that ends before the charge", rows(VOLTAGE, lambda row, cells: cells if row < 8 else None), TODO),
    Refused("a charge log as the drain", both(removed(STANDBY), lambda folder: (folder / STANDBY).write_bytes((folder / CURRENT).read_bytes())), TODO),
    Refused("readings beyond the meter's range", swapped(_REVIEW, ("full_scale: 10 A", "full_scale: 600 mA")), TODO),
    Refused("voltages beyond the meter's range", swapped(_REVIEW, ("full_scale: 6 V", "full_scale: 4 V")), TODO),
    Refused("a drain reading beyond its range", swapped(_REVIEW, ("reading_A: 2.4 uA", "reading_A: 2.4 mA")), TODO),
    Refused("a drain log beyond its range", readings(STANDBY, lambda amps: 1000 * amps, digits=0), TODO),
    Refused("a column that is not there", swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, value: Strom}")), TODO),
    Refused("a unit that is none", swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, unit: bananas}")), TODO),
    Refused("a unit of another kind", swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, unit: V}")), TODO),
    Refused("a clock offset of years", swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, clock_offset_s: 1e9}")), TODO),
    Refused("a cable pulled after the log's end", swapped(_REVIEW, ("source_controls_charge: false", "source_controls_charge: false\n    cable_out_s: 900000")), TODO),
    Refused("a range that the meter does not have", swapped(_REVIEW, ("source_controls_charge: false", "source_controls_charge: false\n    current_full_scale_A: 600 mA")), TODO),
    Refused("a temperature log in kelvin headed as °C", both(lambda folder: (folder / "logs/warm.csv").write_text(log("Temperature (°C)", [294.0] * 60, digits=1), encoding="utf-8"), swapped(_REVIEW, ("source_controls_charge: false", "source_controls_charge: false\n    temperature: logs/warm.csv"))), TODO),
    Refused("power headed as current", swapped(CURRENT, ("Current (A)", "Power (W)")), TODO),
    Refused("alternating current", swapped(CURRENT, ("Current (A)", "Current (A AC)")), TODO),
)
