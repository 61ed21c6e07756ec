"""Every line that a refusal proposes opens the log or meets another refusal; where there is none: why."""

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
