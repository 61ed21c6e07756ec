"""The form: made from the models, it ends in what the parameter cell would hold, and loses nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from make_loose_logs import TRUTH, write

import reviewkit
from reviewkit.commands.form_fields import Block
from reviewkit.review import strict_yaml
from reviewkit.schema.blocks import Cell, Voltmeter
from reviewkit.sections import cell_entries, key_list, template

EXAMPLES = Path(__file__).parents[1] / "examples"
SECTIONS = template.of_kind("section", template.discover())
KEYS = {key.name: key for key in key_list.keys(SECTIONS)}
METERS = {
    "voltmeter": {"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"},
    "ammeter": {"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"},
}


def block(model: Any, name: str, **known: Any) -> Block:
    keys = {key: KEYS[f"{name}.{key}"] for key in model.model_fields}
    return Block(model, keys, {}, known)


def test_a_fields_fault_is_told_as_the_model_words_it() -> None:
    cell = block(Cell, "cell", chemistry="lead", rated_capacity_Ah="much")
    assert "rated_capacity_Ah: &#x27;much&#x27; is not a number with a unit" in cell.told.value
    assert "chemistry: found &#x27;lead&#x27;; expected one of" in cell.told.value
    assert cell.value == {"chemistry": "lead", "rated_capacity_Ah": "much"}, "what was typed stays"
    assert block(Cell, "cell", chemistry="NMC").told.value == ""


def test_an_accuracy_is_checked_as_typed_and_shown_as_understood() -> None:
    half_typed = block(Voltmeter, "voltmeter", accuracy="one per cent")
    assert "is no accuracy" in half_typed.told.value
    whole = block(Voltmeter, "voltmeter", **METERS["voltmeter"])
    # 0.05 % of 4.2 V and two counts of 1 mV: 2.1 mV + 2 mV.
    told = " ".join(whole.told.value.split())
    assert "0.05 % of the reading + 2 counts" in told
    assert "4.2000 V ± 0.0041 V" in told


@pytest.mark.parametrize("device", ["alder", "birch"])
def test_a_review_that_is_filled_in_already_comes_out_as_it_went_in(device: str) -> None:
    held = strict_yaml.load(EXAMPLES / device / "review.yaml")
    form = reviewkit.form(held)
    wanted = cell_entries.given(held, SECTIONS)
    assert set(form.values) == set(wanted)
    assert as_text(form.values) == as_text(wanted)


def as_text(value: Any) -> Any:
    """Numbers as they are typed: a field holds text, with which the models do the same."""
    if isinstance(value, dict):
        return {name: as_text(item) for name, item in value.items()}
    if isinstance(value, list):
        return [as_text(item) for item in value]
    return str(value)


def test_nothing_filled_in_is_nothing_and_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    form = reviewkit.form()
    assert form.values == {}
    assert form.check() is None
    assert "nothing is filled in" in form.told.value
    assert form.write() is None
    assert "keep as folder" in form.told.value


def test_a_form_filled_in_runs_and_is_kept_as_the_cell_would_be(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    volts, amps = write(tmp_path / "bench")
    names = METERS | {
        "device": {"name": "Rowan"},
        "charge_runs": [{"voltage": volts.as_posix(), "current": amps.as_posix()}],
        "write_to": "kept",
        "out": "site",
    }
    form = reviewkit.form(names)
    assert {name: form.values[name] for name in ("device", "charge_runs", *METERS)} == {
        name: names[name] for name in ("device", "charge_runs", *METERS)
    }
    assert form.write() is not None
    by_cell = reviewkit.filled_in(names | {"write_to": "kept by the cell"})
    assert by_cell.folder is not None
    kept = [Path("kept", "review.yaml"), by_cell.folder / "review.yaml"]
    assert kept[0].read_bytes() == kept[1].read_bytes()
    published = form.run()
    assert published is not None
    assert "Published: <code>" in form.told.value
    plateau = published.findings["charge.plateau_current"]
    assert abs(plateau.value - TRUTH["plateau_A"]) <= plateau.uncertainty


def test_a_meter_of_ones_own_is_named_in_the_form(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    volts, amps = write(tmp_path / "bench")
    own = "bench A: {accuracy: ±(0.05 % + 2), resolution: 1 mV, full_scale: 6 V}\n"
    (tmp_path / "instruments.yaml").write_text(own, encoding="utf-8")
    names = {
        "device": {"name": "Rowan"},
        "voltmeter": "bench A",
        "ammeter": METERS["ammeter"],
        "charge_runs": [{"voltage": volts.as_posix(), "current": amps.as_posix()}],
    }
    form = reviewkit.form(names)
    assert form.values == names
    filled = form.check()
    assert filled is not None
    assert filled.values["voltmeter"]["accuracy"] == "±(0.05 % + 2)"
    assert reviewkit.form(names | {"voltmeter": "bench Z"}).check() is None
