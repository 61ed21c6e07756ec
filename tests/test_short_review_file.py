"""What a review file may say in a person's own spelling: a chemistry, a day; and what is asked back."""

from __future__ import annotations

from pathlib import Path

import pytest

from reviewkit import commands
from reviewkit.errors import Faults, InputError
from reviewkit.metrology import meter
from reviewkit.review import review_file
from reviewkit.schema import dates, quantities
from reviewkit.schema.blocks import Cell, MeterBlock


@pytest.mark.parametrize(
    ("spelled", "known"),
    [
        *((name, "LFP") for name in ("LiFePO4", "LiFePO₄", "lifepo4", "LFP", "lfp", "Li-Fe-PO4", "IFR")),
        *((name, "LFP") for name in ("lithium iron phosphate", "Lithium-Eisenphosphat", "IFR18650")),
        *((name, "NMC") for name in ("NMC", "nmc", "NCM", "NMC 811", "NCM523", "LiNiMnCoO2", "LiNiMnCoO₂")),
        *((name, "NCA") for name in ("NCA", "LiNiCoAlO2")),
        *((name, "LCO") for name in ("LiCoO2", "LiCoO₂", "lithium cobalt oxide")),
        *((name, "LMO") for name in ("LiMn2O4", "lmo")),
        *((name, "Li-ion") for name in ("Li-Ion", "LiIon", "lithium ion", "Lithium-Ionen", "LiPo", "Li-Po")),
    ],
)
def test_a_chemistry_is_read_in_its_usual_spellings(spelled: str, known: str) -> None:
    assert Cell(chemistry=spelled).chemistry == known


def test_an_iron_phosphate_cell_has_its_own_limit_however_it_is_spelled() -> None:
    """3.65 V is the usual charging limit of LFP (common practice, no source)."""
    assert Cell(chemistry="LiFePO₄").limit_V == 3.65
    with pytest.raises(Faults, match=r"an LFP cell with a charging limit of 4\.2 V"):
        quantities.checked(Cell, {"chemistry": "LiFePO4", "charge_limit_V": 4.2})


@pytest.mark.parametrize("spelled", ["INR18650", "IMR", "ICR", "lead", "NiMH", "LiFeYPO", "lithium"])
def test_what_is_another_chemistry_or_leaves_it_open_is_asked_back(spelled: str) -> None:
    with pytest.raises(Faults, match="NMC"):
        quantities.checked(Cell, {"chemistry": spelled})


@pytest.mark.parametrize(
    "written",
    [
        *("2026-11-27", "27.11.2026", "27/11/2026", "27 Nov 2026", "November 27, 2026", "11/27/2026"),
        *("27. November 2026", "27-Nov-2026", "Nov. 27 2026", "27th of November 2026", "2026/11/27"),
        *("2026.11.27", "27-11-2026", "11-27-2026", "2026-11-27 21:30", "27 novembre 2026", "2026 Nov 27"),
        "27 de noviembre de 2026",
    ],
)
def test_a_day_is_understood_in_any_common_form(written: str) -> None:
    assert dates.iso(written) == "2026-11-27"
    assert dates.iso(f"{written}, against a reference") == "2026-11-27, against a reference"


def test_with_points_the_day_comes_first() -> None:
    """DIN 5008 and the national standards like it."""
    assert dates.iso("3.4.2026") == "2026-04-03"
    assert dates.iso("1. März 2026") == "2026-03-01"
    assert dates.iso("1er août 2026") == "2026-08-01"


@pytest.mark.parametrize("written", ["03/04/2026", "3-4-2026", "12/11/2026, against a reference"])
def test_a_day_that_could_be_two_is_asked_back_with_both(written: str) -> None:
    with pytest.raises(ValueError, match=r"is \d+ \w+ 2026 or \d+ \w+ 2026; write 2026-\d\d-\d\d or 2026-"):
        dates.iso(written)
    assert dates.day_of(written) is None


@pytest.mark.parametrize("written", ["31.02.2026", "2026-13-45", "30 Feb 2026", "32/11/2026"])
def test_a_day_of_no_calendar_is_refused(written: str) -> None:
    with pytest.raises(ValueError, match="no day of any calendar"):
        dates.iso(written)


@pytest.mark.parametrize("written", ["last winter", "2026", "November 2026", "", "27 Foo 2026", "1/2026"])
def test_what_is_no_day_stays_as_it_is(written: str) -> None:
    assert dates.iso(written) == written


REVIEW = """
device: {name: Lamp}
cell: {chemistry: LiFePO4, rated_capacity_Ah: 1.5}
voltmeter: {accuracy: "±(0.5 % + 2)", resolution: 1 mV, last_check: "3 Nov 2025, against a reference"}
review: {date: 27.11.2026, video_date: "November 28, 2026", edition: 0}
"""


def test_what_pages_and_data_show_is_spelled_one_way(tmp_path: Path) -> None:
    (tmp_path / "review.yaml").write_text(REVIEW, encoding="utf-8")
    assert commands.check(tmp_path) == ()
    faults: list[InputError] = []
    values = review_file.read_values(tmp_path, faults)
    assert values["review"] == {"date": "2026-11-27", "video_date": "2026-11-28", "edition": 0}
    assert values["cell"]["chemistry"] == "LFP"
    assert values["voltmeter"]["last_check"] == "2025-11-03, against a reference"
    bound = review_file.bind(tmp_path, values, faults)
    assert bound is not None
    assert (bound.review.date, faults) == ("2026-11-27", [])


def test_an_unclear_day_is_a_fault_of_its_key(tmp_path: Path) -> None:
    text = REVIEW.replace("27.11.2026", "03/04/2026").replace("3 Nov 2025", "04/03/2025")
    (tmp_path / "review.yaml").write_text(text, encoding="utf-8")
    told = [fault.message for fault in commands.check(tmp_path)]
    assert len(told) == 2
    assert any("review.date: '03/04/2026' is 3 April 2026 or 4 March 2026" in line for line in told)
    assert any("voltmeter.last_check: '04/03/2025' is 4 March 2025 or 3 April 2025" in line for line in told)


def test_a_serial_of_digits_needs_no_quotes() -> None:
    block = MeterBlock.model_validate({"serial": 12345, "accuracy": "0.5 % + 2", "resolution": "1 mV"})
    assert block.serial == "12345"
    assert meter.meter(block.spec(), "V").resolution == 0.001


OLD_FILES = (
    # As written for the first examples of such a folder: bare numbers, few keys.
    """
device: {name: Lamp, sample: bought}
cell: {label: A, chemistry: NMC, rated_capacity_Ah: 3.0, charge_limit_V: 4.20}
voltmeter: {accuracy: "±(0.5 % + 2)", resolution: 1 mV}
ammeter: {accuracy: "±(1.0 % + 3)", resolution: 1 mA, burden_ohm: 0.03, leads_ohm: 0.02}
drain_states: [{name: locked out, reading_A: 0.0, range_full_scale_A: 0.6}]
review: {title: Lamp, edition: 1, ambient_C: 21}
""",
    # With everything that `start` once wrote, filled in by a person who likes quotes.
    """
"device":
  "name": 'Lamp'
  firmware: "1.2"
  maker_saw_first: false
review:
  date: "2026-02-14"
  edition: 0
  video: https://video.example/lamp
cell:
  chemistry: "Li-ion"
  rated_capacity_Ah: 3000 mAh
voltmeter:
  name: bench voltmeter
  accuracy: "±(0.05 % + 2)"
  resolution: 1 mV
  full_scale: 6 V
  last_check: "2025-11-03, against a 2.5 V reference"
claims:
  - {about: readout.largest_error, at_most: 0.1 V}
drain_ammeter:
  accuracy: "±(1.0 % + 3)"
  ranges:
    - {full_scale: 600 uA, resolution: 0.1 uA, burden_ohm: 100}
    - {full_scale: 6 mA, resolution: 1 uA, burden_ohm: 10}
drain_states:
  - {name: standby, reading_A: 68 uA, range_full_scale_A: 6 mA}
""",
)


@pytest.mark.parametrize("text", OLD_FILES)
def test_files_of_earlier_kits_are_read_as_they_were(tmp_path: Path, text: str) -> None:
    (tmp_path / "review.yaml").write_text(text, encoding="utf-8")
    assert commands.check(tmp_path) == ()
