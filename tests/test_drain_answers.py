"""Days, fitness of a range, verdicts and findings of drains: by hand, on both sides of each bound."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit import drain
from reviewkit.drain import decompose, sentences, states
from reviewkit.drain.features import Feature, Mean
from reviewkit.drain.findings import _bounded, _found, _honest
from reviewkit.drain.inputs import DrainInputs, DrainState, check
from reviewkit.drain.states import Days, Fitness, StateDrain, days, fitness
from reviewkit.errors import Faults
from reviewkit.findings import Finding
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.conformity import Limit
from reviewkit.metrology.meter import Meter, meter

SPEC = {
    "name": "M",
    "accuracy": "±(1 % + 3)",
    "resolution": "0.1 uA",
    "full_scale": "600 uA",
    "burden_ohm": 100,
}
FIT = Fitness(1000.0, False, 0.01, False)
UNFIT = Fitness(3.0, True, 0.01, False, "A finer range.")
OPEN = Days()


def measured(value: float, half: float = 0.0) -> Measured:
    """Return a value with a normal uncertainty, whose expanded one is about twice as much."""
    return Measured(value, "A", (Component("x", half, "A"),))


def mean(value: float, half: float = 0.0) -> Mean:
    return Mean(measured(value, half), value)


def pulsed(count: int = 12, base: float = 100.0) -> np.ndarray:
    values = np.full(20 * count + 10, base)
    for number in range(count):
        values[10 + 20 * number : 14 + 20 * number] += 200.0
    return values


def split_of(values: np.ndarray, interval_s: float = 1.0, **more: Any) -> drain.Decomposition:
    """Return what a log in steps of 1 shows."""
    read = meter({"name": "M", "accuracy": "±(1 % + 1)", "resolution": 1.0}, "A")
    return decompose(pd.Series(values, np.arange(len(values)) * interval_s), meter=read, **more)


def state(split: drain.Decomposition | None = None, **more: Any) -> StateDrain:
    made = StateDrain(
        DrainState(name="off", reading_A=1.0), None, split, mean(100.0, 1.0), FIT, FIT, OPEN, OPEN, OPEN
    )
    return replace(made, **more)


# ------------------------------------------------------------------ days


def test_days_of_a_drain_are_capacity_over_its_bounds() -> None:
    """1 A·h at 1 mA: 1000 h; an expanded uncertainty of a tenth gives 1000/1.1 h to 1000/0.9 h."""
    found = days(mean(1e-3, 0.05e-3), 1.0)
    expanded = measured(1e-3, 0.05e-3).expanded
    assert found.value is not None
    assert found.value.value == pytest.approx(1000 / 24)
    assert found.low == pytest.approx(1 / (1e-3 + expanded) / 24)
    assert found.high == pytest.approx(1 / (1e-3 - expanded) / 24)
    # d(1/x) = −dx/x².
    assert found.value.components[0].sensitivity == pytest.approx(-1 / 1e-6 / 24)
    assert days(mean(1e-3), 1.0, share=0.25).value.value == pytest.approx(250 / 24)  # type: ignore[union-attr]


def test_a_cells_own_loss_is_added_as_a_rectangle_between_its_rates() -> None:
    """73.05 A·h losing 1 % to 3 % in 730.5 h: 1 mA to 3 mA."""
    found = days(mean(2e-3, 0.0), 73.05, own_percent=(1.0, 3.0))
    assert found.value is not None
    assert found.value.value == pytest.approx(73.05 / 4e-3 / 24)
    assert found.low == pytest.approx(73.05 / 5e-3 / 24)
    assert found.high == pytest.approx(73.05 / 3e-3 / 24)
    loss = found.value.components[-1]
    assert (loss.size, loss.distribution) == (pytest.approx(1e-3), "rectangular")


@pytest.mark.parametrize(
    ("low", "high", "own", "expected"),
    [
        (1.0, 2.0, None, (0.5, 1.0)),
        (None, 2.0, None, (0.5, None)),
        (1.0, None, None, (None, 1.0)),
        (0.0, 2.0, None, (0.5, None)),
        (-1.0, 2.0, None, (0.5, None)),
        (None, None, None, (None, None)),
        (-2.0, 0.0, None, (None, None)),
        (-2.0, -0.5, (1.0, 2.0), (None, None)),
        (-1.0, 2.0, (1.0, 2.0), (1 / 4, 1.0)),
        (None, 2.0, (1.0, 2.0), (1 / 4, 1.0)),
        (1.0, 2.0, (1.0, 2.0), (1 / 4, 1 / 2)),
    ],
)
def test_bounds_of_a_drain_bound_its_days(
    low: float | None, high: float | None, own: tuple[float, float] | None, expected: tuple[Any, Any]
) -> None:
    """Of 24 A·h, in days at 1 A; a loss of `own` percent a month of 730.5 h is as many amperes here."""
    share = None if own is None else tuple(100 * rate * states.HOURS_PER_MONTH / 24 for rate in own)
    found = days(Mean(None, 1.0, low=low, high=high), 24.0, own_percent=share)
    assert found.value is None
    assert (found.low, found.high) == (
        None if expected[0] is None else pytest.approx(expected[0]),
        None if expected[1] is None else pytest.approx(expected[1]),
    )
    assert days(Mean(None, 1.0, low=1.0), None) == Days()


@pytest.mark.parametrize(("half", "has_value"), [(0.49, True), (0.52, False)])
def test_an_interval_that_holds_no_drain_has_no_value_of_days(half: float, has_value: bool) -> None:
    found = days(Mean(measured(1.0, half), 1.0), 24.0)
    assert (found.value is not None) == has_value
    assert (found.high is not None) == has_value
    assert days(Mean(measured(1.0, 0.52), 1.0), 24.0, own_percent=(3000.0, 3000.0)).value is not None


@pytest.mark.parametrize(("relative", "symmetric"), [(0.19, True), (0.21, False)])
def test_one_uncertainty_says_it_all_up_to_a_fifth(relative: float, symmetric: bool) -> None:
    value = Measured(100.0, "d", (Component("x", relative * 100 / measured(1.0, 1.0).expanded, "d"),))
    found = Days(value, 80.0, 125.0)
    assert value.expanded == pytest.approx(100 * relative)
    assert found.symmetric == symmetric
    assert (found.text == value.text) == symmetric
    assert found.known
    assert not Days().known
    assert Days(high=3.0).known
    assert Days().text == "not known"


def test_percent_a_month_is_a_share_of_730_5_hours() -> None:
    """A twelfth of a year of 365.25 days."""
    assert states.self_discharge_A(2.0, 73.05) == pytest.approx(2e-3)
    assert states.self_discharge_days(2.0) == pytest.approx(50 * 365.25 / 12)


@pytest.mark.parametrize(("moved", "changing"), [(10.5, True), (9.5, False), (-10.5, True)])
def test_a_drain_changes_that_moved_by_more_than_a_tenth(moved: float, changing: bool) -> None:
    values = 100.0 - moved / 2 + moved * np.arange(240) / 239
    one = state(split_of(values))
    assert one.split is not None
    assert one.split.drift_A is not None
    assert one.changing == changing


def test_a_range_that_is_unfit_a_bounded_mean_and_a_fault_cannot_tell() -> None:
    assert state().can_tell
    assert not state(mean_fit=UNFIT).can_tell
    assert not state(mean=Mean(None, 1.0, low=0.5)).can_tell
    assert not state(fault="gone").can_tell


# ------------------------------------------------------------------ the range


def one_range(full_scale: float, resolution: float, ohm: float = 0.0) -> Meter:
    return meter(
        {
            "name": "M",
            "accuracy": "±(1 % + 3)",
            "resolution": resolution,
            "full_scale": full_scale,
            "burden_ohm": ohm,
        },
        "A",
    )


@pytest.mark.parametrize(
    ("value", "highest", "ohm", "coarse", "drops"),
    [
        (20.1e-3, 0.05, 1.0, False, False),
        (19.9e-3, 0.05, 1.0, True, False),
        (-20.1e-3, 0.05, 1.0, False, False),
        (0.03, 0.0501, 1.0, False, True),
        (0.03, 0.0499, 1.0, False, False),
        (0.03, -0.0501, 1.0, False, True),
        (0.03, 9.0, 0.0, False, False),
    ],
)
def test_a_range_is_fit_from_20_counts_and_up_to_the_drop_that_a_device_may_notice(
    value: float, highest: float, ohm: float, coarse: bool, drops: bool
) -> None:
    found = fitness(value, highest, meter=one_range(10.0, 1e-3, ohm))
    assert (found.coarse, found.drops, found.fit) == (coarse, drops, not (coarse or drops))
    assert found.counts == pytest.approx(abs(value) / 1e-3)
    assert found.burden_V == (None if ohm == 0.0 else pytest.approx(ohm * abs(highest)))


@pytest.mark.parametrize(
    ("highest", "finer_ohm", "words"),
    [
        (0.49, 0.1, "0.6 A range"),  # 0.6 is 1.2 times as much as 0.5
        (0.51, 0.05, "no finer range"),
        (0.49, 0.2, "no finer range"),  # takes 0.1 V
    ],
)
def test_a_range_is_advised_that_passes_the_highest_with_a_fifth_to_spare_and_drops_little(
    highest: float, finer_ohm: float, words: str
) -> None:
    coarse, finer = one_range(10.0, 1e-3, 0.01), one_range(0.6, 1e-5, finer_ohm)
    advice = fitness(1e-3, highest, meter=coarse, ranges=(coarse, finer)).advice.replace("\u00a0", " ")
    advised = "0.6 A range" in advice or "600 mA range" in advice
    assert advised == (words == "0.6 A range")


def test_the_finest_range_is_advised_where_none_shows_20_counts() -> None:
    coarse, finer = one_range(10.0, 1e-3), one_range(0.6, 1e-4)
    known = fitness(2.1e-3, 2.1e-3, meter=coarse, ranges=(coarse, finer)).advice
    little = fitness(1.9e-3, 1.9e-3, meter=coarse, ranges=(coarse, finer)).advice
    assert known != little
    say = sentences.say
    assert "0.6" in known
    assert say("instead", why="x", range="y", finest=True) != say("instead", why="x", range="y", finest=False)


@pytest.mark.parametrize(("value", "zero"), [(0.0, True), (1e-3, False)])
def test_nothing_seen_and_too_little_seen_are_said_apart(value: float, zero: bool) -> None:
    coarse = one_range(10.0, 1e-3)
    advice = fitness(value, 0.1, meter=coarse, ranges=(coarse,)).advice
    say = sentences.say
    why = say("coarse", counts=round(value / 1e-3), step="1\u202fmA", least=20)
    assert why.split()[0] in advice
    other = fitness(1e-3 - value, 0.1, meter=coarse, ranges=(coarse,)).advice
    assert advice != other
    assert ("50" in advice and "A or finer" in advice.replace("\u00a0", " ")) == (not zero)


# ------------------------------------------------------------------ verdicts and findings

BOTH = Limit(10.0, 20.0, "x")


@pytest.mark.parametrize(
    ("low", "high", "limit", "verdict"),
    [
        (12.0, 18.0, None, "inconclusive"),
        (12.0, 18.0, BOTH, "pass"),
        (10.0, 20.0, BOTH, "pass"),
        (20.5, 30.0, BOTH, "fail"),
        (1.0, 9.5, BOTH, "fail"),
        (20.0, 30.0, BOTH, "inconclusive"),
        (1.0, 10.0, BOTH, "inconclusive"),
        (12.0, 21.0, BOTH, "inconclusive"),
        (9.0, 18.0, BOTH, "inconclusive"),
        (None, 9.0, BOTH, "fail"),
        (21.0, None, BOTH, "fail"),
        (12.0, None, BOTH, "inconclusive"),
        (None, 18.0, BOTH, "inconclusive"),
        (None, 18.0, Limit(None, 20.0, "x"), "pass"),
        (12.0, None, Limit(10.0, None, "x"), "pass"),
        (12.0, None, Limit(None, 20.0, "x"), "inconclusive"),
        (21.0, None, Limit(None, 20.0, "x"), "fail"),
        (None, 9.0, Limit(10.0, None, "x"), "fail"),
        (None, 18.0, Limit(10.0, None, "x"), "inconclusive"),
    ],
)
def test_bounds_pass_or_fail_only_if_all_between_them_does(
    low: float | None, high: float | None, limit: Limit | None, verdict: str
) -> None:
    assert _bounded(low, high, limit) == verdict


@pytest.mark.parametrize(
    ("value", "fit", "given", "verdict"),
    [
        (100.0, FIT, "pass", "pass"),
        (100.0, FIT, "fail", "fail"),
        (100.0, UNFIT, "pass", "inconclusive"),
        (100.0, UNFIT, "fail", "inconclusive"),
        (100.0, UNFIT, None, None),
        (-100.0, FIT, "pass", "inconclusive"),
        (-100.0, FIT, "fail", "fail"),
        (0.5, FIT, "pass", "pass"),
    ],
)
def test_an_unfit_range_gives_no_verdict_and_a_negative_drain_no_pass(
    value: float, fit: Fitness, given: Any, verdict: str | None
) -> None:
    one = state(mean=mean(value, 0.1), mean_fit=fit)
    assert _honest(one, given) == verdict
    assert _honest(state(mean=Mean(None, 1.0, low=1.0)), "pass") == "pass"


def found_of(one: StateDrain, **more: Any) -> dict[str, Finding]:
    bench = drain.inputs(cell={"rated_capacity_Ah": 24.0}, **more)
    return {item.key: item for item in drain.findings(drain.Drain(bench, (one,)))}


def test_a_fixed_train_gives_its_features_and_a_sparse_ones_period_its_note() -> None:
    found = found_of(state(split_of(pulsed())))
    assert found["drain.off.pulse_period"].value == pytest.approx(20.0)
    assert found["drain.off.pulse_height"].value == pytest.approx(200.0)
    assert found["drain.off.base"].value == pytest.approx(100.0)
    assert found["drain.off.pulse_period"].note
    assert not found["drain.off.pulse_height"].note
    quick = found_of(state(split_of(pulsed(), 0.2)))
    assert not quick["drain.off.pulse_period"].note


def test_a_steady_level_says_that_no_pulse_stands_out() -> None:
    found = found_of(state(split_of(np.full(60, 100.0))))
    assert found["drain.off.base"].value == pytest.approx(100.0)
    for name in ("height", "width", "period"):
        assert found[f"drain.off.pulse_{name}"].verdict == "not tested"
    sparse = np.zeros(800)
    sparse[[100, 300, 500]] = -50.0
    dips = found_of(state(split_of(sparse + 100.0)))
    assert dips["drain.off.pulse_height"].verdict == "inconclusive"


def test_an_unfit_range_costs_the_base_and_one_that_drops_the_height() -> None:
    drops = Fitness(100.0, False, 0.5, True, "Another range.")
    split = split_of(pulsed())
    base = found_of(state(split, base_fit=UNFIT))
    assert base["drain.off.base"].verdict == "inconclusive"
    assert base["drain.off.base"].note == "A finer range."
    assert base["drain.off.pulse_height"].value is not None
    assert base["drain.off.pulse_height"].verdict != "inconclusive"
    height = found_of(state(split, mean_fit=drops))
    assert height["drain.off.pulse_height"].verdict == "inconclusive"
    assert height["drain.off.pulse_period"].verdict != "inconclusive"
    coarse = found_of(state(split, mean_fit=UNFIT))
    assert coarse["drain.off.pulse_height"].verdict != "inconclusive"


def test_bursts_give_their_group_and_nothing_else_does() -> None:
    centres = (20 + 60 * np.arange(8)[:, None] + 8 * np.arange(3)).ravel()
    values = np.full(500, 100.0)
    for centre in centres:
        values[centre : centre + 2] = 300.0
    found = found_of(state(split_of(values)))
    assert found["drain.off.pulses_in_group"].value == 3
    period = found["drain.off.group_period"]
    assert (period.low, period.high) == (pytest.approx(59.0, abs=0.1), pytest.approx(61.0, abs=0.1))
    assert "drain.off.pulses_in_group" not in found_of(state(split_of(pulsed())))
    split = split_of(values)
    early = replace(split, pattern=replace(split.pattern, group=(3, -2.0, 61.0)))
    assert found_of(state(early))["drain.off.group_period"].low == 0.0


def test_days_on_the_shelf_and_by_the_drain_alone_say_what_they_rest_on() -> None:
    value = Days(Measured(10.0, "d"), 10.0, 10.0)
    found = found_of(state(on_shelf=value, to_level=value, to_empty=value))
    bench = drain.inputs(cell={"rated_capacity_Ah": 24.0})
    one = state(on_shelf=value, to_level=value, to_empty=value)
    assert found["drain.off.days_on_shelf"].note == sentences.days_note(bench, one, alone=False)
    assert found["drain.off.days_to_empty"].note == sentences.days_note(bench, one, alone=True)
    assert found["drain.off.days_on_shelf"].note != found["drain.off.days_to_empty"].note
    assert found["drain.off.days_to_level"].note == found["drain.off.days_to_empty"].note


@pytest.mark.parametrize(("alone", "longer"), [(1014.0, False), (1015.0, False), (3045.0, True)])
def test_a_drain_outlasts_a_cell_that_loses_one_percent_a_month(alone: float, longer: bool) -> None:
    """100 months of 730.5 h are 3043.75 days."""
    bench = drain.inputs()
    assert sentences.outlasts(bench, Days(low=alone)) == longer
    assert sentences.outlasts(bench, Days())
    assert not sentences.outlasts(bench, Days(high=9999.0))


# ------------------------------------------------------------------ sentences


@pytest.mark.parametrize(("start", "text"), [(119.0, "119"), (121.0, "2\u00a0min")])
def test_a_start_within_two_minutes_is_told_in_seconds(start: float, text: str, tmp_path: Path) -> None:
    rows = "\n".join(f"{second + 7},{1000 if second < start else 100}" for second in range(900))
    (tmp_path / "a.csv").write_text(f"time (s),current (uA)\n{rows}\n", encoding="utf-8")
    bench = drain.inputs(
        cell={"rated_capacity_Ah": 2.6},
        drain_ammeter={**SPEC, "full_scale": "6 mA"},
        drain_states=[{"name": "off", "log": "a.csv"}],
    )
    one = drain.analyse(bench, folder=tmp_path).states[0]
    assert one.split is not None
    split = replace(one.split, settled=replace(one.split.settled, start_s=7 + start, from_start=False))
    assert text in sentences.after(replace(one, split=split))


@pytest.mark.parametrize(("share", "short"), [(0.24, True), (0.26, False)])
def test_a_settled_part_below_a_quarter_is_said_to_be_short(
    share: float, short: bool, tmp_path: Path
) -> None:
    rows = "\n".join(f"{second},{1000 if second < 500 else 100}" for second in range(1000))
    (tmp_path / "a.csv").write_text(f"time (s),current (uA)\n{rows}\n", encoding="utf-8")
    bench = drain.inputs(
        drain_ammeter={**SPEC, "full_scale": "6 mA"}, drain_states=[{"name": "off", "log": "a.csv"}]
    )
    one = drain.analyse(bench, folder=tmp_path).states[0]
    assert one.split is not None
    split = replace(one.split, settled=replace(one.split.settled, share=share))
    assert ("That is only" in sentences.settled(replace(one, split=split))) == short


def test_the_usual_loss_is_not_said_to_be_declared() -> None:
    usual = sentences.yardstick(drain.inputs())
    own = sentences.yardstick(drain.inputs(drain_self_discharge_percent=[2, 3]))
    say = sentences.say
    assert usual == say("self_discharge", low="1", high="3", declared=False)
    assert own == say("self_discharge", low="2", high="3", declared=True)
    assert sentences.yardstick(drain.inputs(drain_self_discharge_percent=[1, 3])) == usual


@pytest.mark.parametrize(("value", "negative"), [(-1.0, True), (0.0, False), (0.5, False)])
def test_a_mean_below_zero_is_said_to_be(value: float, negative: bool) -> None:
    assert (sentences.say("negative") in sentences.mean_note(state(mean=mean(value)))) == negative


@pytest.mark.parametrize(
    ("mean_mA", "half", "times"),
    [(0.5, 0.0, -1.0), (0.9, 0.2, 0.5), (6.0, 0.0, 2.0), (0.999, 0.0, -1.0), (1.001, 0.0, 1.001 / 3)],
)
def test_a_drain_is_set_beside_what_the_cell_loses_by_itself(
    mean_mA: float, half: float, times: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """73.05 A·h losing 1 % to 3 % in 730.5 h: 1 mA to 3 mA; below, in mA."""
    told: dict[str, Any] = {}
    monkeypatch.setattr(sentences, "say", lambda name, **values: told.update(values) or name)
    one = state(mean=mean(1e-3 * mean_mA, 1e-3 * half))
    sentences._beside(drain.inputs(cell={"rated_capacity_Ah": 73.05}), one)
    if half:
        assert told["times"] == pytest.approx(one.mean.bounds[0] / 3e-3)
    else:
        assert told["times"] == pytest.approx(times)
    sentences._beside(drain.inputs(cell={"rated_capacity_Ah": 73.05}), state(mean=Mean(None, 1.0, high=5.0)))
    assert told["times"] == 0.0


def test_the_least_thirsty_state_is_told_only_where_another_certainly_takes_more() -> None:
    def told(other: float) -> str:
        best = state(mean=mean(100.0, 1.0))
        worse = state(mean=mean(other, 1.0))
        return " ".join(sentences._least([best, worse]))

    # Independent: √2 as uncertain as each, expanded about twice that.
    assert told(102.5) == sentences.say("no_least")
    assert told(103.2) != sentences.say("no_least")
    assert list(sentences._least([state()])) == []


# ------------------------------------------------------------------ inputs


def test_what_is_not_declared_is_taken_as_usual() -> None:
    bench = drain.inputs()
    assert (bench.drain_level_percent, bench.drain_burden_limit_V) == (50.0, 0.05)
    assert bench.drain_self_discharge_percent == (1.0, 3.0)
    assert states.fitness(1.0, 0.0501, meter=one_range(10.0, 1e-3, 1.0)).drops


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("drain_level_percent", [0, 99.9], [-0.1, 100]),
        ("drain_burden_limit_V", [0.001, 2.0], [0, -1]),
        ("drain_self_discharge_percent", [[0.1, 0.1], [1, 3]], [[0, 1], [3, 1], [-1, 2]]),
    ],
)
def test_parameters_lie_within_their_bounds(name: str, good: list[Any], bad: list[Any]) -> None:
    for value in good:
        assert drain.inputs(**{name: value})
    for value in bad:
        with pytest.raises(Faults):
            drain.inputs(**{name: value})


@pytest.mark.parametrize("name", ["range_full_scale_A", "aperture_s", "limit_A"])
def test_a_states_sizes_are_above_zero(name: str) -> None:
    one = {"name": "off", "reading_A": 0.1}
    for value, right in ((0.5, True), (0, False)):
        given = {"drain_ammeter": SPEC, "drain_states": [{**one, name: value}]}
        if right:
            assert isinstance(drain.inputs(**given), DrainInputs)
        else:
            with pytest.raises(Faults):
                drain.inputs(**given)
    with pytest.raises(Faults):
        drain.inputs(drain_ammeter=SPEC, drain_states=[{**one, "name": ""}])
    assert drain.inputs(drain_ammeter=SPEC, drain_states=[{**one, "name": "a"}])


@pytest.mark.parametrize(("step_nA", "fine"), [(4.9, True), (5.1, False)])
def test_a_log_that_steps_20_times_finer_than_the_display_is_of_another_meter(
    step_nA: float, fine: bool, tmp_path: Path
) -> None:
    rows = "\n".join(f"{second},{40000 + step_nA * (second % 7):.1f}" for second in range(60))
    (tmp_path / "a.csv").write_text(f"time (s),current (nA)\n{rows}\n", encoding="utf-8")
    faults = check(drain.inputs(drain_ammeter=SPEC, drain_states=[{"name": "off", "log": "a.csv"}]), tmp_path)
    assert ["readings step by" in fault.message for fault in faults] == [True] * fine


@pytest.mark.parametrize(("count", "few"), [(2, True), (3, False)])
def test_a_log_holds_three_readings(count: int, few: bool, tmp_path: Path) -> None:
    rows = "\n".join(f"{second},{45 + second % 2}.0" for second in range(count))
    (tmp_path / "a.csv").write_text(f"time (s),current (uA)\n{rows}\n", encoding="utf-8")
    faults = check(drain.inputs(drain_ammeter=SPEC, drain_states=[{"name": "off", "log": "a.csv"}]), tmp_path)
    assert bool(faults) == few


def test_faults_name_the_state_by_its_number_from_one_and_what_the_range_holds() -> None:
    far = {"name": "off", "reading_A": "700 uA"}
    faults = check(drain.inputs(drain_ammeter=SPEC, drain_states=[far]), Path())
    assert faults[0].place == "drain_states[1].reading_A"
    assert "600" in str(faults[0])


def test_a_feature_that_is_not_resolved_keeps_its_bounds() -> None:
    found = _found(("a.b", "c"), "s", Feature(low=1.0, high=2.0, why="short"), "note")
    assert (found.low, found.high, found.verdict, found.note) == (1.0, 2.0, "inconclusive", "note")
