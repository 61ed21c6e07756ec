"""From stretches of bins to phases of a charge, and what those say; by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from test_charge_accounts import binned, phases

from reviewkit.charge import regimes
from reviewkit.charge.profile import Block
from reviewkit.charge.regimes import Phase, Phases
from reviewkit.charge.segmentation import LEVEL, PASSING, SLOPE, Stretch
from reviewkit.metrology import Component, Measured

TWO = (Block(10, 40, 10.0, 40.0, 9.0, 41.0), Block(60, 90, 60.0, 90.0, 59.0, 91.0))


def of(**more: Any) -> Phases:
    given: dict[str, Any] = {
        **{"spans": (), "regimes": (), "start": Measured(9.5, "s"), "end": Measured(90.5, "s")},
        **{"precharge_end": None, "knee": None, "ending": "never", "main": TWO, "top_ups": ()},
        **{"profile": SimpleNamespace(pauses_s=()), "bins": None, "account": SimpleNamespace(ohm=None)},
    }
    return Phases(**(given | more))


def test_the_spans_of_a_charge_follow_one_another_from_first_row_to_last() -> None:
    """Two stretches with a pause, a knee within the second, a top-up; each regime within its stretch."""
    record = SimpleNamespace(time_s=np.arange(120.0))
    found = (
        Phase("precharge", 10.0, 20.0),
        Phase("constant current", 20.0, 30.0),
        Phase("constant current", 30.0, 41.0, "slope"),
        Phase("constant current", 60.0, 75.0),
        Phase("constant voltage", 75.0, 91.0),
    )
    again = (Block(100, 110, 100.0, 110.0, 99.0, 111.0),)
    spans = regimes._spans(record, found, TWO, again, 90.0)
    assert [(one.name, one.start_s, one.end_s) for one in spans] == [
        ("before", 0.0, 10.0),
        ("precharge", 10.0, 20.0),
        ("constant current", 20.0, 40.0),
        ("interrupted", 40.0, 60.0),
        ("constant current", 60.0, 75.0),
        ("constant voltage", 75.0, 90.0),
        ("terminated", 90.0, 100.0),
        ("top-up", 100.0, 110.0),
        ("terminated", 110.0, 119.0),
    ]
    # What fades or never ends lasts up to its end; of the first stretch that is its last row.
    later = regimes._spans(record, found, TWO, (), 95.0)
    assert [(one.name, one.end_s) for one in later[2:]] == [
        ("constant current", 40.0),
        ("interrupted", 60.0),
        ("constant current", 75.0),
        ("constant voltage", 95.0),
        ("terminated", 119.0),
    ]
    # A log that begins with the charge has nothing before it.
    at_once = (Block(0, 40, 0.0, 40.0, 0.0, 41.0),)
    assert regimes._spans(record, found[:1], at_once, (), 40.0)[0].name == "precharge"


def test_regimes_reach_from_bin_to_bin_and_a_soft_start_follows_a_stop() -> None:
    """Bins of 10 s: a rise in two slopes, a level, a rise in mid-charge; one more rise after a gap."""
    amps = [0.1, 0.3, 0.5, 0.7, 0.8, 0.8, 0.8, 0.85, 1.0, 1.0, 0.2, 0.6, 1.0, 1.0, 0.3, 0.3]
    bins = binned(amps, 3.8, group=[0] * 10 + [1] * 6)
    kinds = ((SLOPE, 0, 1), (SLOPE, 2, 4), (LEVEL, 5, 6), (SLOPE, 7, 8), (LEVEL, 9, 9))
    after = ((SLOPE, 10, 12), (LEVEL, 13, 13), (PASSING, 14, 14), (LEVEL, 15, 15))
    account = SimpleNamespace(stretches=tuple(Stretch(*one) for one in kinds + after), ohm=None, set_V=None)
    found = regimes._regimes(bins, account, np.arange(16) < 15, None, None, 1.0)
    assert [one.shape for one in found] == [
        *("soft start", "soft start", "level", "slope", "level"),
        *("soft start", "level", "unexplained"),
    ]
    assert [(one.start_s, one.end_s) for one in found[:3]] == [(0.0, 20.0), (20.0, 50.0), (50.0, 70.0)]
    assert [one.level_A for one in found[:3]] == pytest.approx([0.2, 2.0 / 3, 0.8])
    assert {one.name for one in found} == {"constant current"}


def test_a_phase_that_is_missing_moves_no_boundary() -> None:
    one = list(phases(("precharge", "level", 30.0, 0.1), ("constant voltage", "falling", 50.0, 1.0)))
    assert regimes._at_moments(list(one), 25.0, None) == one


def test_a_charge_of_half_a_second_may_be_unexplained() -> None:
    assert regimes._unexplained(phases(("constant current", "unexplained", 0.5, 1.0))) == 100.0


def test_a_stretch_stands_at_the_limit_by_the_median_of_its_bins() -> None:
    """One that has a voltage is enough; a bench may have no resistance at all."""
    account = SimpleNamespace(ohm=0.0, set_V=4.2)
    volts = np.array([4.0, 4.2, np.nan, 4.0, 4.0])
    assert regimes._at_limit(binned(np.ones(5), volts), account, Stretch(LEVEL, 1, 2))
    assert not regimes._at_limit(binned(np.ones(5), volts), account, Stretch(LEVEL, 2, 2))
    assert not regimes._at_limit(binned(np.ones(5), volts), account, Stretch(LEVEL, 1, 4))


def test_precharge_ends_within_its_stretch(monkeypatch: pytest.MonkeyPatch) -> None:
    """The row after it is no plateau; one row of a minute may be all of it."""
    monkeypatch.setattr(regimes.endings, "edge", lambda record, row, words: Measured(float(row), "s"))
    account, bins = SimpleNamespace(stretches=(Stretch(LEVEL, 0, 2),)), binned([0.1, 0.3, 0.6])
    profile = SimpleNamespace(zero_A=0.0, level_A=1.0)
    current = np.append(np.full(30, 0.3), 1.0)
    record = SimpleNamespace(time_s=np.arange(31.0), current=current, voltage=np.full(31, 3.0))
    alone = Block(0, 29, 0.0, 29.0, 0.0, 30.0)
    assert regimes._precharge(record, profile, bins, account, alone) is None
    minutes = SimpleNamespace(
        time_s=60 * np.arange(31.0), current=np.append(0.3, np.ones(30)), voltage=np.full(31, 3.0)
    )
    found = regimes._precharge(minutes, profile, bins, account, Block(0, 30, 0.0, 1800.0, 0.0, 1800.0))
    assert found is not None
    assert found.value == 1.0
    full = SimpleNamespace(time_s=60 * np.arange(31.0), current=np.ones(31), voltage=np.full(31, 3.0))
    assert regimes._precharge(full, profile, bins, account, Block(0, 30, 0.0, 1800.0, 0.0, 1800.0)) is None


# ------------------------------------------------------------------ what phases say


def test_a_log_began_before_its_charge_from_its_third_row_on() -> None:
    for first, running in ((1, True), (2, False)):
        assert of(main=(Block(first, 9, 1.0, 9.0, 0.0, 10.0),)).began_before == running


def test_pauses_between_stretches_and_dips_before_the_end_interrupt_a_charge() -> None:
    profile = SimpleNamespace(pauses_s=((20.0, 25.0), (89.0, 95.0), (90.0, 99.0)))
    assert of(profile=profile).interruptions == 3
    assert of(main=TWO[:1]).interruptions == 0


@pytest.mark.parametrize(("share", "unfit"), [(5.9, False), (6.1, True)])
def test_an_account_that_leaves_six_percent_unexplained_is_none(share: float, unfit: bool) -> None:
    """Four times the 95th percentile of simulated charges: chosen."""
    one = of(transient_share=share, account=SimpleNamespace(ohm=0.1))
    assert (one.unexplained, one.unfit) == (unfit, unfit)
    assert not of(account=SimpleNamespace(ohm=0.1)).unfit


def test_phases_are_asked_for_by_name_and_time() -> None:
    spans = (
        Phase("before", 0.0, 10.0),
        Phase("constant current", 10.0, 40.0),
        Phase("terminated", 40.0, 50.0),
    )
    one = of(spans=spans, ending="terminated")
    assert one.named("constant current") == spans[1:2]
    assert one.terminated
    assert not of(ending="faded").terminated
    inside = one.mask(np.array([9.9, 10.0, 25.0, 40.0, 40.1]), "constant current")
    assert inside.tolist() == [False, True, True, True, False]
    both = one.mask(np.array([5.0, 25.0, 45.0]), "before", "terminated")
    assert both.tolist() == [True, False, True]


def test_a_moment_since_the_start_carries_the_starts_own_doubt() -> None:
    """Later by a second of the start is earlier by a second since then."""
    one = of(start=Measured(9.5, "s", (Component("start", 0.5, "s", "rectangular"),)))
    since = one.since_start(Measured(30.0, "s", (Component("knee", 2.0, "s"),)))
    assert since.value == 20.5
    assert [(part.size, part.sensitivity) for part in since.components] == [(2.0, 1.0), (0.5, -1.0)]
