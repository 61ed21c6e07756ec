"""Numbers of the charge section against closed forms and the GUM."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit import charge, figures
from reviewkit.charge import statistics, transition
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.findings import ChargeResults
from reviewkit.charge.inputs import termination_limit
from reviewkit.findings import MIME
from reviewkit.metrology import meter
from reviewkit.schema.blocks import Cell

VOLTMETER = meter.meter({"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}, "V")
AMMETER = meter.meter({"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"}, "A")
BARE = meter.meter({"accuracy": "±0.5 %", "resolution": "10 mA"}, "A")


def textbook(
    interval_s: float = 1.0, *, plateau_s: float = 3600.0, resolution: float = 1e-6
) -> tuple[pd.Series, pd.Series]:
    """1 A for an hour, then a taper with a time constant of 1200 s down to 0.05 A, then nothing."""
    time = np.arange(-60.0, plateau_s + 3594.879 + 4000, interval_s) + 0.25 * interval_s
    late = time - plateau_s
    current = np.where(late < 0, 1.0, np.exp(-np.maximum(late, 0) / 1200.0))
    current[(time < 0) | (late > 3594.879)] = 0.0
    volts = 4.2 - 0.6 * np.maximum(-late, 0) / plateau_s
    volts[time < 0] = 3.55
    volts[late > 3594.879] = 4.19
    return (
        pd.Series(np.round(volts, 6), time),
        pd.Series(np.round(current / resolution) * resolution, time),
    )


def analysed(voltage: pd.Series, current: pd.Series, **more: object) -> ChargeResult:
    record = charge.on_one_clock(voltage, current, voltmeter=VOLTMETER, ammeter=AMMETER, **more)
    return charge.analyse_one(record, cell=Cell(rated_capacity_Ah=1.5))


def test_closed_form_taper():
    """Closed form: from 1 A with a time constant of 1200 s to 0.05 A takes 3594.879 s and 0.316667 A.h."""
    result = analysed(*textbook())
    assert result.get("termination_time").value == pytest.approx(3600 + 3594.879, abs=1.0)
    assert result.get("termination_current").value == pytest.approx(0.05, rel=1e-3)
    assert result.delivered.of_phase("constant voltage") == pytest.approx(0.316667, abs=2e-4)
    assert result.get("delivered").value == pytest.approx(1.316667, abs=2e-4)
    assert result.get("knee_time").value == pytest.approx(3600, abs=1.0)
    assert result.get("delivered_before_knee").value == pytest.approx(100 / 1.316667, abs=0.02)
    assert result.get("plateau_droop").value == pytest.approx(0, abs=1e-3)


def test_charge_inherits_the_whole_accuracy_of_the_meter():
    """An integral is one long reading: a = 0.5 % of the charge + 3 counts over its whole time."""
    found = analysed(*textbook()).get("delivered")
    half = 0.005 * found.value + 0.003 * (3600 + 3594.879) / 3600
    assert found.standard == pytest.approx(half / math.sqrt(3), rel=0.01)


def test_a_long_log_does_not_average_accuracy_away():
    few, many = (analysed(*textbook(step)).get("plateau_current") for step in (10.0, 0.5))
    assert many.standard == pytest.approx(few.standard, rel=0.01)
    assert many.standard >= AMMETER.half_width(1.0) / math.sqrt(3)


def test_readings_all_alike_keep_the_display_step():
    """GUM F.2.2.1: a display of step δ has δ/√12, however often it shows the same."""
    voltage, current = textbook(resolution=0.01)
    record = charge.on_one_clock(voltage, current, voltmeter=VOLTMETER, ammeter=BARE)
    found = charge.analyse_one(record).get("plateau_current")
    step = [part for part in found.components if "display step" in part.name]
    assert step[0].contribution == pytest.approx(0.01 / math.sqrt(12), rel=1e-9)


@pytest.mark.parametrize("plain", [True, False])
def test_a_gap_is_stated_and_widens_the_charge(plain):
    voltage, current = textbook()
    hole = (current.index > 1000) & (current.index < 1120)
    seen = voltage[~hole] if plain else voltage
    whole, holed = analysed(voltage, current), analysed(seen, current[~hole])
    assert len(holed.delivered.gaps) == 1
    assert holed.get("delivered").value == pytest.approx(whole.get("delivered").value, abs=1e-4)
    widened = holed.get("delivered").standard > 1.001 * whole.get("delivered").standard
    # Where the voltage log runs on through the gap without a jump, nothing can have happened in it.
    assert widened is plain


def test_an_interruption_hidden_in_a_gap_is_inside_the_interval():
    voltage, current = textbook()
    paused = current.copy()
    paused[(current.index > 1002) & (current.index < 1118)] = 0.0
    true = float(np.trapezoid(paused, paused.index)) / 3600
    hole = (current.index > 1000) & (current.index < 1120)
    found = analysed(voltage[~hole], paused[~hole]).get("delivered")
    assert found.low <= true <= found.high


def test_a_last_row_that_averages_over_the_cut_off_is_left_out():
    voltage, current = textbook()
    last = current.index[current > 0][-1]
    current[last] = 0.03
    assert analysed(voltage, current).get("termination_current").value == pytest.approx(0.05, rel=5e-3)


@given(st.floats(0.3, 2.0), st.floats(0.15, 0.9), st.integers(0, 2**31))
def test_the_median_sees_between_the_steps(level, noise_steps, seed):
    """Readings shaken by noise tell more than the step of the display."""
    rng = np.random.default_rng(seed)
    shown = np.round((level + noise_steps * 1e-3 * rng.standard_normal(20_000)) / 1e-3) * 1e-3
    found = statistics.weighted_median(shown, np.ones(20_000), 1e-3)
    assert found == pytest.approx(level, abs=0.4e-3)


def test_a_cut_off_whose_current_too_few_rows_tell_is_no_failure():
    """Its moment is known, its current is not: the drawing of the end says why it is not there."""
    plain, why = analysed(*textbook(10.0)), "The log has too few readings there."
    known = {name: value for name, value in plain.quantities.items() if name != "termination_current"}
    less = replace(plain, quantities=known, missing={**plain.missing, "termination_current": why})
    assert less.get("termination_time") is not None
    assert figures.charge_end(ChargeResults((less,))).why == why


def test_alike_readings_give_that_reading():
    assert statistics.weighted_median(np.full(9, 0.123), np.ones(9), 1e-3) == pytest.approx(0.123, abs=1e-12)


def test_millions_of_rows_are_no_loop():
    """Three million rows go through; a loop over rows would take minutes and be noticed."""
    voltage, current = textbook(0.004)
    assert len(current) > 2_500_000
    assert analysed(voltage, current).get("delivered").value == pytest.approx(1.316667, abs=2e-4)


CONTRACT = [
    "start_voltage",
    "precharge_current",
    "precharge_end",
    "plateau_current",
    "plateau_droop",
    "knee_time",
    "knee_voltage",
    "hold_voltage",
    "peak_voltage",
    "settled_voltage_10min",
    "settled_voltage_60min",
    "termination_current",
    "termination_time",
    "terminates",
    "current_after",
    "drawn_after",
    "delivered",
    "delivered_energy",
    "delivered_before_knee",
    "time_to_80",
    "limit_adherence",
    "interruptions",
    "top_ups",
    "transient_share",
    "clock_offset",
]


def test_every_key_is_there_even_if_nothing_was_logged():
    found = charge.analyse(()).findings()
    assert [item.key for item in found] == [f"charge.{name}" for name in CONTRACT]
    assert {item.verdict for item in found} == {"not tested"}
    assert all("charge_runs" in item.note for item in found)


def test_one_run_stands_under_both_keys_and_is_shown_once():
    found = ChargeResults((analysed(*textbook(), source="laptop port", label="laptop_port"),)).findings()
    short, long = found.get("charge.plateau_current"), found.get("charge.laptop_port.plateau_current")
    assert short.value == long.value
    bundle = found._repr_mimebundle_()
    assert len(bundle[MIME]["findings"]) == 2 * len(CONTRACT)
    assert bundle["text/html"].count("plateau current") == 1


def test_several_runs_stand_under_their_labels_only():
    runs = tuple(analysed(*textbook(), source=name, label=name) for name in ("a", "b"))
    keys = [item.key for item in ChargeResults(runs).findings()]
    assert "charge.a.delivered" in keys
    assert "charge.b.delivered" in keys
    assert "charge.delivered" not in keys
    assert len(keys) == len(set(keys))


def test_limits_name_their_source():
    cell = Cell(rated_capacity_Ah=1.5, charge_limit_V=4.2, max_charge_A=0.75)
    voltage, current = textbook()
    record = charge.on_one_clock(voltage, current, voltmeter=VOLTMETER, ammeter=AMMETER)
    found = ChargeResults((charge.analyse_one(record, cell=cell),)).findings()
    assert found.get("charge.plateau_current").verdict == "fail"
    assert found.get("charge.peak_voltage").verdict == "pass"
    assert found.get("charge.termination_current").verdict == "pass"  # C/50 to C/10: common practice
    assert found.get("charge.current_after").verdict == "inconclusive"  # ±3 mA can't tell from C/1000
    judged = [item for item in found if item.limit]
    assert all(item.limit.source for item in judged)
    assert all(item.budget for item in found if item.uncertainty)


@pytest.mark.parametrize(
    ("declared", "low", "high", "source"),
    [
        ({"rated_capacity_Ah": 3.0}, 0.06, 0.3, "C/50 to C/10, common practice"),
        ({"min_termination_A": "20 mA", "max_termination_A": 0.2}, 0.02, 0.2, "data sheet"),
        ({"rated_capacity_Ah": 3.0, "min_termination_A": 0.02}, 0.02, 0.3, "declared; C/10, common"),
        ({"rated_capacity_Ah": 3.0, "max_termination_A": 0.05}, None, 0.05, "as declared"),
        ({"rated_capacity_Ah": 3.0, "min_termination_A": 0.4}, 0.4, None, "as declared"),
    ],
)
def test_the_data_sheet_says_where_a_charge_stops_else_common_practice(declared, low, high, source):
    """C/50 to C/10: common practice, no source."""
    limit = termination_limit(Cell(**declared))
    assert (limit.low, limit.high) == (pytest.approx(low), pytest.approx(high))
    assert source in limit.source
    assert termination_limit(Cell()) is None


def test_a_display_that_stands_still_has_no_scatter_of_its_own():
    """What 64-bit arithmetic leaves of equal readings is none: it would differ from machine to machine."""
    time = np.arange(0.0, 9000.0, 10.0) + 0.1
    stands = statistics.line(time, np.full(len(time), 0.55) + 1e-16 * np.sin(time))
    assert (stands.residual, stands.thin) == (0.0, 1.0)
    assert statistics.line(time, 0.55 + 1e-9 * np.sin(time)).residual == pytest.approx(
        1e-9 / math.sqrt(2), rel=0.02
    )


def test_scatter_that_the_display_makes_is_known_however_few_readings_count():
    """GUM G.4.3: an uncertainty that is known from its bounds has infinitely many degrees of freedom."""
    voltage, current = textbook(interval_s=10.0, resolution=0.01)
    droop = analysed(voltage, current).get("plateau_droop")
    assert all(math.isinf(part.dof) for part in droop.components)


def test_a_bend_scatters_by_as_much_as_is_stated_of_it() -> None:
    """A known bend in noise: deviations over stated standard uncertainties have a root mean square near 1.

    The surest of several windows is used, so its own spread alone would be too small.
    """
    time = np.arange(0.0, 3600.0, 5.0)
    record = charge.on_one_clock(
        pd.Series(4.2, time), pd.Series(0.8, time), voltmeter=VOLTMETER, ammeter=AMMETER
    )
    rng = np.random.default_rng(1)
    ratios = []
    for knee_s in rng.uniform(1760.0, 1840.0, 60):
        current = 0.8 * np.exp(-np.maximum(time - knee_s, 0.0) / 2500.0) + rng.normal(0.0, 4e-3, len(time))
        found = transition._bends(record, current, 1800.0, 900.0, 1e-5, hidden=0.0, level=False)
        surest = min(found, key=lambda one: one.standard)
        ratios.append((surest.value - knee_s) / surest.standard)
    assert 0.95 < math.sqrt(np.mean(np.square(ratios))) < 1.5
