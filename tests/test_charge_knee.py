"""Where the knee is looked for, and how surely a bend says where it is; by hand and by a Bayesian sum."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from test_charge_accounts import binned

from reviewkit.charge import transition
from reviewkit.charge.profile import Block
from reviewkit.charge.segmentation import HELD, LEVEL, Stretch
from reviewkit.charge.series_resistance import correlation_length
from reviewkit.metrology import Component, Measured

MAIN = (Block(0, 119, 0.0, 119.0, 0.0, 119.0),)


def found(
    monkeypatch: pytest.MonkeyPatch,
    *stretches: Stretch,
    low: float = 60.0,
    every_s: float = 1.0,
    voltage_every_s: float = 1.0,
    falls: bool = True,
    from_s: float | None = None,
    others: tuple[tuple[float, float], ...] = (),
    **more: Any,
) -> tuple[transition.Knee | None, dict[str, Any]]:
    """The knee of 12 bins of 10 s, where it is said to lie from `low` on; and what was asked about it."""
    asked: dict[str, Any] = {}

    def brackets(bins: Any, account: Any, first: int, count: int) -> Any:
        asked.update(first=first, count=count)
        return low, low + 10, others

    monkeypatch.setattr(transition, "_brackets", brackets)
    monkeypatch.setattr(transition, "_falls_at_once", lambda *rest: falls)
    monkeypatch.setattr(transition, "_refined", lambda *rest: Measured(low + 5, "s"))
    record = SimpleNamespace(interval_s=every_s, voltage_interval_s=voltage_every_s)
    bins = binned(np.ones(12), **({"voltage": 4.0} | more))
    account = SimpleNamespace(stretches=stretches)
    return transition.find(record, SimpleNamespace(), bins, account, MAIN, from_s=from_s), asked


def test_the_first_bin_at_the_limit_is_where_the_knee_is_looked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    knee, asked = found(monkeypatch, Stretch(LEVEL, 0, 5), Stretch(HELD, 6, 8), Stretch(LEVEL, 9, 11))
    assert knee is not None
    assert (knee.moment.value, knee.from_start, asked) == (65.0, False, {"first": 6, "count": 12})
    # A stretch without a voltage logged is no evidence of a limit; nor is one after the main charge.
    volts = np.where(np.arange(12) < 8, np.nan, 4.0)
    _, asked = found(
        monkeypatch, Stretch(HELD, 2, 3), Stretch(LEVEL, 4, 8), Stretch(HELD, 9, 9), voltage=volts
    )
    assert asked["first"] == 9
    assert found(monkeypatch, Stretch(LEVEL, 0, 11))[0] is None
    late = binned(np.ones(12), 4.0)
    account = SimpleNamespace(stretches=(Stretch(HELD, 5, 7),))
    short = (Block(0, 40, 0.0, 40.0, 0.0, 40.0),)
    record = SimpleNamespace(interval_s=1.0, voltage_interval_s=1.0)
    assert transition.find(record, SimpleNamespace(), late, account, short, from_s=None) is None
    # The bins of the main charge alone.
    _, asked = found(monkeypatch, Stretch(HELD, 6, 8))
    cut = (Block(0, 66, 0.0, 66.0, 0.0, 66.0),)
    transition.find(
        record, SimpleNamespace(), late, SimpleNamespace(stretches=(Stretch(HELD, 6, 8),)), cut, from_s=None
    )
    assert asked == {"first": 6, "count": 7}


@pytest.mark.parametrize(
    ("low", "every_s", "voltage_every_s", "soon"),
    [
        (9.9, 1.0, 1.0, True),  # within a bin of 10 s
        (10.1, 1.0, 1.0, False),
        (14.9, 5.0, 1.0, True),  # three rows of the current
        (15.1, 5.0, 1.0, False),
        (17.9, 1.0, 6.0, True),  # or of the voltage
        (18.1, 1.0, 6.0, False),
    ],
)
def test_a_knee_within_three_rows_or_a_bin_may_be_the_start(
    low: float, every_s: float, voltage_every_s: float, soon: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    for falls in (True, False):
        knee, _ = found(
            monkeypatch,
            Stretch(HELD, 1, 11),
            low=low,
            every_s=every_s,
            voltage_every_s=voltage_every_s,
            falls=falls,
        )
        assert knee is not None
        assert knee.from_start == (soon and falls)
        assert knee.moment.value == (0.0 if soon and falls else low + 5)


def test_a_charge_at_its_limit_in_its_first_bin_is_so_from_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever its current does then; after a precharge from its end on."""
    knee, _ = found(monkeypatch, Stretch(HELD, 0, 11), falls=False, from_s=3.0)
    assert knee is not None
    assert (knee.from_start, knee.moment.value) == (True, 3.0)
    # In the second bin it may not be.
    second, _ = found(monkeypatch, Stretch(HELD, 1, 11), low=50.0, falls=True)
    assert second is not None
    assert not second.from_start
    early, _ = found(monkeypatch, Stretch(HELD, 1, 11), low=12.0, falls=True, from_s=4.0)
    assert early is not None
    assert (early.from_start, early.moment.value) == (True, 4.0)


def test_another_place_of_the_knee_is_a_doubt_up_to_its_far_end(monkeypatch: pytest.MonkeyPatch) -> None:
    knee, _ = found(monkeypatch, Stretch(HELD, 6, 11), others=((20.0, 30.0), (80.0, 95.0)))
    assert knee is not None
    assert [part.size for part in knee.moment.components] == [45.0, 30.0]
    assert {part.distribution for part in knee.moment.components} == {"rectangular"}


def test_a_limit_may_have_been_reached_where_no_voltage_was_logged_before_it() -> None:
    costs = np.full(13, 50.0)
    costs[4] = 20.0
    account = SimpleNamespace(knee_costs=costs)
    bins = binned(np.ones(12), np.where((np.arange(12) > 0) & (np.arange(12) < 4), np.nan, 4.0))
    assert transition._brackets(bins, account, 4, 12) == (5.0, 45.0, ())
    bins.voltage_V[0] = np.nan
    assert transition._brackets(bins, account, 4, 12) == (5.0, 45.0, ())
    # Not on the other side of a gap.
    parted = binned(np.ones(12), bins.voltage_V, group=[0] * 3 + [1] * 9)
    assert transition._brackets(parted, account, 4, 12) == (25.0, 45.0, ())


@pytest.mark.parametrize(
    ("count", "noise", "falls"), [(3, 1e-4, False), (2, 1e-4, True), (6, 0.0010, True), (6, 0.00103, False)]
)
def test_three_readings_tell_whether_a_current_falls(count: int, noise: float, falls: bool) -> None:
    """Of two it is taken to; six that fall by 4.1 mA of 1 A do so by more than four times the noise."""
    time = np.arange(60.0)
    current = np.ones(60) if count < 6 else 1.0 - 0.0041 * time / 6
    record = SimpleNamespace(time_s=time, interval_s=1.0, current=current, noise_A=noise)
    on = time < count if count < 6 else time < 60
    assert transition._falls_at_once(record, SimpleNamespace(on=on), 0.0, 3.0) == falls


# ------------------------------------------------------------------ about a bend


def refined(
    monkeypatch: pytest.MonkeyPatch,
    low: float,
    high: float,
    *,
    end_s: float = 20_000.0,
    begin_s: float = 0.0,
    every_s: float = 1.0,
    declared: bool = False,
    bends: Any = ((), ()),
) -> tuple[Measured, list[Any]]:
    """The knee between two moments, where these bends are told of the current and of the voltage."""
    time = np.arange(0.0, 20_001.0, every_s)
    record = SimpleNamespace(
        time_s=time,
        current=np.ones(len(time)),
        voltage=np.full(len(time), 4.1),
        interval_s=every_s,
        clock_is_declared=declared,
        ammeter=SimpleNamespace(resolution=0.01),
        voltmeter=SimpleNamespace(resolution=0.002),
        clock_components=lambda: (Component("clock", 2.0, "s"),),
    )
    record.between = lambda start, end: record
    profile = SimpleNamespace(
        edges=0,
        pulsing=np.zeros(len(time), dtype=bool),
        on_at=lambda moments: np.ones(len(moments), dtype=bool),
    )
    told, seen = iter(bends), []

    def bent(local: Any, values: Any, middle: float, reach: float, step: float, **more: Any) -> list[Any]:
        seen.append((values, middle, reach, step, more))
        return list(next(told))

    monkeypatch.setattr(transition, "_bends", bent)
    main = (Block(0, len(time) - 1, begin_s, end_s, begin_s, end_s),)
    account = SimpleNamespace(ohm=0.1, set_V=4.2)
    return transition._refined(record, profile, account, low, high, main, 1000.0), seen


@pytest.mark.parametrize(
    ("low", "high", "more", "reach"),
    [
        (9000.0, 9010.0, {}, 900.0),  # a quarter of an hour
        (1000.0, 1010.0, {}, 502.5),  # half of what came before
        (1000.0, 1010.0, {"begin_s": 205.0}, 400.0),
        (1000.0, 1010.0, {"end_s": 2005.0}, 350.0),  # 0.35 of what follows
        (1000.0, 1010.0, {"end_s": 1015.0}, 10.0),  # twice half of what is open, as long as eight rows
        (1000.0, 1010.0, {"end_s": 1015.0, "every_s": 5.0}, 40.0),
        (1000.0, 1060.0, {"end_s": 1045.0}, 60.0),
    ],
)
def test_a_window_about_a_bend_is_as_wide_as_the_charge_allows(
    low: float, high: float, more: Any, reach: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, seen = refined(monkeypatch, low, high, **more)
    assert [one[2] for one in seen] == pytest.approx([reach, reach])


def test_the_bend_of_the_current_and_of_the_regulation_point_are_looked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """4.1 V and 0.1 Ω · 1 A are 0 V off the limit; half a step of 10 mA hides 0.5 mV over 0.1 Ω."""
    _, (by_current, by_voltage) = refined(monkeypatch, 1000.0, 1010.0)
    assert np.nanmin(by_current[0]) == 1.0
    assert by_current[3:] == (0.01, {"hidden": 0.0, "level": False})
    assert np.nanmax(np.abs(by_voltage[0])) == pytest.approx(0.0, abs=1e-12)
    assert by_voltage[3] == 0.002
    assert by_voltage[4] == {"hidden": pytest.approx(0.0005), "level": True}


def at(value: float, sd: float) -> Measured:
    return Measured(value, "s", (Component("scatter", sd, "s"),))


def test_the_surest_bend_that_agrees_with_the_bins_is_the_knee(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bins of 1000 to 1010 s, and two rows of 5 s: to 20 s beside with a bend of ±2 s."""
    more: Any = {"every_s": 5.0}
    for place, agrees in ((977.0, False), (979.0, True), (1031.0, True), (1033.0, False)):
        knee, _ = refined(monkeypatch, 1000.0, 1010.0, **more, bends=([at(place, 1.0)], []))
        near = 1000 - 15 - 2 * 1.0 <= place <= 1010 + 15 + 2 * 1.0
        assert (knee.value == place) == near
        assert near == (983 <= place <= 1027)
        assert agrees or knee.value == 1005.0
    # The surer of two; that of the voltage carries the clocks' offset, and counts only where one is found.
    knee, _ = refined(monkeypatch, 1000.0, 1010.0, bends=([at(1002.0, 3.0)], [at(1006.0, 1.0)]))
    assert knee.value == 1006.0
    assert [part.size for part in knee.components] == [1.0, 2.0]
    knee, _ = refined(
        monkeypatch, 1000.0, 1010.0, declared=True, bends=([at(1002.0, 3.0)], [at(1006.0, 1.0)])
    )
    assert knee.value == 1002.0
    none, _ = refined(monkeypatch, 1000.0, 1010.0)
    assert none.value == 1005.0
    assert [(part.size, part.name) for part in none.components] == [
        (5.0, "knee: between two bins"),
        (2.0, "clock"),
    ]


def test_rows_within_the_main_charge_flow_its_ends_left_out() -> None:
    record = SimpleNamespace(time_s=np.arange(12.0))
    main = (Block(1, 4, 1.0, 4.0, 0.0, 5.0), Block(7, 10, 7.0, 10.0, 6.0, 11.0))
    assert np.flatnonzero(transition._flowing(record, main)).tolist() == [2, 3, 8, 9]


def test_at_most_six_windows_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    reached: list[float] = []
    monkeypatch.setattr(transition, "_bend", lambda *given, level: reached.append(given[3]) or (10.0, 1.0))
    monkeypatch.setattr(transition, "_standing", lambda *rest: 0.0)
    record = SimpleNamespace(time_s=np.arange(50.0), interval_s=0.1)
    transition._bends(record, np.ones(50), 0.0, 1000.0, 0.01, hidden=0.0, level=False)
    assert reached == [1000.0, 500.0, 250.0, 125.0, 62.5, 31.25]


def test_a_kink_is_that_of_the_rows_within_the_window() -> None:
    """2 mA/s more after 50 s than before; beyond 40 s to either side the current does what it likes."""
    time = np.arange(0.0, 100.0)
    steady = np.where(time <= 50, 1.0, 1.0 - 2e-3 * (time - 50))
    steady[time < 9] += 0.5 * (9 - time[time < 9])
    steady[time > 91] += 0.5 * (time[time > 91] - 91)
    found = transition._standing(SimpleNamespace(time_s=time), steady, 50.0, 40.0, 0.01, 0.0)
    assert found == pytest.approx(0.005 / 2e-3, rel=1e-6)


@pytest.mark.parametrize("level", [False, True])
def test_a_bend_at_the_end_of_its_window_is_none(level: bool) -> None:
    """What falls in its last five rows alone bends as late as any place tried; seen backwards, as early."""
    time = np.arange(0.0, 201.0)
    falling = np.where(time > 195, 0.5, 1.0)
    values = falling[::-1] if level else falling
    assert transition._bend(time, values, 100.0, 100.0, 1e-4, level=level) is None


@pytest.mark.parametrize(
    ("count", "noise", "step"), [(14, 4e-3, 1e-6), (14, 1e-5, 0.01), (900, 1e-5, 0.02), (300, 4e-3, 1e-6)]
)
def test_a_bends_spread_is_that_of_its_likelihood_over_its_places(
    count: int, noise: float, step: float
) -> None:
    """The standard deviation of its posterior with a flat prior, by numpy's lstsq at each of 121 places.

    The variance of a row is what is left over n − 5 (line, parabola and place), or that of the display's
    rounding, δ²/12 over the rows averaged: GUM F.2.2.1; times how many rows repeat one another.
    """
    time = np.linspace(-100.0, 100.0, count)
    draw = np.random.default_rng(count)
    after = np.maximum(time - 10, 0)
    values = 1 - 2e-3 * after + 4e-6 * after**2 + draw.normal(0, noise, count)
    found = transition._bend(time + 500, values, 500.0, 100.0, step, level=False)
    assert found is not None
    per_row = max(count // 400, 1)
    kept = count // per_row * per_row
    rows, means = (one[:kept].reshape(-1, per_row).mean(axis=1) for one in (time, values))

    def left(place: float) -> np.ndarray:
        bent = np.maximum(rows - place, 0)
        design = np.column_stack([np.ones_like(rows), rows, bent, bent**2])
        return means - design @ np.linalg.lstsq(design, means, rcond=None)[0]

    places = np.linspace(-80, 80, 121)
    losses = np.array([float(left(place) @ left(place)) for place in places])
    best = places[np.argmin(losses)]
    fine = min(
        (left(place) for place in np.linspace(best - 160 / 120, best + 160 / 120, 41)),
        key=lambda one: one @ one,
    )
    variance = max(float(fine @ fine) / (len(rows) - 5), step**2 / 12 / per_row) * correlation_length(fine)
    likely = np.exp(-(losses - losses.min()) / (2 * variance))
    mean = np.average(places, weights=likely)
    assert found[1] == pytest.approx(np.sqrt(np.average((places - mean) ** 2, weights=likely)), rel=0.01)
