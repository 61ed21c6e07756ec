"""Which readings are the charger's taper, what their times are worth, and what is run again: by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit.charge import burden_correction, cell_model
from reviewkit.charge.cell_model import CellModel, Limits, Run, State
from reviewkit.charge.segmentation import HELD, LEVEL
from reviewkit.charge.series_resistance import Regulation
from reviewkit.metrology import Measured
from reviewkit.metrology.meter import meter

AMMETER = meter({"name": "A", "accuracy": "±(1 % + 3)", "resolution": "1 mA", "burden_ohm": 0.1}, "A")
VOLTMETER = meter({"name": "V", "accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}, "V")


class Some(SimpleNamespace):
    """Bins, counted by their readings."""

    def __len__(self) -> int:
        return len(self.pulsing)


def a_run(
    current: Any = None,
    *,
    kinds: Any = (HELD,) * 4,
    pulsing: Any = (False,) * 4,
    bins_A: Any = (0.5,) * 4,
    bins_V: Any = (4.1,) * 4,
    **more: Any,
) -> Any:
    """Return a run held from 100 s to 200 s: current rows 2 s apart, voltage rows 1 s, V its own time in ks.

    The current is 0.9 A at 100 s and falls by 4 mA each second, if no other is given.
    """
    time, shown = np.arange(0.0, 302.0, 2.0), np.arange(0.0, 301.0)
    amps = 0.9 - 0.004 * (time - 100) if current is None else current(time)
    spans = more.pop("spans", ())
    given = {
        "clock_offset": None,
        "gaps": (),
        "interval_s": 2.0,
        "voltage_interval_s": 1.0,
        "time_s": time,
        "current": amps,
        "voltage_time_s": shown,
        "voltage_shown": more.pop("volts", shown / 1000),
        "voltmeter": VOLTMETER,
        "ammeter": AMMETER,
    }
    record = SimpleNamespace(**(given | {name: more.pop(name) for name in given.keys() & more}))
    cut = {
        "knee": SimpleNamespace(value=100.0),
        "end_s": 200.0,
        "unfit": False,
        "unresolved": False,
        "plateau_A": 1.0,
        "threshold_A": 0.02,
        "mask": lambda moments, name: (moments > 50) & (moments < 250),
        "named": lambda name: spans if name == "interrupted" else (),
        "profile": SimpleNamespace(pauses_s=more.pop("pauses_s", ())),
        "account": SimpleNamespace(kinds=lambda count: np.array(kinds)),
        "bins": Some(pulsing=np.array(pulsing), current_A=np.array(bins_A), voltage_V=np.array(bins_V)),
    }
    return SimpleNamespace(record=record, phases=SimpleNamespace(**(cut | more)))


def seconds(*stretches: tuple[int, int]) -> list[int]:
    return [moment for first, last in stretches for moment in range(first, last + 1)]


@pytest.mark.parametrize(
    ("more", "kept"),
    [
        ({}, seconds((103, 197))),
        ({"interval_s": 0.5}, seconds((102, 198))),
        ({"clock_offset": SimpleNamespace(expanded=3.0)}, seconds((106, 194))),
        ({"mask": lambda moments, name: moments > 150.5}, seconds((151, 197))),
        ({"gaps": (SimpleNamespace(start_s=140.0, end_s=150.0),)}, seconds((103, 139), (151, 197))),
        ({"spans": (SimpleNamespace(start_s=140.0, end_s=150.0),)}, seconds((103, 137), (153, 197))),
        ({"pauses_s": ((140.0, 150.0), (180.0, 181.0))}, seconds((103, 137), (153, 177), (184, 197))),
        # 3 % below a plateau of 0.8 A, 0.776 A, is passed after 31 s.
        ({"plateau_A": 0.8}, seconds((132, 197))),
        # Half of the current that counts as one, 0.602 A, after 74.5 s.
        ({"threshold_A": 1.204}, seconds((103, 174))),
        ({"knee": None}, []),
        ({"unfit": True}, []),
        ({"unresolved": True}, []),
    ],
)
def test_a_taper_is_read_at_the_voltage_rows_clear_of_both_ends_gaps_and_pauses(
    more: dict[str, Any], kept: list[int]
) -> None:
    """Of ends and pauses by the longer interval and what the clocks may be apart; of gaps their own rows."""
    current, volts = burden_correction._taper(a_run(**more))
    assert (1000 * volts).round().astype(int).tolist() == kept
    assert current == pytest.approx(0.9 - 0.004 * (np.array(kept) - 100.0))


def test_a_moved_log_is_read_earlier() -> None:
    """A current that is 4 mA lower with each second is 40 mA higher if it belongs 10 s later."""
    moved, _ = burden_correction._taper(a_run(), 10.0)
    assert moved == pytest.approx(0.9 - 0.004 * (np.arange(103, 198) - 110.0))


@pytest.mark.parametrize(("count", "pulsed"), [(4, False), (6, True)])
def test_pulses_are_read_by_their_on_times_where_most_of_the_held_bins_pulse(
    count: int, pulsed: bool
) -> None:
    """Of ten held bins; pulses before them count for nothing, nor do bins of no voltage or at the plateau."""
    kinds = [LEVEL] * 10 + [HELD] * 10
    pulsing = [True] * 10 + [True] * count + [False] * (10 - count)
    amps = np.array([1.0] * 10 + [0.975, 0.965] + [0.5] * 8)
    volts = np.where(np.arange(20) == 19, np.nan, 4.0 + 0.001 * np.arange(20))
    found, held = burden_correction._taper(a_run(kinds=kinds, pulsing=pulsing, bins_A=amps, bins_V=volts))
    if pulsed:
        assert found.tolist() == [0.965] + [0.5] * 7
        assert held == pytest.approx(4.0 + 0.001 * np.arange(11, 19))
    else:
        assert len(found) == 95


def timed(current: Any, ohm: float, **more: Any) -> dict[str, tuple[Any, Any]]:
    """Return what each doubt about the times adds to resistance and set voltage, 4.2 V."""
    volts = 4.2 - ohm * current(np.arange(0.0, 301.0))
    regulation = Regulation(Measured(4.2, "V"), Measured(ohm, "ohm"), 100, 0.5)
    run = a_run(current, volts=volts, plateau_A=2.0, **more)
    found = burden_correction._timed(run, regulation)
    assert found is not None
    return {
        ohms.name: (ohms, volt)
        for ohms, volt in zip(found.series_resistance.components, found.set_voltage.components, strict=True)
    }


def test_a_taper_that_may_be_early_or_late_moves_resistance_and_set_voltage() -> None:
    """Closed form: I = c + e^(−t/τ), V = 4.2 − R·I. Moved by s, the slope is R·e^(−s/τ).

    From s/2 earlier to s/2 later R moves by 2·R·sinh(s/2τ), and the set voltage by c times that.
    """
    found = timed(
        lambda time: 0.2 + np.exp(-(time - 100) / 60),
        0.1,
        clock_offset=SimpleNamespace(standard=4.0, expanded=8.0),
    )
    for name, late_s, shape in (
        ("clocks of the two logs", 4.0, "normal"),
        ("rows that may average over their interval", 1.0, "rectangular"),
        ("voltage rows that may average over theirs", 0.5, "rectangular"),
    ):
        ohms, volts = found.pop(name)
        assert ohms.size == pytest.approx(2 * 0.1 * math.sinh(late_s / 2 / 60), rel=0.02)
        assert volts.size == pytest.approx(0.2 * ohms.size, rel=0.05)
        assert (ohms.distribution, volts.distribution) == (shape, shape)
        assert (ohms.unit, volts.unit) == ("ohm", "V")
    assert not found
    # Logs on one clock leave only what a row averages over.
    assert len(timed(lambda time: 0.2 + np.exp(-(time - 100) / 60), 0.1)) == 2
    assert burden_correction._timed(a_run(), None) is None


def test_three_rows_at_two_currents_make_a_line() -> None:
    current = np.array([0.5, 0.5, 0.4])
    assert burden_correction._plain_line(current, 4.2 - 0.1 * current) == pytest.approx((0.1, 4.2))


# ------------------------------------------------------------------ what is run again


def to_be_run(stop_A: float = 0.05, **more: Any) -> burden_correction.Charge:
    """Return what is handed on of 2 A, 1 A from 500 s before the knee at 2000 s on; a row each second."""
    time = np.arange(0.0, 4001.0)
    current = np.where(time < 1500, 2.0, 1.0)
    volts = pd.Series(4.0 + 1e-5 * time, time)
    record = SimpleNamespace(
        time_s=time, current=current, voltage=volts.to_numpy(dtype=float), voltage_V=volts
    )
    cut = {
        "start": SimpleNamespace(value=700.0),
        "first_sample_s": 700.0,
        "knee": SimpleNamespace(value=2000.0),
        "end_s": 3000.0,
        "plateau_start_s": 700.0,
        "plateau_A": 9.0,
        "named": lambda name: (),
    }
    run = SimpleNamespace(
        record=record, phases=SimpleNamespace(**(cut | more)), get=lambda name: Measured(stop_A, "A")
    )
    regulation = Regulation(Measured(4.2, "V"), Measured(0.15, "ohm"), 100, 0.5)
    return burden_correction._charge(run, regulation)  # type: ignore[arg-type]


def test_a_prediction_counts_from_charge_start_and_has_the_charges_own_limits() -> None:
    found = to_be_run()
    assert (found.knee_s, found.termination_s) == (1300.0, 2300.0)
    assert (found.time_s[0], found.time_s[-1]) == (-600.0, 3300.0)
    assert found.voltage_V[0] == pytest.approx(4.001)
    assert found.limits == Limits(1.0, 4.2, 0.15, 0.05)


@pytest.mark.parametrize(
    ("more", "level_A"),
    [
        # 500 of the 600 s before the knee; of twice as long the first 700 s would outweigh them.
        ({}, 1.0),
        ({"knee": SimpleNamespace(value=1700.0)}, 2.0),
        ({"knee": SimpleNamespace(value=1700.0), "plateau_start_s": 1550.0}, 1.0),
        # No row of the plateau before the knee: its own level.
        ({"plateau_start_s": 2000.0}, 9.0),
    ],
)
def test_the_current_limit_is_that_of_the_ten_minutes_before_the_knee(
    more: dict[str, Any], level_A: float
) -> None:
    assert to_be_run(**more).limits.current_A == level_A


def test_a_stop_at_no_current_is_taken_for_a_thousandth_of_the_limit() -> None:
    """A taper never reaches zero; an ammeter's own offset may make it less."""
    assert to_be_run(-0.003).limits.stop_A == pytest.approx(0.001)
    assert to_be_run(0.0011).limits.stop_A == 0.0011


def an_effect(left_V: float, duration_s: float = 5000.0, knee_s: float = 3000.0) -> Any:
    empty = np.zeros(0)
    model = CellModel(empty, empty, 0.1, empty, empty, left_V)
    run = Run(empty, empty, empty, empty, 0.0, 0.0)
    return burden_correction.RigEffect(Measured(duration_s, "s"), Measured(knee_s, "s"), run, run, model)


@pytest.mark.parametrize(
    ("left_V", "more", "declared", "words"),
    [
        (0.0089, {}, 0.1, ""),
        (0.0111, {}, 0.1, "misses the log by 11 mV"),
        (0.0091, {}, 0.1, "misses the log by 9 mV"),
        (0.0, {"duration_s": math.nan}, 0.1, "none says how long"),
        (0.0, {"knee_s": math.nan}, 0.1, "none says how long"),
        (0.0, {}, 0.0, "not declared"),
    ],
)
def test_a_model_that_misses_the_log_by_8_mV_and_a_display_step_predicts_nothing(
    left_V: float, more: dict[str, float], declared: float, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a declared burden there is nothing to take away, but other cells are still run."""
    again = to_be_run()
    monkeypatch.setattr(burden_correction, "_unfit", lambda run, regulation: "")
    monkeypatch.setattr(burden_correction, "_charge", lambda run, regulation: again)
    monkeypatch.setattr(burden_correction, "predict", lambda *args, **rest: an_effect(left_V, **more))
    run = SimpleNamespace(
        record=SimpleNamespace(voltmeter=VOLTMETER, ammeter=AMMETER), get=lambda name: Measured(0.05, "A")
    )
    reasons: dict[str, str] = {}
    effect, charge = burden_correction._effect(run, SimpleNamespace(), declared, reasons)  # type: ignore[arg-type]
    assert (effect is None) == (charge is None) == (bool(words) and declared > 0)
    assert (words in reasons["effect"]) if words else not reasons


def test_a_charge_whose_knee_comes_at_once_is_run_again_from_half_way_to_it() -> None:
    """The rows before charge start are none of the charge."""
    time = np.arange(-50.0, 200.0)
    charge = burden_correction.Charge(
        time, np.full(250, 4.0), np.ones(250), 80.0, 190.0, Limits(1.0, 4.2, 0.1, 0.05)
    )
    model = CellModel(
        np.linspace(0.0, 1.0, 50), np.linspace(3.5, 4.2, 50), 0.1, np.zeros(1), np.array([80.0]), 0.0
    )
    start = burden_correction._before_knee(model, charge)
    assert isinstance(start, State)
    assert start.time_s == 40.0
    assert start.charge_Ah == pytest.approx(41 / 3600)


def test_a_stop_that_is_known_leaves_no_doubt_of_its_own() -> None:
    """One that is open by 0.1 A does: the taper without the rig is steeper."""
    model = CellModel(
        np.linspace(0.0, 2.0, 401), np.linspace(3.6, 4.1, 401), 0.05, np.zeros(1), np.array([40.0]), 0.0
    )
    limits = Limits(1.0, 4.15, 0.2, 0.1)
    ran = cell_model.run(model, State(0.0, 0.0, np.zeros(1)), limits)
    charge = burden_correction.Charge(
        ran.time_s, ran.voltage_V, ran.current_A, ran.knee_s, ran.duration_s, limits
    )
    sizes = []
    for open_A in ({}, {"stop_doubt_A": 0.1}):
        found = burden_correction.predict(charge, 0.1, model=model, **open_A).duration_s
        sizes.append(sum(one.size for one in found.components if one.name.endswith("current at the stop")))
    # I falls with τ = R/(dU/dq), R 0.25 Ω or 0.15 Ω; from 0.2 A to 0.1 A in τ·ln 2.
    assert sizes == [pytest.approx(0.0, abs=1e-6), pytest.approx(0.1 / 0.25 * 3600 * math.log(2), rel=0.01)]


def test_even_a_stop_that_moves_the_end_by_half_a_second_is_told() -> None:
    runs = [
        Run(np.array([0.0, end_s]), np.ones(2), np.array([1.0, 0.0]), np.ones(2), 0.0, end_s)
        for end_s in (100.0, 95.0)
    ]
    (part,) = burden_correction._earlier_stop(*runs, 0.1)
    assert part.size == pytest.approx(0.5)
