"""What a charge's findings are judged by and say beside a number: tables, on both sides of each bound."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reviewkit import charge
from reviewkit.charge import corrected_runs, findings
from reviewkit.charge.findings import ChargeFindings, ChargeResults
from reviewkit.charge.inputs import (
    afterwards_limit,
    charge_current_limit,
    precharge_limit,
    termination_limit,
)
from reviewkit.charge.limit_time import Adherence
from reviewkit.errors import Faults
from reviewkit.findings import Finding
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.conformity import Limit
from reviewkit.schema.blocks import Cell


def about(value: float, half: float, unit: str = "A") -> Measured:
    """A value and its expanded uncertainty: two standard deviations of a normal part."""
    return Measured(value, unit, (Component("x", half / 2, unit),))


def a_run(quantities: dict[str, Measured] | None = None, **more: Any) -> Any:
    known = quantities or {}
    given = {
        "cell": Cell(rated_capacity_Ah=2.0, max_charge_A=1.0),
        "get": known.get,
        "quantities": known,
        "missing": {},
        "delivered": None,
        "phases": SimpleNamespace(pulsed=False),
        "record": SimpleNamespace(label="port", source="port", temperature_C=None, run=None),
    }
    return SimpleNamespace(**(given | more))


# ------------------------------------------------------------------ limits


@pytest.mark.parametrize(
    ("declared", "low", "high"),
    [
        ({"rated_capacity_Ah": 2.0}, 0.04, 0.2),
        ({"rated_capacity_Ah": 2.0, "min_termination_A": 0.1}, 0.1, 0.2),
        ({"rated_capacity_Ah": 2.0, "min_termination_A": 0.19}, 0.19, 0.2),
        ({"rated_capacity_Ah": 2.0, "min_termination_A": 0.21}, 0.21, None),
        ({"rated_capacity_Ah": 2.0, "max_termination_A": 0.041}, 0.04, 0.041),
        ({"rated_capacity_Ah": 2.0, "max_termination_A": 0.039}, None, 0.039),
        ({"min_termination_A": 0.1}, 0.1, None),
        ({"max_termination_A": 0.1}, None, 0.1),
        ({"rated_capacity_Ah": 2.0, "min_termination_A": 0.1, "max_termination_A": 0.5}, 0.1, 0.5),
    ],
)
def test_a_charge_stops_between_a_fiftieth_and_a_tenth_of_its_capacity(
    declared: dict[str, float], low: float | None, high: float | None
) -> None:
    """Common practice, no source: C/50 to C/10 where the data sheet leaves a side open."""
    found = termination_limit(Cell(**declared))
    assert found is not None
    assert (found.low, found.high) == (low, high)


def test_without_capacity_and_data_sheet_there_is_no_limit() -> None:
    assert termination_limit(Cell()) is None
    assert precharge_limit(None) is None
    assert afterwards_limit(None, None) is None
    assert charge_current_limit(Cell()) is None


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("hold_voltage", 4.15, 4.25),
        ("peak_voltage", None, 4.25),
        ("settled_voltage_10min", None, 4.25),
        ("settled_voltage_60min", None, 4.25),
        ("plateau_current", None, 1.0),
        ("termination_current", 0.04, 0.2),
        ("precharge_current", None, 0.2),
        ("current_after", -0.002, 0.002),
    ],
)
def test_each_quantity_is_judged_by_its_own_limit(name: str, low: float | None, high: float) -> None:
    """2 A·h: C/10, C/50 and C/1000, common practice; 4.2 V ± 50 mV and 1 A as of the data sheet."""
    found = findings.limit_of(a_run(), name)
    assert found is not None
    assert found.high == pytest.approx(high)
    assert found.low == (None if low is None else pytest.approx(low))


def test_what_has_no_limit_is_not_judged() -> None:
    judged = [name for name in findings.LABELS if findings.limit_of(a_run(), name) is not None]
    assert len(judged) == 8


@pytest.mark.parametrize(
    ("key", "allowed", "refused"),
    [
        ("source_limit_A", 0.5, 0.0),
        ("cable_out_s", 0.0, -0.5),
        ("voltage_full_scale_V", 0.5, 0.0),
        ("current_full_scale_A", 0.5, 0.0),
    ],
)
def test_amounts_of_a_run_are_more_than_none(key: str, allowed: float, refused: float) -> None:
    run = {"source": "port", "voltage": "v.csv", "current": "i.csv"}
    (found,) = charge.inputs(charge_runs=[run | {key: allowed}]).charge_runs
    assert getattr(found, key) == allowed
    with pytest.raises(Faults, match=key):
        charge.inputs(charge_runs=[run | {key: refused}])


# ------------------------------------------------------------------ verdicts


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (1.0, 2.0, "pass"),
        (1.2, 1.5, "pass"),
        (0.9, 1.5, "inconclusive"),
        (1.5, 2.1, "inconclusive"),
        (0.5, 3.0, "inconclusive"),
        (0.5, 0.9, "fail"),
        (2.1, 2.5, "fail"),
    ],
)
def test_bounds_are_judged_by_both_of_their_ends(low: float, high: float, verdict: str) -> None:
    assert findings.between(low, high, Limit(1.0, 2.0, "as chosen")) == verdict
    if low >= 1:
        assert findings.between(low, high, Limit(None, 2.0, "as chosen")) == verdict
    if high <= 2:
        assert findings.between(low, high, Limit(1.0, None, "as chosen")) == verdict


@pytest.mark.parametrize(
    ("name", "low", "high", "verdict", "expected"),
    [
        ("current_after", 0.001, 0.004, "fail", "inconclusive"),
        ("current_after", 0.003, 0.004, "fail", "fail"),
        ("current_after", 0.001, 0.004, "pass", "pass"),
        ("plateau_current", 0.001, 0.004, "fail", "fail"),
    ],
)
def test_a_current_afterwards_that_may_be_none_is_no_fault(
    name: str, low: float, high: float, verdict: Any, expected: str
) -> None:
    """C/1000 of 2 A·h is 2 mA, much less than a meter's doubt."""
    limit = Limit(-0.002, 0.002, "C/1000")
    item = Finding(
        f"charge.{name}", "x", (low + high) / 2, "A", low=low, high=high, limit=limit, verdict=verdict
    )
    assert findings.guarded(a_run(), name, item).verdict == expected


@pytest.mark.parametrize(("start_V", "cold"), [(2.489, True), (2.491, False)])
def test_a_cell_that_certainly_stood_below_two_and_a_half_volts_wants_a_precharge(
    start_V: float, cold: bool
) -> None:
    """By its whole uncertainty of 10 mV: common practice, no source."""
    run = a_run({"start_voltage": about(start_V, 0.010, "V")})
    bare = Finding("charge.precharge_current", "x", None, "A", note="none was seen.")
    found = findings.guarded(run, "precharge_current", bare)
    assert (found.verdict == "fail") is cold
    assert findings.guarded(run, "plateau_current", bare) == bare
    run.phases = None
    assert (findings.guarded(run, "precharge_current", bare).verdict == "pass") is cold


@pytest.mark.parametrize(
    ("amps", "value", "high"), [(-0.005, 0.005, None), (-0.0005, None, 0.0015), (0.005, None, 0.0)]
)
def test_a_draw_from_the_cell_is_told_where_it_certainly_is_one(
    amps: float, value: float | None, high: float | None
) -> None:
    """± 1 mA; else how much it may be at most."""
    run = a_run({"current_after": about(amps, 0.001)})
    found = findings._drawn_after(run)
    if value is None:
        assert found.value is None
        assert found.high == pytest.approx(high)
    else:
        assert found.value == pytest.approx(value)


@pytest.mark.parametrize(
    ("coldest", "warmest", "verdicts"),
    [
        (0.1, 44.9, ("pass", "pass")),
        (-0.1, 44.9, ("fail", "pass")),
        (0.1, 45.1, ("pass", "fail")),
        (46.0, 47.0, ("fail", "fail")),
    ],
)
def test_a_cell_is_charged_between_zero_and_45_degrees(
    coldest: float, warmest: float, verdicts: tuple[str, str]
) -> None:
    """Common practice, no source; what was shown outside the charge counts for nothing."""
    shown = pd.Series([-40.0, coldest, np.nan, warmest, 90.0], np.arange(5.0))
    run = a_run(phases=SimpleNamespace(mask=lambda time, *names: (time > 0) & (time < 4)))
    run.record.temperature_C = shown
    found = findings.temperatures(run)
    assert [item.value for item in found] == [coldest, warmest]
    assert tuple(item.verdict for item in found) == verdicts


# ------------------------------------------------------------------ what is said beside a number


@pytest.mark.parametrize(
    ("at_cell", "low", "high", "differs", "is_open"),
    [
        (90.09, 89.95, 90.04, False, False),
        (90.11, 89.95, 90.06, True, True),
        (89.89, None, 90.06, True, False),
        (89.91, 89.0, None, False, False),
    ],
)
def test_shares_are_told_apart_from_a_tenth_of_a_percent_on(
    at_cell: float, low: float | None, high: float | None, differs: bool, is_open: bool, monkeypatch: Any
) -> None:
    told: dict[str, Any] = {}
    monkeypatch.setattr(findings, "say", lambda name, **values: told.update(values) or name)
    findings._adherence(
        a_run(adherence=Adherence(90.0, (), low, high), adherence_at_cell=Adherence(at_cell, ()))
    )
    assert (told["at_cell"] is not None, told["between"] is not None) == (differs, is_open)


def test_a_reader_sees_each_finding_of_a_single_run_once() -> None:
    """Under its short key; what stands under a run's own key alone is shown as well."""
    items = (
        Finding("charge.delivered", "charge delivered", 1.0, "A.h"),
        Finding("charge.port.delivered", "the same of the port", 1.0, "A.h"),
        Finding("charge.hub.top_ups", "top-ups at the hub", 1),
    )
    html = ChargeFindings(items)._repr_mimebundle_()["text/html"]
    assert [item.label in html for item in items] == [True, False, True]
    labelled = findings.under_label(items[:1], a_run(), name_run=True)
    assert [(item.key, item.label) for item in labelled] == [
        ("charge.port.delivered", "charge delivered, port")
    ]


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_a_single_run_is_the_only_one(count: int) -> None:
    runs = tuple(a_run() for _ in range(count))
    assert ChargeResults(runs).only is (runs[0] if count == 1 else None)


@pytest.mark.parametrize(("ohm", "negative"), [(-0.2, True), (-0.05, False), (0.05, False), (0.3, False)])
def test_a_resistance_is_negative_where_all_of_its_interval_is(
    ohm: float, negative: bool, monkeypatch: Any
) -> None:
    """± 0.1 Ω."""
    told: dict[str, dict[str, Any]] = {}
    monkeypatch.setattr(corrected_runs, "say", lambda name, **values: told.update({name: values}) or name)
    known = about(ohm, 0.1, "ohm")
    apart: Any = SimpleNamespace(
        regulation=SimpleNamespace(set_voltage=about(4.2, 0.01, "V"), series_resistance=known),
        device_ohm=known,
        rig_ohm=0.05,
        reasons={},
    )
    found = corrected_runs._regulation(a_run(), apart)
    assert [item.value for item in found] == [4.2, ohm, ohm]
    assert told["series_resistance"]["negative"] is negative
    assert told["device_resistance"]["negative"] is negative


def test_why_a_resistance_is_missing_is_told_of_each() -> None:
    reasons = {"device": "no burden", "regulation": "no slope"}
    apart: Any = SimpleNamespace(regulation=None, device_ohm=None, rig_ohm=0.0, reasons=reasons)
    found = corrected_runs._regulation(a_run(), apart)
    assert [item.note for item in found] == ["no slope", "no slope", "no burden"]


@pytest.mark.parametrize(
    ("logged_s", "told_of"), [(5100.0, True), (5060.0, False), (4940.0, False), (4900.0, True)]
)
def test_a_time_is_longer_with_the_bench_where_that_is_certain(
    logged_s: float, told_of: bool, monkeypatch: Any
) -> None:
    """5000 s ± 80 s without it."""
    told: dict[str, Any] = {}
    monkeypatch.setattr(corrected_runs, "say", lambda name, **values: told.update(values) or name)
    effect = SimpleNamespace(duration_s=about(5000.0, 80.0, "s"), knee_s=about(3000.0, 80.0, "s"))
    apart: Any = SimpleNamespace(effect=effect, rig_ohm=0.1, reasons={})
    corrected_runs._without_rig(a_run({"termination_time": Measured(logged_s, "s")}), apart)
    assert bool(told["longer"]) is told_of


def test_one_source_cannot_be_compared_and_two_can() -> None:
    quantities = {"hold_voltage": about(4.2, 0.01, "V")}
    runs = [a_run(quantities), a_run(quantities), a_run(quantities)]
    for number, run in enumerate(runs):
        run.record = SimpleNamespace(source=f"source {number}", label=f"source_{number}", inputs=())
    (alone,) = corrected_runs.across(runs[:1])
    assert alone.value is None
    for several in (runs[:2], runs):
        (found,) = corrected_runs.across(several)
        assert found.value is True
