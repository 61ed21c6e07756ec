"""Keys and names out of a person's words: any script, any length, and no two unnoticed as one."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path

import pandas as pd
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from reviewkit import drain, figures
from reviewkit.charge.inputs import inputs as charge_inputs
from reviewkit.charge.reading import check as charge_check
from reviewkit.drain.inputs import DrainInputs
from reviewkit.errors import InputError
from reviewkit.readout import analysis
from reviewkit.tables import keys
from reviewkit.ui_states.inputs import inputs as ui_inputs

ALDER = Path(__file__).parents[1] / "examples" / "alder"

# Twenty words for a lamp in ten scripts and more; what they become is the transliteration's business.
WORDS = (
    *("фонарь", "ліхтар", "φανός", "φακός", "灯一", "灯二", "待机", "フクロウ", "ヘッドライト"),
    *("부엉이", "손전등", "मशाल", "टॉर्च", "ไฟฉาย", "مصباح", "کشاف", "פנס", "ლამპა", "լապտեր", "ලාම්පුව"),
)


@pytest.mark.parametrize(
    ("words", "key"),
    [
        ("locked out", "locked_out"),
        ("full, cable in", "full_cable_in"),
        ("laptop port", "laptop_port"),
        ("verrouillé", "verrouille"),
        ("Standby", "standby"),
        ("!?", "u21_u3f"),
        ("  ", ""),
    ],
)
def test_a_key_is_what_it_always_was_of_plain_words(words: str, key: str) -> None:
    assert keys.key(words) == key


def test_words_of_any_script_become_keys_of_their_own() -> None:
    made = [keys.key(word) for word in WORDS]
    assert all(re.fullmatch(r"[a-z0-9_]+", key) for key in made)
    assert len(set(made)) == len(WORDS)
    assert keys.key("😀")


def test_letters_composed_or_not_are_the_same_letters() -> None:
    for form in ("NFC", "NFD"):
        assert keys.key(unicodedata.normalize(form, "verrouillé")) == "verrouille"


@given(st.text(max_size=400))
def test_a_key_is_short_and_plain_whatever_the_words(words: str) -> None:
    key = keys.key(words)
    assert re.fullmatch(r"(?:[a-z0-9]+(?:_[a-z0-9]+)*)?", key)
    assert len(key) <= keys.LONGEST
    assert len(keys.published_name(Path("/bench") / (words.replace("/", "") or "x"))) <= keys.LONGEST + 7


def test_long_words_that_differ_at_their_end_have_keys_of_their_own() -> None:
    one, other = "lamp " * 60 + "a", "lamp " * 60 + "b"
    assert keys.key(one) != keys.key(other)


def test_what_would_share_a_key_is_found_with_both_names() -> None:
    found = keys.doubles(["Veille", "locked", "veille", "vëille", "Locked"])
    assert found == [
        (2, "veille", "Veille", "veille"),
        (3, "vëille", "Veille", "veille"),
        (4, "Locked", "locked", "locked"),
    ]


def test_no_folder_is_named_as_a_device_of_windows() -> None:
    assert keys.published_name(Path("/bench/CON")) == "con-review"
    assert keys.published_name(Path("/bench/com1")) == "com1-review"
    assert keys.published_name(Path("/bench/console")) == "console"


@pytest.mark.parametrize("name", ["verrouillé", "待机", "🔒", "!?", "standby " * 40])
def test_a_state_of_any_name_has_tables_pictures_and_findings(name: str) -> None:
    values = yaml.safe_load((ALDER / "review.yaml").read_text(encoding="utf-8"))
    own = {one: values[one] for one in DrainInputs.model_fields if one in values}
    own["drain_states"] = [{**own["drain_states"][0], "name": name}]
    own["claims"] = []
    bench = drain.inputs(**own)
    assert drain.check(bench, ALDER) == []
    result = drain.analyse(bench, folder=ALDER)
    assert drain.datasets(result)
    assert figures.drain_pulses(result)
    assert f"drain.{keys.key(name)}.mean" in {item.key for item in drain.findings(result)}


@pytest.mark.parametrize(
    ("one", "other"), [("Standby", "standby"), ("verrouille", "verrouillé"), ("dengyi", "灯一")]
)
def test_names_that_share_a_key_are_refused_before_a_run_with_both(one: str, other: str) -> None:
    meter = {"accuracy": "±(1 % + 3)", "resolution": "1 uA"}
    states = [{"name": name, "reading_A": "80 uA"} for name in (one, other)]
    with pytest.raises(InputError, match=f"'{one}' and '{other}'"):
        drain.inputs(drain_ammeter=meter, drain_states=states)
    with pytest.raises(InputError, match=f"'{one}' and '{other}'"):
        ui_inputs(ui_signals={name: {"flashes": 4, "seconds": 8} for name in (one, other)})
    runs = [{"source": name, "voltage": "v.csv", "current": "i.csv"} for name in (one, other)]
    found = charge_check(charge_inputs(charge_runs=runs), Path())
    assert [fault for fault in found if f"'{one}' and '{other}'" in fault.message]


def test_marks_of_signs_alone_are_told_apart() -> None:
    shown = pd.Series(["☆", "☆", "★", "★", "★★", "★★"])
    volts = pd.Series([3.2, 3.3, 3.6, 3.7, 4.0, 4.1])
    still = pd.Series(0.0, index=volts.index)
    found = analysis.thresholds(shown, volts, noise_V=still, shared_V=still)
    assert [one.slug for one in found] == ["to", "to_2"]
