"""Several sources: what is the same, who ends the charge, what each source may give."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest
import yaml

from reviewkit import charge
from reviewkit.charge import sources
from reviewkit.charge.analysis import say
from reviewkit.charge.inputs import ChargeInputs, source_limit
from reviewkit.metrology import Component, Measured, meter

BIRCH = Path(__file__).parents[1] / "examples" / "birch"
METER = meter.meter({"accuracy": "±(1.0 % + 3)", "resolution": 0.001}, "A")


def current(value: float) -> Measured:
    return Measured(value, "A", (METER.component(value), Component("noise", 0.001, "A")))


def test_a_shared_meter_resolves_a_small_difference():
    (row,) = sources.compare(
        {"plateau current": {"laptop port": current(0.48), "wall adapter": current(0.50)}}
    )
    assert not row.same
    assert row.difference.value == pytest.approx(0.02)
    assert current(0.48).expanded + current(0.50).expanded > 0.02 / 2


def test_equal_within_the_noise_is_the_same():
    rows = sources.compare({"plateau current": {"a": current(0.5), "b": current(0.501), "c": current(0.499)}})
    assert [row.same for row in rows] == [True, True]
    assert sources.named_pairs(rows) == ""


def test_one_source_has_nothing_to_be_compared_with():
    assert sources.compare({"plateau current": {"only": current(0.5)}}) == ()


@pytest.mark.parametrize(
    ("kind", "limit_A"),
    [
        # USB 2.0, 7.2.1: unit loads of 100 mA, five at most; USB 3.x: six of 150 mA; BC 1.2; IEC 63002 4.4.
        ("usb 2.0 before configuration", 0.1),
        ("usb 2.0", 0.5),
        ("usb 3", 0.9),
        ("usb charging port", 1.5),
        ("type-c 1.5 A", 1.5),
        ("type-c 3 A", 3.0),
    ],
)
def test_what_a_source_may_give(kind, limit_A):
    assert source_limit(kind, None).high == limit_A
    assert source_limit(kind, 0.7).high == 0.7


def test_a_declared_limit_wins_and_an_unknown_kind_is_refused():
    assert source_limit("usb 3", 0.75).high == 0.75
    assert source_limit(None, None) is None
    with pytest.raises(ValueError, match=r"known: usb 2\.0"):
        source_limit("usb 9", None)


@pytest.mark.parametrize(
    ("terminates", "controls", "stays", "same", "by"),
    [
        (True, False, True, None, "device"),
        (True, False, None, None, "device"),
        (True, None, False, None, "source"),
        (True, False, False, None, "source"),
        (True, True, None, None, "undecided"),
        (True, True, None, True, "device"),
        (True, None, None, None, "undecided"),
        (False, False, True, True, "undecided"),
    ],
)
def test_who_ends_the_charge(terminates, controls, stays, same, by):
    ending = sources.who_ends(terminates, controls, stays, same)
    assert ending.by == by
    assert say("ended_by", evidence=ending.evidence).endswith(".")


def test_a_source_ammeter_with_swapped_leads_hides_no_draw(tmp_path: Path) -> None:
    """Common practice, no source: a port gives current and takes none."""
    folder = Path(shutil.copytree(BIRCH, tmp_path / "birch"))
    values = yaml.safe_load((folder / "review.yaml").read_text(encoding="utf-8"))
    names = ("cell", "voltmeter", "ammeter", "source_voltmeter", "source_ammeter")
    named = {"charge_runs": values["charge_runs"][:1], **{name: values[name] for name in names}}
    bench = charge.inputs(named)
    right, turned = _port(bench, folder), _port(bench, _turned(folder))
    assert right[:2] == turned[:2]
    assert any("swapped" in note for note in turned[2])
    assert not any("swapped" in note for note in right[2])


def _turned(folder: Path) -> Path:
    place = folder / "logs" / "charge-wall-adapter-port.csv"
    table = pd.read_csv(place)
    table["Port current (A)"] = -table["Port current (A)"]
    table.to_csv(place, index=False)
    return folder


def _port(bench: ChargeInputs, folder: Path) -> tuple[float, float, tuple[str, ...]]:
    results = charge.analyse(charge.read(bench, folder=folder), cell=bench.cell)
    found = charge.separate_all(results, bench).findings()
    drawn, efficiency = (found[f"charge.{name}"].value for name in ("drawn_from_source", "efficiency"))
    return drawn, efficiency, tuple(str(results.notes()).splitlines())
