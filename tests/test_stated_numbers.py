"""Every number in a sentence is one that a finding carries; words that claim much are said only where so."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import make_examples
import numpy as np
import pytest
from adversary import draw
from shown_sections import Said, shown, texts
from simulate.whole import draw_whole
from stated_numbers import Known, Stated, is_of, known_of, read
from stated_reviews import Review, altered, review, unfound, unfound_together

from reviewkit import charge, comparison
from reviewkit.comparison import Sharing
from reviewkit.findings import Finding, Findings, measured
from reviewkit.metrology import Component, Measured
from reviewkit.review import strict_yaml

EXAMPLES = Path(make_examples.__file__).resolve().parent
DEVICES = make_examples.DEVICES
SIMULATED = (7, 11, 12)
"""Seeds of reviews: a plateau without a steady voltage limit, a foldback, a charge with a pause."""
BENCH = ("readout", "charge", "drain")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("stated")


@cache
def reviewed(name: str | int, place: Path) -> Review:
    if isinstance(name, str):
        folder = EXAMPLES / name
        return review(strict_yaml.load(folder / "review.yaml"), folder, place / name)
    folder = place / f"bench-{name}"
    folder.mkdir()
    return review(draw_whole(name).write(folder), folder, place / f"{name}", sections=BENCH)


def plain(text: str) -> str:
    return re.sub("[\u00a0\u2009\u202f]", " ", text)


# ---------------------------------------------------------------- the reader
@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("0.497\u00a0A\u00a0±\u00a00.006\u00a0A", [(0.497, "A", 1e-3), (0.006, "A", 1e-3)]),
        ("reads \u22120.02\u00a0V", [(0.02, "V", 0.01)]),
        ("4\u00a0h\u00a016\u00a0min", [(15360, "s", 60)]),
        ("4\u00a0h\u00a016\u00a0min\u00a002\u00a0s ± 2.7 s", [(15362, "s", 1), (2.7, "s", 0.1)]),
        ("± 7.2 min", [(432, "s", 6)]),
        ("from 2:50 on", [(10200, "s", 60)]),
        ("about 4¼\u00a0h and ½ h", [(15300, "s", 900), (1800, "s", 900)]),
        ("71.8\u00a0µA, 35.2\u00a0mΩ", [(71.8e-6, "A", 1e-7), (35.2e-3, "ohm", 1e-4)]),
        ("10\u202f050\u00a0d ± 330 d", [(10050, "d", 10), (330, "d", 10)]),
        ("90\u00a0µA\u00a0±\u00a0190\u00a0µA", [(90e-6, "A", 1e-5), (190e-6, "A", 1e-5)]),
        ("2 to 3 Ah", [(2, "A.h", 1), (3, "A.h", 1)]),
        ("12\u202f% of 5 tries", [(12, "%", 1), (5, "", 1)]),
        ("3 of the 8 pairs", [(3, "", 1), (8, "", 1)]),
        ("IEC 62133-2, C/20, JCGM 106:2012, edition 2", []),
    ],
)
def test_a_number_is_read_as_a_person_reads_it(text, numbers):
    found = [(one.value, one.unit, one.step) for one in read(text)]
    assert [unit for _, unit, _ in found] == [unit for _, unit, _ in numbers]
    for mine, theirs in zip(found, numbers, strict=True):
        assert (mine[0], mine[2]) == pytest.approx((theirs[0], theirs[2]))


def test_a_number_is_a_known_one_at_the_digits_shown_and_in_its_unit_only():
    shown_as = Stated("0.80 A", 0.80, "A", 0.01)
    assert is_of(shown_as, Known("plateau", 0.8049, "A"))
    assert not is_of(shown_as, Known("plateau", 0.8061, "A"))
    assert is_of(shown_as, Known("its upper end", 0.7931, "A", is_end=True))  # rounded outward
    assert not is_of(shown_as, Known("hold", 0.80, "V"))


# ---------------------------------------------------------------- reviews
@pytest.mark.parametrize("name", [*DEVICES, *SIMULATED])
def test_every_number_of_a_review_is_one_that_it_found(name, place, record_property):
    one = reviewed(name, place)
    lost = [(said.where, number.text, said.text) for said, number in unfound(one)]
    assert lost == []
    record_property("figure", f"{name}: {sum(len(read(said.text)) for said in one.said)} numbers, all found")


def test_every_number_of_a_comparison_is_one_of_its_reviews_or_their_difference(place):
    reviews = [reviewed(name, place) for name in DEVICES]
    folders = [str(place / name) for name in DEVICES]
    together = comparison.open_all(folders)
    said = texts("compare", shown("compare", {"reviews": folders}, place))
    assert [(line.where, number.text) for line, number in unfound_together(together, said, reviews)] == []


@pytest.mark.parametrize("name", [*DEVICES, SIMULATED[0]])
def test_a_number_that_is_wrong_by_a_tenth_is_noticed(name, place):
    """The share of wrong numbers that pass by chance, because another finding has just that one, is small."""
    tried, noticed = altered(reviewed(name, place), np.random.default_rng(1))
    assert tried > 300
    assert noticed / tried > 0.75


def test_a_number_that_no_finding_has_is_noticed_in_a_caption_and_in_a_note(place):
    one = reviewed(DEVICES[0], place)
    for where in ("chart charge-curve", "note charge.hold_voltage", "part opening"):
        said = Said("charge", where, "It takes the cell to 4.777\u00a0V.")
        assert [(line.where, number.text) for line, number in unfound(one.saying([said]))] == [
            (where, "4.777 V")
        ]


def test_what_drops_at_full_current_is_the_product_of_two_findings(place):
    one = reviewed(7, place)
    found = {item.key: item for item in one.findings}
    note = plain(found["charge.series_resistance"].note)
    drop = float(re.search(r"At full current ([\d.]+) V", note)[1])
    values = [found[f"charge.{name}"].value for name in ("plateau_current", "series_resistance")]
    assert drop == pytest.approx(values[0] * values[1], abs=0.001)


# ---------------------------------------------------------------- sentences
@pytest.mark.parametrize("name", [*DEVICES, *SIMULATED])
def test_no_two_sentences_run_into_each_other(name, place):
    pattern = re.compile(r"[a-z%)][.;:][A-Z][a-z]|[a-z]{3}[.;:,][a-z]{3}| [,.;:)](?:\s|$)")
    told = [
        found[0] + "… in " + said.where
        for said in reviewed(name, place).said
        if not said.where.startswith(("part", "page"))
        for found in pattern.finditer(re.sub(r"\S+/\S+|“[^”]*”|\S+\.(?:csv|yaml)", "it", said.text))
    ]
    assert told == []


# ---------------------------------------------------------------- words that claim much
def test_exact_is_not_said_of_a_readout_that_leans_on_its_bound(place):
    said = [
        text
        for name in (*DEVICES, *SIMULATED)
        for section, _, text in reviewed(name, place).said
        if section == "readout"
    ]
    assert any("lean on the bound" in text for text in said)
    assert [text for text in said if re.search(r"\bexact", text)] == []


def test_exact_is_said_of_what_is_declared_alone(place):
    for name in (*DEVICES, *SIMULATED):
        for said in reviewed(name, place).said:
            assert re.search(r"\bexact", said.text) is None, said


def charged(kind: str, seed: int, folder: Path) -> Findings:
    declared = draw(kind, seed).write(folder)
    bench = charge.inputs(**{key: value for key, value in declared.items() if key != "reader_capacities_Ah"})
    results = charge.analyse(charge.read(bench, folder=folder), cell=bench.cell)
    return Findings((*results.findings(), *charge.separate_all(results, bench).findings()))


@pytest.mark.parametrize("kind", ["pulses", "hiccups", "trickle", "nearly_full"])
def test_no_charge_current_flows_is_not_said_of_a_charge_that_pulses_fades_or_is_short(kind, tmp_path):
    for seed in (1, 3):
        folder = tmp_path / str(seed)
        folder.mkdir()
        found = charged(kind, seed, folder)
        assert found["charge.delivered"].value > 0
        assert [item.key for item in found if "o charge current" in item.note] == []


def plateau(value: float, noise_A: float) -> Findings:
    noisy = Measured(value, "A", (Component("noise", noise_A, "A"),))
    return Findings((measured("charge.plateau_current", "plateau current", noisy),))


@pytest.mark.parametrize(("second", "tells"), [(0.9, True), (0.801, False)])
def test_cannot_tell_is_said_of_two_devices_only_where_the_difference_is_not_clear(second, tells):
    pair = comparison.side_by_side(
        [plateau(0.8, 0.002), plateau(second, 0.002)], names=("a", "b"), shared=[Sharing({})]
    )
    assert ("can’t tell" in pair.rows[0].words) is not tells


_OPEN = ("undetermined", "undecided", None)


@pytest.mark.parametrize("name", [*DEVICES, *SIMULATED])
def test_cannot_tell_is_said_of_no_finding_that_has_a_verdict(name, place):
    said = [item for item in reviewed(name, place).findings if "eter can’t tell" in item.note]
    assert [item.key for item in said if item.verdict in ("pass", "fail")] == []
    assert [item.key for item in said if item.verdict is None and item.value not in _OPEN] == []


@pytest.mark.parametrize("name", [*DEVICES, *SIMULATED])
def test_the_opening_names_what_the_meter_cannot_tell_and_nothing_else(name, place):
    one = reviewed(name, place)
    opening = next(said.text for said in one.said if said.where == "part opening")
    opening = " ".join(opening.split())
    told = re.search(r"The meter can’t tell: (.*?)\. (?:A charge|Its|On the|\d|$)", opening)
    unsure = {item.label: item.key for item in one.findings if item.verdict == "inconclusive" and item.limit}
    claimed = "readout.largest_error" in unsure.values()
    assert ("the meter can’t tell" in opening) == claimed, "the claim about the readout has its own sentence"
    named = re.split(r"; (?:and )?", told[1]) if told else []
    assert bool(named) == bool(set(unsure.values()) - {"readout.largest_error"})
    flows = any(key.endswith("current_after") for key in unsure.values())
    for part in named:
        is_flow = part.startswith("whether current still flows")
        holds = part.startswith("whether it holds the cell") and any("hold" in key for key in unsure.values())
        known = any(label.startswith(re.split(r" \(|,", part)[0]) for label in unsure)
        assert known or holds or (is_flow and flows) or part.endswith(" more"), part


def test_a_finding_without_numbers_carries_none():
    assert list(known_of([Finding("ui.hazards", "ways it can go wrong", True)])) == []
