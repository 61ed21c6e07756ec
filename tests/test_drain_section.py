"""The drain section: its inputs, the range's fitness, days on the shelf, findings of the examples."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import nbformat
import pytest
import yaml
from markdown_it import MarkdownIt
from simulate.drain import METER

from reviewkit import drain, figures
from reviewkit.drain import states
from reviewkit.drain.features import Mean
from reviewkit.drain.inputs import DrainInputs, check
from reviewkit.errors import Faults
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.findings import Finding
from reviewkit.metrology import BOUNDED_COVERAGE, Component, Measured
from reviewkit.metrology.meter import Meter, meter

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
CELL = {"label": "test cell", "rated_capacity_Ah": 2.6}
RANGES = tuple(meter(METER, "A", scale) for scale in (600e-6, 6e-3, 0.6))


def bench(*states: Mapping[str, Any], **more: Any) -> DrainInputs:
    return drain.inputs(**{"cell": CELL, "drain_ammeter": METER, "drain_states": list(states), **more})


def only(result: drain.Drain, key: str) -> Finding:
    found = drain.findings(result).get(key)
    assert found is not None
    return found


def example(name: str) -> drain.Drain:
    values = yaml.safe_load((EXAMPLES / name / "review.yaml").read_text(encoding="utf-8"))
    own = {key: values[key] for key in DrainInputs.model_fields if key in values}
    return drain.analyse(drain.inputs(**own), folder=EXAMPLES / name)


def truth(name: str) -> dict[str, dict[str, float]]:
    data = json.loads((EXAMPLES / "truth" / f"{name}.json").read_text(encoding="utf-8"))
    return data["drain"]


def said(text: str) -> str:
    """A text with plain spaces."""
    return text.replace("\u00a0", " ")


# ------------------------------------------------------------------ outside facts


def test_one_microampere_for_a_month() -> None:
    """1 µA for 30 days is 0.72 mAh (computed independently, design check values)."""
    days = states.days(Mean(Measured(1e-6, "A"), 1e-6), 0.72e-3)
    assert days.value is not None
    assert days.value.value == pytest.approx(30.0)


def test_thirty_microamperes_from_a_full_cell() -> None:
    """30 µA from 2.6 Ah last 9.886683 years of 8766 h (computed independently)."""
    days = states.days(Mean(Measured(30e-6, "A"), 30e-6), 2.6)
    assert days.value is not None
    assert days.value.value / 365.25 == pytest.approx(9.886683, rel=1e-6)


def test_self_discharge_as_a_current() -> None:
    """2 % a month of 2.6 Ah is what 71.184 µA take in 730.5 h (computed independently)."""
    assert states.self_discharge_A(2.0, 2.6) == pytest.approx(71.184e-6, rel=1e-5)
    assert states.self_discharge_days(2.0, share=0.5) == pytest.approx(25 * 730.5 / 24)


def test_burden_takes_from_the_supply() -> None:
    """A meter's current terminal of 0.5 Ω in 10 V over 10 Ω drops 0.476 V (a bench meter's manual)."""
    in_use = meter({"accuracy": "±(1 % + 3)", "resolution": 1e-3, "full_scale": 2, "burden_ohm": 0.5}, "A")
    fit = states.fitness(0.952381, 0.952381, meter=in_use, notice_V=0.05)
    assert fit.burden_V == pytest.approx(10 * 0.04761905, rel=1e-5)
    assert fit.drops


@pytest.mark.parametrize(
    ("reading", "percent", "counts", "step", "limit"),
    [(120.0, 1, 3, 0.1, 1.5), (100.0, 2, 2, 0.1, 2.2), (2.0, 0.5, 3, 0.001, 0.013)],
)
def test_a_single_reading_carries_the_meters_statement(
    reading: float, percent: float, counts: float, step: float, limit: float
) -> None:
    """Published worked examples of ±(% + counts), read here as µA; one unknown of that half-width."""
    spec = {"accuracy": f"±({percent} % + {counts})", "resolution": step * 1e-6, "full_scale": 1e-3}
    result = drain.analyse(bench({"name": "off", "reading_A": reading * 1e-6}, drain_ammeter=spec))
    found = only(result, "drain.off.mean")
    assert len(found.budget) == 1
    assert found.budget[0].size == pytest.approx(limit * 1e-6)
    assert found.uncertainty == pytest.approx(BOUNDED_COVERAGE * limit * 1e-6, rel=1e-3)


# ------------------------------------------------------------------ ranges


def test_too_few_counts_name_the_range_to_use() -> None:
    fit = states.fitness(1e-4, 1e-4, meter=RANGES[2], ranges=RANGES)
    assert fit.coarse
    assert "600 µA range instead" in said(fit.advice)


def test_pulses_that_a_finer_range_cannot_pass_send_to_the_next() -> None:
    fit = states.fitness(1e-4, 2e-3, meter=RANGES[2], ranges=RANGES)
    assert "6 mA range instead" in said(fit.advice)


def test_burden_sends_to_a_higher_range() -> None:
    """0.55 mA over 100 Ω take 55 mV; the 6 mA range takes 5.5 mV."""
    fit = states.fitness(0.45e-3, 0.55e-3, meter=RANGES[0], ranges=RANGES)
    assert not fit.coarse
    assert fit.drops
    assert "55 mV" in said(fit.advice)
    assert "6 mA range instead" in said(fit.advice)


def test_no_range_fits_says_what_would() -> None:
    fit = states.fitness(3e-6, 5e-3, meter=RANGES[1], ranges=RANGES)
    assert fit.coarse
    assert "0.15 µA or finer" in said(fit.advice)
    assert "10 Ω" in said(fit.advice)


def test_a_fit_range_needs_no_advice() -> None:
    fit = states.fitness(1e-4, 1e-4, meter=RANGES[0], ranges=RANGES)
    assert fit.fit
    assert not fit.advice


def test_zero_on_the_finest_range_is_an_upper_bound() -> None:
    result = drain.analyse(bench({"name": "off", "reading_A": 0.0, "range_full_scale_A": "600 uA"}))
    found = only(result, "drain.off.mean")
    assert found.verdict == "inconclusive"
    assert "no finer range" in found.note
    days = only(result, "drain.off.days_to_empty")
    assert days.value is None
    assert days.low == pytest.approx(2.6 / (BOUNDED_COVERAGE * 0.3e-6) / 24, rel=1e-3)
    assert days.high is None


def test_undeclared_burden_is_said() -> None:
    spec = {"accuracy": "±(1 % + 3)", "resolution": "0.1 uA", "full_scale": "600 uA"}
    result = drain.analyse(bench({"name": "off", "reading_A": "45 uA"}, drain_ammeter=spec))
    assert "burden on this range is not declared" in drain.summary(result).sentences[0]


def test_connecting_starts_on_the_highest_range_behind_a_bridge() -> None:
    steps = states.connecting(RANGES).sentences
    assert "highest range, 0.6" in steps[1]
    assert "Bridge" in steps[2]


# ------------------------------------------------------------------ inputs


@pytest.mark.parametrize(
    ("states", "words"),
    [
        ([{"name": "off"}], "either 'log' or 'reading_A'"),
        ([{"name": "off", "reading_A": 0, "log": "a.csv"}], "either 'log' or 'reading_A'"),
        ([{"name": "off", "reading_A": "45 mV"}], "no unit of the same kind"),
        ([{"name": "off", "log": "../a.csv"}], "inside the review folder"),
        ([{"name": "Off!", "reading_A": 0}, {"name": "off", "reading_A": 0}], "both stand under 'off'"),
        ([{"name": "off", "reading_A": 0, "windows": "some"}], "gapless"),
        ([{"name": "off", "log": "a.csv", "windows": "gapless", "aperture_s": 0.1}], "give one"),
        ([{"name": "off", "readin_A": 0}], "reading_A"),
    ],
)
def test_states_at_fault_are_named(states: list[dict[str, Any]], words: str) -> None:
    with pytest.raises(Faults, match=words):
        bench(*states)


def test_states_need_a_meter() -> None:
    with pytest.raises(Faults, match="drain_ammeter"):
        drain.inputs(drain_states=[{"name": "off", "reading_A": 0}])


def test_check_finds_missing_files_and_ranges(tmp_path: Path) -> None:
    (tmp_path / "short.csv").write_text("time (s),current (µA)\n0,45\n", encoding="utf-8")
    faults = check(
        bench(
            {"name": "off", "log": "logs/none.csv"},
            {"name": "locked", "reading_A": 0, "range_full_scale_A": "2 mA"},
        ),
        tmp_path,
    )
    assert [fault.file for fault in faults] == ["logs/none.csv", "review.yaml"]
    assert "no range of 0.002 A" in faults[1].message


ROWS = [f"{second},{45 + second % 2}" for second in range(120)]
OVER = [f"{second},OL" for second in range(120)]
AT_FAULT = {
    "missing": None,
    "no table": b"nothing to see here\n",
    "damaged": b"time (s),current (\xc2\xb5A)\n0,4\0\0\0\0\n",
    "one row": b"time (s),current (uA)\n0,45\n",
    "beyond the range throughout": "\n".join(["time (s),current (uA)", *OVER]).encode(),
    "no number": "\n".join(["time (s),current (uA)", *(row.replace("OL", "nan") for row in OVER)]).encode(),
    "infinite": "\n".join(["time (s),current (uA)", *(row.replace("OL", "inf") for row in OVER)]).encode(),
    "no row after it fell asleep": "\n".join(["time (s),current (uA)", ROWS[0], ROWS[1], *OVER[2:]]).encode(),
    "times that stand": b"time (s),current (uA)\n" + b"5,45\n" * 20,
    "another unit": b"time (s),current (A)\n" + "\n".join(ROWS).encode(),
}


@pytest.mark.parametrize("place", [0, 2])
@pytest.mark.parametrize("name", AT_FAULT)
def test_a_log_at_fault_costs_its_own_state_and_no_other(tmp_path: Path, name: str, place: int) -> None:
    (tmp_path / "good.csv").write_text("\n".join(["time (s),current (uA)", *ROWS]), encoding="utf-8")
    if AT_FAULT[name] is not None:
        (tmp_path / "bad.csv").write_bytes(AT_FAULT[name])
    good: list[dict[str, Any]] = [
        {"name": "standby", "log": "good.csv", "range_full_scale_A": "600 uA"},
        {"name": "locked", "reading_A": "45.0 uA", "range_full_scale_A": "600 uA"},
    ]
    bad = {"name": "full", "log": "bad.csv", "range_full_scale_A": "600 uA"}
    whole = drain.analyse(bench(*good), folder=tmp_path)
    hurt = drain.analyse(bench(*good[:place], bad, *good[place:]), folder=tmp_path)
    parts = {item.key: item for item in drain.findings(hurt)}
    assert {item.key: item for item in drain.findings(whole)}.items() <= parts.items()
    lost = [item for key, item in parts.items() if key.startswith("drain.full.")]
    assert len(lost) >= 8
    for item in lost:
        assert (item.value, item.low, item.high, item.verdict) == (None, None, None, "not tested")
        assert "bad.csv" in item.note
    for text in (str(drain.summary(hurt)), str(drain.advice(hurt))):
        assert "Full: not measured. bad.csv" in text
    assert "Full: the meter can’t tell" not in str(drain.advice(hurt))
    assert [table.name for table in drain.datasets(hurt).items] == ["drain-standby"]
    for draw in (figures.drain_days, figures.drain_settling, figures.drain_pulses, figures.drain_folded):
        draw(hurt)


def test_a_range_that_the_meter_does_not_have_costs_its_own_state(tmp_path: Path) -> None:
    states = [
        {"name": "off", "reading_A": "45 uA", "range_full_scale_A": scale} for scale in ("600 uA", "2 mA")
    ]
    found = drain.analyse(bench(states[0], {**states[1], "name": "locked"}), folder=tmp_path)
    assert only(found, "drain.off.mean").value == pytest.approx(45e-6)
    assert "no range of 0.002 A" in only(found, "drain.locked.mean").note


def test_where_no_log_can_be_drawn_it_is_not_said_to_be_settled(tmp_path: Path) -> None:
    found = drain.analyse(bench({"name": "off", "log": "none.csv"}), folder=tmp_path)
    assert "settled" not in figures.drain_settling(found).why


def test_a_claim_becomes_the_limit() -> None:
    claims = [{"about": "drain.off.mean", "at_most": "40 uA"}]
    off = {"name": "off", "reading_A": "45.0 uA", "range_full_scale_A": "600 uA"}
    found = only(drain.analyse(bench(off, claims=claims)), "drain.off.mean")
    assert found.verdict == "fail"
    assert found.limit is not None
    assert found.limit.source == "the maker's claim"


def test_a_limit_on_a_bounded_mean() -> None:
    off = {"name": "off", "reading_A": 0.1e-3, "range_full_scale_A": 0.6, "limit_A": "50 uA"}
    assert only(drain.analyse(bench(off)), "drain.off.mean").verdict == "inconclusive"


def test_slugs() -> None:
    assert drain.slug("locked out") == "locked_out"
    assert drain.slug("Full, cable in") == "full_cable_in"


# ------------------------------------------------------------------ nothing and little


def test_nothing_declared_is_not_tested() -> None:
    result = drain.analyse(drain.inputs())
    assert {item.verdict for item in drain.findings(result)} == {"not tested"}
    assert "drain_states" in drain.findings(result)[0].note
    assert isinstance(figures.drain_days(result), Absent)
    assert isinstance(figures.drain_pulses(result), Absent)
    assert isinstance(figures.drain_folded(result), Absent)
    assert isinstance(figures.drain_settling(result), Absent)


def test_a_single_reading_is_enough() -> None:
    result = drain.analyse(bench({"name": "off", "reading_A": "45.0 uA", "range_full_scale_A": "600 uA"}))
    assert only(result, "drain.off.mean").value == pytest.approx(45e-6)
    assert only(result, "drain.off.days_to_empty").value == pytest.approx(2.6 / 45e-6 / 24)
    assert only(result, "drain.off.days_to_level").value == pytest.approx(1.3 / 45e-6 / 24)
    assert only(result, "drain.off.pulse_width").verdict == "not tested"


def test_no_capacity_no_days() -> None:
    result = drain.analyse(bench({"name": "off", "reading_A": "45 uA"}, cell={}))
    days = only(result, "drain.off.days_to_empty")
    assert days.verdict == "not tested"
    assert "rated_capacity_Ah" in days.note


def test_current_into_the_cell_gives_no_days_and_is_said() -> None:
    result = drain.analyse(bench({"name": "off", "reading_A": "-45 uA", "range_full_scale_A": "600 uA"}))
    assert only(result, "drain.off.days_to_empty").verdict == "not tested"
    assert "sign: -1" in only(result, "drain.off.mean").note


def test_days_keep_the_meters_shared_doubt() -> None:
    """Two devices read on one range: their days share the range's unknown."""
    result = drain.analyse(bench({"name": "off", "reading_A": "45.0 uA", "range_full_scale_A": "600 uA"}))
    shared = {part.shared for part in only(result, "drain.off.days_to_empty").budget}
    assert RANGES[0].label in shared


def test_an_uncertain_mean_gives_an_interval_of_days() -> None:
    mean = Mean(Measured(10e-6, "A", (Component("x", 3e-6, "A"),)), 10e-6)
    days = states.days(mean, 2.6)
    assert not days.symmetric
    assert days.low == pytest.approx(2.6 / 16e-6 / 24, rel=1e-3)
    assert days.high == pytest.approx(2.6 / 4e-6 / 24, rel=1e-3)


# ------------------------------------------------------------------ the examples


@pytest.mark.parametrize("name", ["alder", "birch"])
def test_the_examples_truth_is_inside(name: str) -> None:
    result = example(name)
    names = ("base", "mean", "pulse_height", "pulse_width", "pulse_period")
    for state, known in truth(name).items():
        for word in names:
            found = drain.findings(result).get(f"drain.{state}.{word}")
            if word not in known or found is None or found.verdict == "not tested":
                continue
            assert found.low is None or found.low <= known[word], found.key
            assert found.high is None or found.high >= known[word], found.key


def test_alder_sleeps_after_a_while_and_its_blink_is_resolved() -> None:
    result = example("alder")
    split = result["standby"].split
    assert split is not None
    assert 42 <= split.settled.start_s <= 60
    assert only(result, "drain.standby.pulse_width").value == pytest.approx(0.300, rel=0.01)
    assert only(result, "drain.standby.pulse_period").value == pytest.approx(5.003, rel=0.001)
    assert "after 48 s" in only(result, "drain.standby.mean").note.replace("\u00a0", " ")


def test_birch_touch_sensor_and_leak() -> None:
    result = example("birch")
    assert only(result, "drain.standby.pulse_period").value == pytest.approx(0.5003, rel=0.001)
    assert only(result, "drain.standby.pulse_width").value is None
    leak = only(result, "drain.dead_cable_in.mean")
    assert isinstance(leak.value, float)
    assert leak.value > 20 * float(only(result, "drain.standby.mean").value)  # type: ignore[arg-type]
    assert any("Pull the cable" in line for line in drain.advice(result).sentences)


@pytest.mark.parametrize(
    ("least", "most", "says"),
    [
        ("full, cable out", "full, cable in", "Pull the cable before you put it away"),
        ("full, cable in", "full, cable out", "It drains least as “full, cable in”, which is no way"),
        ("standby", "full, cable out", "Store it as “standby”"),
        ("locked out", "standby", "Lock it before you put it away"),
        ("unlocked", "standby", "Store it as “unlocked”"),
    ],
)
def test_the_advice_on_storage_does_what_the_currents_say_and_never_leaves_a_cable_in(
    least: str, most: str, says: str
) -> None:
    states = [
        {"name": least, "reading_A": "60 uA", "range_full_scale_A": "600 uA"},
        {"name": most, "reading_A": "90 uA", "range_full_scale_A": "600 uA"},
    ]
    (advice,) = (
        line for line in drain.advice(drain.analyse(bench(*states))).sentences if "the device draws" in line
    )
    assert advice.startswith(says)
    assert f"more as “{most}”" in advice


def test_the_wrong_range_comes_out_inconclusive_with_the_right_advice() -> None:
    found = only(example("birch"), "drain.locked_out.mean")
    assert found.verdict == "inconclusive"
    assert "600 µA range instead" in found.note.replace("\u00a0", " ")
    assert only(example("birch"), "drain.locked_out.days_to_empty").verdict == "inconclusive"


def test_the_examples_can_be_made_again(tmp_path: Path) -> None:
    from simulate import drain as simulated

    for name in ("alder", "birch"):
        known: dict[str, Any] = {}
        simulated.write(tmp_path / name, known)
        assert known["drain"] == truth(name)
        for made in (tmp_path / name / "logs").glob("*.csv"):
            assert made.read_bytes() == (EXAMPLES / name / "logs" / made.name).read_bytes()


@pytest.mark.parametrize("name", ["alder", "birch"])
def test_figures_answer_with_numbers(name: str) -> None:
    result = example(name)
    days = figures.drain_days(result)
    assert isinstance(days, Chart)
    drawn = [days]
    for draw in (figures.drain_pulses, figures.drain_folded, figures.drain_settling):
        charts = draw(result)
        drawn += charts.items if isinstance(charts, Charts) else ()
    keys = {item.key for item in drain.findings(result)}
    assert len({chart.key for chart in drawn}) == len(drawn)
    for chart in drawn:
        assert chart.question.endswith("?")
        assert any(letter.isdigit() for letter in chart.answer)
        assert set(chart.about) <= keys
        assert len(chart.table)
        assert len(chart.figure.to_json()) < 150_000


def test_words_that_look_like_markup_stay_words() -> None:
    name = "<script>alert(1)</script> [x](javascript:y)"
    result = drain.analyse(bench({"name": name, "reading_A": "45.0 uA", "range_full_scale_A": "600 uA"}))
    shown = MarkdownIt("commonmark").render(drain.summary(result)._repr_mimebundle_()["text/markdown"])
    assert "<script" not in shown
    assert "<a " not in shown
    assert shown.startswith("<p>")


def test_the_notebook_declares_what_the_inputs_take() -> None:
    """Parameter cell, inputs model and metadata agree; the file holds no outputs."""
    from reviewkit.sections import template

    section = next(item for item in template.discover(only=[ROOT / "templates"]) if item.name == "drain")
    assert section.place == 30
    assert section.names == set(DrainInputs.model_fields)
    assert section.faults({}, ROOT) == []
    defaults = {item.name: item.default for item in section.parameters}
    assert drain.inputs(**defaults) == drain.inputs()
    cells = nbformat.read(ROOT / "templates" / "drain.ipynb", 4).cells
    assert not any(cell.get("outputs") for cell in cells)


def in_use(scale: float) -> Meter:
    return meter(METER, "A", scale)


def test_the_examples_declare_the_meter_they_were_made_with() -> None:
    for name in ("alder", "birch"):
        values = yaml.safe_load((EXAMPLES / name / "review.yaml").read_text(encoding="utf-8"))
        declared = drain.inputs(drain_ammeter=values["drain_ammeter"]).ranges
        assert declared == tuple(in_use(one.full_scale or 0.0) for one in RANGES)
