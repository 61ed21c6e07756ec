"""What sentences of a charge are given, what a run without the bench is, and clocks: by hand, small cases."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit.charge import analysis, burden_correction, cell_model, sentences
from reviewkit.charge.burden_correction import Charge, other_cells, predict
from reviewkit.charge.cell_model import CellModel, Limits, State
from reviewkit.charge.regimes import Phase
from reviewkit.metrology import COVERAGE, Component, Measured
from reviewkit.metrology.meter import meter
from reviewkit.schema.blocks import Cell

AMMETER = meter(
    {"name": "A", "accuracy": "±(1 % + 3)", "resolution": "1 mA", "burden_ohm": 0.08, "leads_ohm": 0.02}, "A"
)
VOLTMETER = meter({"name": "V", "accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}, "V")


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Return what the sentence asked for last is given."""
    given: dict[str, Any] = {}

    def say(name: str, **values: Any) -> str:
        given.clear()
        given.update(values, name=name)
        return name

    monkeypatch.setattr(sentences, "say", say)
    return given


def a_run(quantities: dict[str, Measured] | None = None, **phases: Any) -> Any:
    made = {
        "start": Measured(100.0, "s"),
        "end_s": 5000.0,
        "ending": "terminated",
        "terminated": True,
        "regimes": (),
        "main": (SimpleNamespace(last_s=4000.0),),
        "top_ups": (),
        "named": lambda name: (),
        "began_before": False,
        "profile": SimpleNamespace(pauses_s=()),
    }
    known = quantities or {}
    return SimpleNamespace(
        phases=SimpleNamespace(**(made | phases)),
        quantities=known,
        get=known.get,
        cell=Cell(rated_capacity_Ah=2.0),
        record=SimpleNamespace(cable_out_s=None, time_s=np.array([0.0, 9000.0]), clock_note=""),
        delivered=None,
    )


def amps(value: float, half: float = 0.0) -> Measured:
    return Measured(value, "A", (Component("x", half, "A"),))


@pytest.mark.parametrize(("count", "parts", "more"), [(5, 5, 0), (6, 5, 1), (8, 5, 3)])
def test_five_pauses_are_told_and_the_rest_counted(
    count: int, parts: int, more: int, told: dict[str, Any]
) -> None:
    """Those of the main charge: what lies after its last row is none."""
    pauses = (*((1000.0 * number, 1000.0 * number + 10) for number in range(count)), (9e9, 9e9 + 1))
    main = (SimpleNamespace(last_s=8e9),)
    sentences.pauses(a_run(main=main, profile=SimpleNamespace(pauses_s=pauses)))
    assert (len(told["parts"]), told["more"]) == (parts, more)
    again = tuple(SimpleNamespace(first_s=6000.0 + number, last_s=6010.0 + number) for number in range(count))
    sentences.top_ups(a_run(top_ups=again))
    assert (len(told["parts"]), told["more"]) == (parts, more)


def level(level_A: float, length_s: float, name: str = "constant current", shape: str = "level") -> Any:
    return SimpleNamespace(name=name, shape=shape, level_A=level_A, length_s=length_s)


@pytest.mark.parametrize(
    ("regimes", "count"),
    [
        ((level(1.0, 500), level(0.5, 500)), 2),
        ((level(1.0, 500),), 0),
        ((level(1.0, 500), level(0.975, 500)), 0),
        ((level(1.0, 500), level(0.965, 500)), 2),
        ((level(1.0, 500), level(0.5, 119)), 0),
        ((level(1.0, 500), level(0.5, 121)), 2),
        ((level(1.0, 500), level(0.5, 500, shape="slope")), 0),
        ((level(1.0, 500), level(0.5, 500, "constant voltage")), 0),
        (tuple(level(1.0 / 2**number, 500) for number in range(7)), 5),
    ],
)
def test_levels_before_the_knee_are_those_of_two_minutes_and_three_percent_apart(
    regimes: Any, count: int
) -> None:
    assert len(sentences.levels(a_run(regimes=regimes))) == count


@pytest.mark.parametrize(
    ("value", "half", "sign"), [(1.0, 0.4, 1), (1.0, 0.6, 0), (-1.0, 0.4, -1), (-1.0, 0.6, 0), (0.5, 0.1, 1)]
)
def test_a_sign_is_certain_or_none(value: float, half: float, sign: int) -> None:
    assert sentences.sign(amps(value, half)) == sign


@pytest.mark.parametrize(
    ("value", "half", "falls", "clear", "large"),
    [
        (-10.1, 1.0, True, True, True),
        (-9.9, 1.0, True, True, False),
        (9.9, 5.2, False, False, False),
        (0.5, 0.1, False, True, False),
    ],
)
def test_a_droop_is_large_beyond_ten_percent_and_clear_beyond_its_uncertainty(
    value: float, half: float, falls: bool, clear: bool, large: bool, told: dict[str, Any]
) -> None:
    sentences._droop(a_run({"plateau_droop": Measured(value, "%", (Component("x", half, "%"),))}))
    assert (told["falls"], told["clear"], told["large"]) == (falls, clear, large)


@pytest.mark.parametrize(("ohm", "some"), [(0.0019, False), (0.0021, True)])
def test_a_drop_is_told_from_two_milliohm_on(ohm: float, some: bool, told: dict[str, Any]) -> None:
    run = a_run({"plateau_current": amps(1.0)})
    assert bool(sentences.full_drop(run, Measured(ohm, "ohm"))) == some
    assert sentences.full_drop(a_run(), Measured(1.0, "ohm")) == ""


@pytest.mark.parametrize(("current", "rate"), [(0.1, "20"), (0.5, "4"), (0.0, ""), (-0.1, "")])
def test_a_rate_is_the_capacity_over_the_current(current: float, rate: str, told: dict[str, Any]) -> None:
    sentences._termination(a_run({"termination_current": amps(current)}))
    assert told["rate"] == rate
    assert sentences.c_rate(a_run({"x": amps(0.54)}), "x") == "0.27\u00a0C"


@pytest.mark.parametrize(("half", "some"), [(0.4, True), (0.6, False)])
def test_a_draw_is_told_where_it_certainly_is_one(half: float, some: bool, told: dict[str, Any]) -> None:
    sentences.drawn(a_run({"current_after": amps(-1.0, half)}))
    assert told["some"] == some


@pytest.mark.parametrize(("ending", "name"), [("terminated", "cut_off_in_gap"), ("never", "never_cut_off")])
def test_an_end_is_told_as_it_was(ending: str, name: str, told: dict[str, Any]) -> None:
    assert sentences.ending(a_run(ending=ending)) == name
    assert sentences.ending(a_run({"termination_time": Measured(10.0, "s")})) == "cut_off"


def test_what_was_delivered_is_told_in_percent_and_gaps_with_both_sides_of_what_they_hide(
    told: dict[str, Any],
) -> None:
    gaps = (SimpleNamespace(length_s=30.0), SimpleNamespace(length_s=12.0))
    run = a_run(named=lambda name: (1,) if name == "constant current" else ())
    run.delivered = SimpleNamespace(total_Ah=1.5, gaps=(), hidden_Ah=0.002, of_phase=lambda name: 1.2345)
    sentences._delivered(run)
    assert (told["percent"], told["parts"]) == ("75", ["1.234 Ah in constant current"]) or told["parts"][
        0
    ].startswith("1.23")
    run.delivered.gaps = gaps
    sentences._delivered(run)
    assert (told["name"], told["count"], told["hidden"]) == ("gaps", 2, "4.0")


def test_pauses_within_a_time_are_told_where_there_are_any(told: dict[str, Any]) -> None:
    assert sentences._termination_time(a_run()) == ""
    spans = (SimpleNamespace(length_s=60.0), SimpleNamespace(length_s=40.0))
    assert sentences._termination_time(a_run(named=lambda name: spans)) == "includes_pauses"
    assert told["lost"].startswith("100")


# ------------------------------------------------------------------ clocks


def test_a_span_carries_the_rate_of_its_clock() -> None:
    """50 parts in a million: common practice for a logger's crystal."""
    part = analysis._clocked(Measured(7200.0, "s")).components[0]
    assert (part.size, part.sensitivity, part.distribution) == (5e-5, 7200.0, "rectangular")
    assert analysis._clocked(Measured(0.0, "s")).components == ()
    knee = Measured(500.0, "s")
    cut = SimpleNamespace(
        knee=knee, knee_at_start=True, start=Measured(500.0, "s", (Component("x", 1.0, "s"),))
    )
    at_once = analysis._since(cut, knee)  # type: ignore[arg-type]
    assert at_once is not None
    assert (at_once.value, len(at_once.components)) == (0.0, 1)


@pytest.mark.parametrize(("half", "after_s", "expected"), [(20.0, 1100.0, None), (20.0, 1010.0, 40.0)])
def test_an_end_in_a_gap_lies_anywhere_in_it(
    half: float, after_s: float, expected: float | None, monkeypatch: Any
) -> None:
    ended = Measured(900.0, "s", (Component("x", half, "s"),))
    main = (SimpleNamespace(last_s=1000.0, after_s=after_s),)
    cut = SimpleNamespace(
        terminated=True, end_in_gap=True, end=ended, since_start=lambda moment: ended, main=main
    )
    monkeypatch.setattr(analysis.currents, "termination_bounds", lambda record, phases: (0.1, 0.2))
    found = analysis._bounds(None, cut)  # type: ignore[arg-type]
    reach = 50.0 if expected is None else ended.expanded
    assert found["termination_time"] == pytest.approx((900 - reach, 900 + reach))
    assert found["termination_current"] == (0.1, 0.2)
    cut.end_in_gap = False
    assert analysis._bounds(None, cut) == {}  # type: ignore[arg-type]


def shifted(shift_s: float, declared_s: float = 1.0) -> tuple[Any, Any]:
    """Return a charge whose current log is off by so much; V + R·I rises up to 2000 s, then is level."""
    time = 2.0 * np.arange(2000)
    after = np.maximum(time - 2000, 0)
    current = np.where(time < 2000, 1.0, np.exp(-after / 600))
    regulation = 4.2 - 2e-4 * np.maximum(2000 - time, 0)
    volts = regulation - 0.2 * current + np.random.default_rng(3).normal(0, 3e-4, 2000)
    offset = Measured(0.0, "s", (Component("clocks never compared", declared_s, "s"),))
    record = SimpleNamespace(
        voltage_V=pd.Series(volts, time),
        time_s=time - shift_s,
        current=current,
        voltmeter=VOLTMETER,
        clock_offset=offset,
        clock_is_declared=True,
        clock_note="",
    )
    knee = Measured(2000.0 - shift_s, "s")
    return record, SimpleNamespace(
        knee=knee, end_s=3990.0, plateau_start_s=0.0, unresolved=False, knee_at_start=False
    )


@pytest.mark.parametrize(("shift_s", "found"), [(0.0, False), (40.0, False), (80.0, True), (-80.0, True)])
def test_clocks_are_doubted_whose_logs_bend_more_than_45_seconds_apart(shift_s: float, found: bool) -> None:
    record, phases = shifted(shift_s)
    moved = analysis._moved(record, phases)
    assert (moved is not None) == found
    if moved is not None:
        assert moved[0] == pytest.approx(shift_s, abs=10.0)
        assert 0 < moved[1] < 20


def test_a_doubted_clock_is_off_by_what_was_found(monkeypatch: pytest.MonkeyPatch) -> None:
    from reviewkit import charge

    series = pd.Series(np.ones(9), np.arange(9.0))
    record = charge.on_one_clock(
        series,
        series,
        voltmeter=VOLTMETER,
        ammeter=AMMETER,
        clock_offset=Measured(0.0, "s", (Component("clocks never compared", 1.0, "s"),)),
    )
    phases = SimpleNamespace(unresolved=False, knee=Measured(1.0, "s"), knee_at_start=False)
    monkeypatch.setattr(analysis, "_moved", lambda one, cut: (-80.0, 6.0))
    found = analysis.checked(record, phases)  # type: ignore[arg-type]
    assert found.clock_offset is not None
    part = found.clock_offset.components[-1]
    assert (part.size, part.distribution) == (pytest.approx(86.0 / COVERAGE), "rectangular")


# ------------------------------------------------------------------ without the bench

MODEL = CellModel(
    np.linspace(0.0, 2.0, 401), np.linspace(3.6, 4.1, 401), 0.05, np.array([0.02]), np.array([40.0]), 0.0
)


def test_a_line_through_a_taper_is_minus_its_slope_and_its_start() -> None:
    current = np.array([1.0, 0.6, 0.2])
    assert burden_correction._plain_line(current, 4.2 - 0.1 * current) == pytest.approx((0.1, 4.2))
    assert all(map(math.isnan, burden_correction._plain_line(current[:2], current[:2])))
    assert all(map(math.isnan, burden_correction._plain_line(np.ones(4), np.ones(4))))


def test_a_declared_burden_is_good_to_a_fifth_and_what_is_left_is_the_devices() -> None:
    """0.1 Ω of burden and leads ± 20 mΩ: common practice, no source."""
    record = SimpleNamespace(ammeter=AMMETER)
    part = burden_correction._burden(record)  # type: ignore[arg-type]
    assert (part.size, part.distribution) == (pytest.approx(0.02), "rectangular")
    regulation = SimpleNamespace(series_resistance=Measured(0.25, "ohm"))
    reasons: dict[str, str] = {}
    left = burden_correction._device(regulation, record, reasons)  # type: ignore[arg-type]
    assert left is not None
    assert left.value == pytest.approx(0.15)


@pytest.mark.parametrize(("change", "model"), [(-400.0, 100.0), (-20.0, 60.0), (0.0, 0.0)])
def test_a_prediction_is_a_change_of_what_was_measured_good_to_a_quarter_of_it(
    change: float, model: float
) -> None:
    """Or six thousandths of the time; and half of what the model is off by in the run as it was."""
    found = burden_correction._corrected(10_000.0, 10_100.0, 10_100.0 + change, "x")
    assert found.value == 10_000.0 + change
    assert [part.size for part in found.components] == pytest.approx([model, 50.0])


def measured() -> Charge:
    limits = Limits(1.0, 4.15, 0.2, 0.1)
    run = cell_model.run(MODEL, State(0.0, 0.0, np.zeros(1)), limits)
    return Charge(run.time_s, run.voltage_V, run.current_A, run.knee_s, run.duration_s, limits)


def test_without_the_rig_a_charge_ends_where_the_model_runs_it_with_less_in_series() -> None:
    """The model itself as the cell: with and without 0.1 Ω from a minute before the knee."""
    charge = measured()
    effect = predict(charge, 0.1, model=MODEL, stop_doubt_A=0.01)
    bare = cell_model.run(MODEL, State(0.0, 0.0, np.zeros(1)), Limits(1.0, 4.15, 0.1, 0.1))
    assert effect.with_rig.duration_s == pytest.approx(charge.termination_s, abs=10)
    assert effect.duration_s.value == pytest.approx(bare.duration_s, abs=15)
    assert effect.knee_s.value == pytest.approx(bare.knee_s, abs=15)
    assert effect.with_rig.time_s[0] == pytest.approx(charge.knee_s - 60.0, abs=5)
    stop = effect.duration_s.components[-1]
    ends = [np.interp(-0.11, -one.current_A, one.time_s) for one in (effect.with_rig, effect.without_rig)]
    change = effect.without_rig.duration_s - effect.with_rig.duration_s
    assert stop.size == pytest.approx(abs(change - (ends[1] - ends[0])))
    none = predict(charge, 9.0, model=MODEL)
    assert none.without_rig.current_A.max() == 1.0


def test_other_cells_take_as_long_as_their_capacity_says() -> None:
    """Trusted from half to twice the rate; uncertain by 2 % and 5 % of the stretch's logarithm."""
    charge = measured()
    effect = predict(charge, 0.1, model=MODEL)
    found = other_cells(effect, charge, 0.1, 2.0, (0.99, 1.01, 2.0, 3.99, 4.01))
    assert [one.trusted for one in found] == [False, True, True, True, False]
    bare = Limits(1.0, 4.15, 0.1, 0.1)
    own = cell_model.run(MODEL, State(0.0, 0.0, np.zeros(1)), bare)
    assert found[2].full_s.value == pytest.approx(own.duration_s)
    wanted = 0.8 * own.charge_Ah[-1]
    assert found[2].to_80_s.value == pytest.approx(np.interp(wanted, own.charge_Ah, own.time_s))
    closure = abs(own.duration_s - effect.duration_s.value) / own.duration_s
    assert found[2].full_s.components[0].size == pytest.approx((closure + 0.02) * own.duration_s)
    share = closure + 0.02 + 0.05 * math.log(3.99 / 2.0)
    assert found[3].full_s.components[0].size == pytest.approx(share * found[3].full_s.value)


def stopping(share: float, **phases: Any) -> str:
    run = a_run(
        {"termination_current": amps(share), "plateau_current": amps(1.0)},
        **({"knee": Measured(1.0, "s"), "knee_at_start": False, "sees_plateau": True} | phases),
    )
    assert burden_correction.stop_share(run) == pytest.approx(share)
    return burden_correction._unfit(run, SimpleNamespace())  # type: ignore[arg-type]


def test_a_charge_is_run_again_that_fell_to_its_end_at_a_voltage_limit() -> None:
    assert stopping(0.34) == ""
    assert stopping(0.36)
    reasons = [
        stopping(0.36),
        stopping(0.3, knee=None),
        stopping(0.3, terminated=False),
        stopping(0.3, sees_plateau=False),
        stopping(0.3, named=lambda name: (1,)),
    ]
    assert len(set(reasons)) == 5
    assert burden_correction.stop_share(a_run()) == 0.0


def test_the_relaxation_of_an_hour_belongs_to_a_charge_up_to_its_top_up() -> None:
    """From ten minutes before its first row; where the current log ends, the voltage goes on with none."""
    time = 10.0 * np.arange(1000)
    record = SimpleNamespace(
        time_s=time[:600],
        current=np.ones(600),
        voltage=np.full(600, 4.0),
        voltage_V=pd.Series(np.full(1000, 4.0), time),
    )
    phases = SimpleNamespace(end_s=5000.0, first_sample_s=1000.0, named=lambda name: ())
    found, _, amperes = burden_correction._with_relaxation(record, phases)  # type: ignore[arg-type]
    assert (found[0], found[-1], len(found)) == (400.0, 8600.0, 821)
    assert amperes[found > 5990].max() == 0.0
    assert amperes[found <= 5990].min() == 1.0
    phases.named = lambda name: (Phase("top-up", 7000.0, 7100.0),)
    assert burden_correction._with_relaxation(record, phases)[0][-1] == 7000.0  # type: ignore[arg-type]
