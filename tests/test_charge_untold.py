"""Logs that do not tell what the charger does: it is said, and nothing is read from them that needs it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from test_charge_numbers import AMMETER, VOLTMETER

from reviewkit import charge
from reviewkit.findings import Finding
from reviewkit.metrology.meter import Meter
from reviewkit.schema.blocks import Cell

OHM = 0.08


def course(time: np.ndarray, *, on_s: float = 0.0, off_s: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """1 A until the cell reaches 4.1 V after an hour, then a taper of 1200 s to 0.1 A; or 1 A switched."""
    rising = 4.02 - 0.6 * np.maximum(3600 - time, 0) / 3600
    current = np.where(time < 3600, 1.0, np.exp(-np.maximum(time - 3600, 0) / 1200))
    if on_s:
        current = np.where(time % (on_s + off_s) < on_s, current, 0.0)
    current[(time < 0) | (time > 3600 + 1200 * np.log(10))] = 0.0
    held = np.where(time < 3600, rising, 4.1 - OHM * np.exp(-np.maximum(time - 3600, 0) / 1200))
    return current, np.where(current > 0, held, held - OHM * 0.5 - 0.02)


def found(
    every_A: float, every_V: float, *, ammeter: Meter = AMMETER, voltmeter: Meter = VOLTMETER, **pulses: float
) -> dict[str, Finding]:
    times = [np.arange(-300.0, 9000.0, every) + 0.2 for every in (every_A, every_V)]
    amps, volts = course(times[0], **pulses)[0], course(times[1], **pulses)[1]
    record = charge.on_one_clock(
        pd.Series(np.round(volts / voltmeter.resolution) * voltmeter.resolution, times[1]),
        pd.Series(np.round(amps / ammeter.resolution) * ammeter.resolution, times[0]),
        voltmeter=voltmeter,
        ammeter=ammeter,
    )
    results = charge.analyse(record, cell=Cell(rated_capacity_Ah=1.5))
    return {item.key.split(".")[1]: item for item in results.findings()}


def test_a_beat_of_rows_and_pulses_is_no_string_of_pauses() -> None:
    """Rows 30 s apart show a current that is switched every 32 s as on for minutes, off for minutes."""
    items = found(30.0, 5.0, on_s=21.2, off_s=10.6)
    for name in ("plateau_current", "plateau_droop", "hold_voltage", "limit_adherence", "interruptions"):
        assert items[name].value is None, name
        assert "faster than the log’s rows can show" in items[name].note, name
    assert items["terminates"].value is True
    # 21.2 s of each 31.8 s: exact; rows in step with the pulses may hide much of it.
    time = np.arange(0.0, 9000.0, 0.1)
    whole_Ah = float(course(time, on_s=21.2, off_s=10.6)[0].sum()) * 0.1 / 3600
    assert items["delivered"].low < whole_Ah < items["delivered"].high
    assert "switchings" in " ".join(part.name for part in items["delivered"].budget)


def test_pulses_that_the_rows_show_are_read_as_before() -> None:
    items = found(1.0, 1.0, on_s=21.2, off_s=10.6)
    assert items["plateau_current"].value == 1.0
    assert items["interruptions"].value == 0


def test_a_fall_that_no_voltage_limit_explains_is_read_as_nothing() -> None:
    """The voltage still rises on a line while the current falls: a limit of the current does that too."""
    time = np.arange(-300.0, 9000.0, 5.0)
    current, _ = course(time)
    flows = current > 0
    volts = 3.5 + 0.05 * np.clip(time, 0, 6400) / 3600 + np.where(flows, OHM * (1 - current), 0.0)
    record = charge.on_one_clock(
        pd.Series(np.round(volts + 0.2 * (1 - current) * flows, 3), time),
        pd.Series(np.round(current, 3), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    results = charge.analyse(record)
    items = {item.key.split(".")[1]: item for item in results.findings()}
    for name in ("plateau_current", "plateau_droop", "knee_time", "limit_adherence"):
        assert items[name].value is None, name
        assert "can’t tell" in items[name].note, name
    assert items["delivered"].value is not None


def test_a_steep_taper_in_rows_far_apart_is_cut_off_and_does_not_fade() -> None:
    """From 1 A with a time constant of 90 s to 0.12 A in rows of 10 s, then nothing: by exp(−10/90) a row."""
    time = np.arange(-300.0, 4000.0, 10.0)
    late = np.maximum(time - 600.0, 0.0)
    current = np.where((time < 0) | (late > 190.0), 0.0, np.exp(-late / 90.0))
    volts = np.where(current > 0, 3.5 - 0.15 * np.maximum(600 - time, 0) / 600 - 0.05 * (current - 1), 3.42)
    record = charge.on_one_clock(
        pd.Series(np.round(volts, 3), time),
        pd.Series(np.round(current, 3), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
        cable_out_s=3500.0,
    )
    result = charge.analyse_one(record, cell=Cell(rated_capacity_Ah=1.0, chemistry="LFP"))
    assert result.phases is not None
    assert result.phases.ending == "terminated"


def test_a_current_that_steps_up_in_mid_charge_has_not_started_softly() -> None:
    """A line through 0.95 A for 600 s, then 0.9 A, 1 A from 1200 s on: least squares by hand."""
    time = np.arange(-120.0, 9000.0, 1.0)
    current, volts = course(time)
    current[(time >= 0) & (time < 600)] = 0.95
    current[(time >= 600) & (time < 1200)] = 0.9
    record = charge.on_one_clock(
        pd.Series(np.round(volts, 3), time),
        pd.Series(np.round(current, 3), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    droop = charge.analyse_one(record).get("plateau_droop")
    flat = (time >= 0) & (time < 3600)
    slope, level = np.polyfit(time[flat], current[flat], 1)
    assert droop is not None
    assert droop.value == pytest.approx(100 * slope * 3600 / level, abs=0.3)


def test_an_ammeter_that_shows_less_than_nothing_for_none_is_read() -> None:
    """All readings after the end below zero: half of their largest lies above it."""
    time = np.arange(-300.0, 9000.0, 5.0)
    current, volts = course(time)
    fading = np.where(time > 3600, np.exp(-np.maximum(time - 3600, 0) / 1200), current)
    record = charge.on_one_clock(
        pd.Series(np.round(volts, 3), time),
        pd.Series(np.round(fading - 0.002, 3), time),
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
    )
    assert charge.analyse_one(record).phases is not None
