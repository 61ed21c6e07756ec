"""Accuracy as data sheets print it: sixty spellings in three languages and more, and what is asked back."""

from __future__ import annotations

import pytest

from reviewkit.metrology import formatting
from reviewkit.metrology.meter import Accuracy, accuracy

PLAIN = Accuracy(0.5, 2)
RANGED = Accuracy(0.5, of_range=0.1)
SPELLED = {
    # English: percent and counts
    "±(0.5 % + 2)": PLAIN,
    "±(0.5% + 2)": PLAIN,
    "0.5 % + 2": PLAIN,
    "0.5%+2": PLAIN,
    "0.5%+2d": PLAIN,
    ".5%+2": PLAIN,
    "±(.5% + 2 LSD)": PLAIN,
    "0.5% +/- 2": PLAIN,
    "+/- (0.5% + 2)": PLAIN,
    "±0.5% ± 2d": PLAIN,
    "±0.5%±2": PLAIN,
    "0.5%rdg+2dgt": PLAIN,
    "±(0.5 % of reading + 2 counts)": PLAIN,
    "±(0.5% of the reading + 2 digits)": PLAIN,
    "± 0.5 % rdg. + 2 dgt.": PLAIN,
    "0.5 % rdg and 2 cts": PLAIN,
    "0.5 % m.v. + 2 c": PLAIN,
    "0.5 %, 2 counts": PLAIN,
    "[0.5 % + 2 digits]": PLAIN,
    # Counts, percent, volts alone
    "±3 counts": Accuracy(0, 3),
    "±2 digits": Accuracy(0, 2),
    "±0.1 %": Accuracy(0.1),
    "1%": Accuracy(1),
    "±(0.05 % + 0.3 mV)": Accuracy(0.05, absolute=0.3e-3),
    "±(0.05 % + 20 µV)": Accuracy(0.05, absolute=20e-6),
    "0.05 % + 20 uV": Accuracy(0.05, absolute=20e-6),
    "±5 mV": Accuracy(0, absolute=5e-3),
    "0.05 % + 1 mV + 1 digit": Accuracy(0.05, 1, 1e-3),
    # Parts of the range, ppm
    "0.5% FS": Accuracy(0, of_range=0.5),
    "± 2 % of full scale": Accuracy(0, of_range=2),
    "0.5 % rdg + 0.1 % f.s.": RANGED,
    "±(0.5% reading + 0.1% range)": RANGED,
    "±(0.5% of rdg + 0.1% of F.S.)": RANGED,
    "0.5 % + 0.1 % of range": RANGED,
    "0.5 % rdg plus 0.1 % full-scale": RANGED,
    "0.5 + 0.1 (% of reading + % of range)": RANGED,
    "±0.5%rdg±0.1%rng": RANGED,
    "50 ppm + 20 ppm FS": Accuracy(0.005, of_range=0.002),
    "50ppm of reading + 20ppm of range": Accuracy(0.005, of_range=0.002),
    "0.5%rdg+0.05%range+2dgt": Accuracy(0.5, 2, of_range=0.05),
    "1.2 % rdg + 0.1 % span": Accuracy(1.2, of_range=0.1),
    # German
    "0,5 % v. M. + 2 D": PLAIN,
    "0,5% v.M. + 2 Digit": PLAIN,
    "± 0,5 % vom Messwert + 2 Stellen": PLAIN,
    "0,5 % MW + 2": PLAIN,
    "0,5 % v. Mw. + 2 Ziffern": PLAIN,
    "±(0,5 % der Anzeige und 2 Digits)": PLAIN,
    "0,5 % v. M. + 0,1 % v. E.": RANGED,
    "0,5 % vom Messwert + 0,1 % vom Messbereich": RANGED,
    "0,5 % des Messwertes + 0,1 % vom Endwert": RANGED,
    "±(0,5 % v.MW + 0,1 % v.MB)": RANGED,
    # French
    "± 0,5 % lect. + 2 d": PLAIN,
    "0,5 % de la lecture + 2 points": PLAIN,
    "0,5 % L + 2 UR": PLAIN,
    "±(0,5 % lect + 2 pts)": PLAIN,
    "0,5 % de lecture et 2 chiffres": PLAIN,
    "0,5 % lecture + 0,1 % de la gamme": RANGED,
    "0,5 % L + 0,1 % de la pleine échelle": RANGED,
    "0,5 % de la lecture + 0,1 % du calibre": RANGED,
    # Spanish, Chinese
    "±(0,5 % lectura + 2 dígitos)": PLAIN,
    "0,5 % de la lectura y 2 cuentas": PLAIN,
    "0,5 % lectura + 0,1 % del fondo de escala": RANGED,
    "±(0.5%读数+2字)": PLAIN,
    "0.5%读数+0.1%量程": RANGED,
}


def test_there_are_sixty_spellings() -> None:
    assert len(SPELLED) >= 60


@pytest.mark.parametrize(("text", "expected"), SPELLED.items(), ids=SPELLED.keys())
def test_accuracy_as_the_trade_writes_it(text: str, expected: Accuracy) -> None:
    found = accuracy(text)
    assert found.percent == pytest.approx(expected.percent)
    assert found.counts == pytest.approx(expected.counts)
    assert found.absolute == pytest.approx(expected.absolute)
    assert found.of_range == pytest.approx(expected.of_range)
    assert found.remark == ""


@pytest.mark.parametrize(
    ("text", "remark"),
    [
        ("±(0.5 % + 2) @ 23 °C", "23 °C"),
        ("0.5 % + 2 at 23 °C ± 5 °C", "23 °C ± 5 °C"),
        ("±(0.5% + 2), 1 year, 23±5°C", "1 year, 23±5°C"),
        ("±(0.5 % + 2) 1 year", "1 year"),
        ("0,5 % v. M. + 2 D bei 18 °C … 28 °C", "18 °C … 28 °C"),
        ("0,5 % L + 2 UR à 23 °C", "23 °C"),
        ("0.5 % + 2 (90 days)", "90 days"),
    ],
)
def test_conditions_are_kept_as_a_remark(text: str, remark: str) -> None:
    found = accuracy(text)
    assert (found, found.remark) == (PLAIN, remark)


@pytest.mark.parametrize(
    ("text", "first", "second"),
    [
        (
            "0.025+0.005",
            "'0.025 % rdg + 0.005 % range' (±1.35 mV at 4.2 V)",
            "'0.025 % + 0.005 V' (±6.05 mV at 4.2 V)",
        ),
        ("±(0.5 + 2)", "'0.5 % rdg + 2 % range' (±141 mV at 4.2 V)", "'0.5 % + 2 counts' (±23 mV at 4.2 V)"),
        (
            "0.5 % + 0.05 %",
            "'0.5 % rdg + 0.05 % range' (±24 mV at 4.2 V)",
            "'0.55 % rdg' (±23.1 mV at 4.2 V)",
        ),
        (
            "0.5 % + 0.05",
            "'0.5 % rdg + 0.05 % range' (±24 mV at 4.2 V)",
            "'0.5 % + 0.05 V' (±71 mV at 4.2 V)",
        ),
        ("±2", "'2 %' (±84 mV at 4.2 V)", "'2 counts' (±2 mV at 4.2 V)"),
    ],
)
def test_what_can_be_read_in_two_ways_is_asked_back(text: str, first: str, second: str) -> None:
    with pytest.raises(ValueError, match="two ways") as told:
        accuracy(text, resolution=0.001, full_scale=6.0)
    assert str(told.value).endswith(f"{first} or {second}")


def test_each_answer_to_a_question_is_understood() -> None:
    for text in ("0.025+0.005", "0.5+2", "0.5 % + 0.05 %", "2", "0.5"):
        with pytest.raises(ValueError, match="two ways") as told:
            accuracy(text)
        for answer in str(told.value).split("means: ")[1].split(" or "):
            accuracy(answer.split("'")[1])


def test_an_absolute_part_of_an_ammeter() -> None:
    assert accuracy("±(0.5 % + 2 mA)", "A").absolute == pytest.approx(2e-3)


@pytest.mark.parametrize(
    "text",
    ["", "good", "±", "%", "±(0.5 % + )", "0.5 % + 2 apples", "±(0.5 % + 2 mA)", "0 %", "30 %",
     "0.5 % or 2 dgt, whichever is greater"],
)  # fmt: skip
def test_what_is_no_accuracy_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(ValueError, match=r"±|unit|expected"):
        accuracy(text, "V")


def test_the_statement_is_said_back_in_words() -> None:
    said = accuracy("0,5 % v. M. + 0,1 % v. E. bei 23 °C").words("V").replace(formatting.THIN, " ")
    assert said == "0.5 % of the reading + 0.1 % of the range (23 °C)"
    assert accuracy("0.05 % + 1 mV + 1 digit").words("V").endswith("+ 1 count of the last digit")
