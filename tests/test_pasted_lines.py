"""Every line that a refusal proposes opens the log or meets another refusal; where there is none: why.

A line begins with the key that the log stands under, and can be pasted in the place of that key's line.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import faults
import pytest
import writers
import yaml
from writers.more_styles import MORE
from writers.odd_styles import ODD

from reviewkit import commands, logs
from reviewkit.errors import InputError

LINE = re.compile(r"\{path: [^}]*\}")
_MOST_PASTES = 6

WHY_NONE = {
    "the file itself is damaged, empty, locked or of another kind: it has to be exported again": (
        r"the file is empty|holds NUL bytes|damaged|is a (?:picture|PDF|web page|packed|JSON)"
        r"|old XLS workbook|a line is longer|workbook is (?:empty|larger)"
        r"|cannot be read \(|holds 100000000 rows"
    ),
    "there is no such file, or it may not be read": (
        r"there is no such file|the link leads|no file but a device|is a folder"
    ),
    "there is no table in it": r"no table of times and readings",
    "no column of it is what is asked for: it is another log, or one exported without it": (
        r"No column here can be the time|Check which log stands where|holds mostly words|look exchanged"
        r"|no column is headed as the current.*(?:Power \(W\)|A AC)"
    ),
    "what is spelled can mean two numbers, and which is known to the meter alone": (
        r"commas may be decimal marks|decimal point and some a comma|may be 1200, or 1\.200"
    ),
    "the times are not there, stand still, run backwards or are of no calendar": (
        r"the times do not advance|newest row comes first|time runs backwards|clock was not set|is no date"
    ),
    "the meter saw nothing, or too little": r"beyond the meter's range|only \d+ readings?;",
    "it contradicts what the review file says of the meter or the cell, and either may be wrong": (
        r"is beyond the meter’s range|no voltage of a lithium-ion cell"
    ),
    "it is another charge than the other log, or holds two": (
        r"more than one charge|readings for only 0 % of the time"
    ),
}


def pasted(node: Any, entry: dict[str, Any]) -> Any:
    """Return a review with an entry wherever the log of its path is named."""
    if isinstance(node, dict):
        if node.get("path") == entry["path"]:
            return entry
        return {key: pasted(one, entry) for key, one in node.items()}
    if isinstance(node, list):
        return [pasted(one, entry) for one in node]
    return entry if node == entry["path"] else node


def after(folder: Path, line: str) -> list[str]:
    """Return what `check` says once a line was pasted; the review file stays pasted."""
    place = folder / "review.yaml"
    review = yaml.safe_load(place.read_text(encoding="utf-8"))
    changed = pasted(review, yaml.safe_load(line))
    assert changed != review, f"the line changes nothing: {line}"
    place.write_text(yaml.safe_dump(changed, allow_unicode=True, sort_keys=False), encoding="utf-8")
    return [fault.message for fault in commands.check(folder)]


LOGS = [
    entry
    for entry in faults.REFUSED
    if any(message.startswith("logs/") and not entry.name.startswith("review") for message in entry.messages)
]


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return faults.write(tmp_path_factory.mktemp("good") / "hazel")


@pytest.mark.parametrize("entry", LOGS, ids=lambda entry: entry.name)
def test_each_proposed_line_opens_the_log_or_meets_another_refusal(
    entry: faults.Refused, good: Path, tmp_path: Path
) -> None:
    """The first line of each message is followed to its end, every other one step far."""
    if reason := entry.needs():
        pytest.skip(reason)
    for at, message in enumerate(entry.messages):
        lines = LINE.findall(message)
        if not lines:
            continue
        for number, line in enumerate(lines):
            hazel = Path(shutil.copytree(good, tmp_path / f"{at}-{number}" / "hazel"))
            entry.damage(hazel)
            said = after(hazel, line)
            assert message not in said, line
            seen = {message}
            for _ in range(_MOST_PASTES):
                own = [one for one in said if one.startswith(message.split(":")[0].split(",")[0])]
                more = [one for one in own if LINE.search(one)]
                if number or not more:
                    break
                assert more[0] not in seen, "the same refusal again"
                seen.add(more[0])
                said = after(hazel, LINE.findall(more[0])[0])
            else:
                pytest.fail(f"no end of it: {seen}")


@pytest.mark.parametrize("entry", LOGS, ids=lambda entry: entry.name)
def test_a_refusal_without_a_line_is_one_that_none_can_mend(entry: faults.Refused) -> None:
    for message in entry.messages:
        if message.startswith("logs/") and not LINE.search(message):
            why = [reason for reason, pattern in WHY_NONE.items() if re.search(pattern, message)]
            assert len(why) == 1, (message, why)


def refusal(entry: Any, unit: Any, folder: Path) -> str:
    try:
        logs.read(entry, unit, folder=folder)
    except InputError as fault:
        return fault.message
    return ""


@pytest.mark.parametrize("style", [*writers.STYLES, *MORE, *ODD], ids=lambda style: style.name)
def test_every_line_that_a_style_is_refused_with_leads_on(style: writers.Style, tmp_path: Path) -> None:
    """Not the first line alone, which the styles' own test follows, but each that a message holds."""
    t = writers.truth(style.interval_s)
    place = tmp_path / f"log{style.suffix}"
    place.write_bytes(style.write(t))
    for quantity in style.holds:
        unit = {"V": "V", "A": "A", "T": "degC"}[quantity]
        entry: Any = {"path": place.name, **style.told} if style.told else place.name
        message = refusal(entry, unit, tmp_path)
        lines = LINE.findall(message)
        assert lines or not message, message
        for line in lines:
            assert refusal(yaml.safe_load(line), unit, tmp_path) != message, line


# ---------------------------------------------------------------- pasted as it stands, under every key

METERS = {"accuracy": "0.5 % + 2", "resolution": "1 mV"}, {"accuracy": "1 % + 3", "resolution": "1 µA"}
KEYS = {
    "V": ("voltage", "source_voltage"),
    "A": ("current", "source_current", "log"),
}
WHOLE_LINE = re.compile(r"write into the review file: ((\w+): \{path: [^}]*\})\.")


def folder_of(key: str, name: str, data: bytes, folder: Path) -> Path:
    """A review in which a log stands under a key by its bare path, each key on a line of its own."""
    (folder / "logs").mkdir(parents=True)
    (folder / "logs" / name).write_bytes(data)
    good = "time (s),value\n" + "\n".join(f"{5 * row},{3.6 + row / 4000:.3f}" for row in range(800))
    for other, heading in (("voltage", "Voltage (V)"), ("current", "Current (A)")):
        text = good.replace("value", heading, 1)
        (folder / "logs" / f"good-{other}.csv").write_text(text + "\n", encoding="utf-8")
    lines = {"voltage": "logs/good-voltage.csv", "current": "logs/good-current.csv", key: f"logs/{name}"}
    run = [f"{one}: {path}" for one, path in lines.items()]
    if key == "log":
        entries = ["drain_states:", "  - name: standby", f"    log: logs/{name}"]
    else:
        entries = ["charge_runs:", "  - source: supply", *(f"    {line}" for line in run)]
    meters = [
        f"{kind}meter: {yaml.safe_dump(block, default_flow_style=True, allow_unicode=True).strip()}"
        for kinds, block in zip((("volt", "source_volt"), ("am", "source_am")), METERS, strict=True)
        for kind in kinds
    ]
    text = "\n".join(["device: {name: Lamp}", "review: {edition: 0}", *meters, *entries]) + "\n"
    (folder / "review.yaml").write_text(text, encoding="utf-8")
    return folder


def refusals(folder: Path, name: str) -> list[str]:
    """What `check` says of one log that proposes a line, or says that it can't be read."""
    told = [fault.message for fault in commands.check(folder)]
    return [message for message in told if message.startswith(f"logs/{name}")]


BARE_REFUSED = [
    (style, quantity, key)
    for style in (*writers.STYLES, *MORE, *ODD)
    for quantity in style.holds
    for key in KEYS.get(quantity, ())
]


@pytest.mark.parametrize("quantity", list(KEYS))
def test_a_whole_line_pasted_as_it_stands_opens_the_log_under_every_key(
    quantity: str, tmp_path: Path, record_property: Any
) -> None:
    pasted_lines = refused = 0
    for number, (style, held, key) in enumerate(BARE_REFUSED):
        if held != quantity:
            continue
        name = f"log{style.suffix}"
        data = style.write(writers.truth(style.interval_s))
        # What opens by its bare path needs no review to be shown to.
        (tmp_path / f"{number}{style.suffix}").write_bytes(data)
        if not refusal(f"{number}{style.suffix}", quantity, tmp_path):
            continue
        folder = folder_of(key, name, data, tmp_path / str(number))
        refused += 1
        for _ in range(_MOST_PASTES):
            told = refusals(folder, name)
            lines = [found for message in told for found in WHOLE_LINE.findall(message)]
            if not lines:
                break
            line, of = lines[0]
            assert of == key, (style.name, key, line)
            text = (folder / "review.yaml").read_text(encoding="utf-8")
            text, replaced = re.subn(rf"(?m)^    {key}: .*$", lambda _, line=line: f"    {line}", text)
            assert replaced == 1
            (folder / "review.yaml").write_text(text, encoding="utf-8")
            pasted_lines += 1
        assert not any("write into the review file" in message for message in told), (style.name, told)
        unread = [message for message in told if "column" in message or "unit" in message]
        assert not unread, (style.name, key, unread)
    record_property("figure", f"{refused} bare logs refused, {pasted_lines} lines pasted")
    assert refused


def test_a_temperature_is_proposed_under_its_own_key(tmp_path: Path) -> None:
    rows = "\n".join(f"{5 * row},{20 + row / 100:.2f},{21 + row / 90:.2f}" for row in range(800))
    data = f"time (s),Probe 1 (°C),Probe 2 (°C)\n{rows}\n".encode()
    folder = folder_of("temperature", "warm.csv", data, tmp_path / "lamp")
    (message,) = refusals(folder, "warm.csv")
    ((line, _),) = WHOLE_LINE.findall(message)
    assert line == 'temperature: {path: logs/warm.csv, value: "Probe 1 (°C)"}'
    text = (folder / "review.yaml").read_text(encoding="utf-8")
    (folder / "review.yaml").write_text(text.replace("temperature: logs/warm.csv", line), encoding="utf-8")
    assert refusals(folder, "warm.csv") == []
