"""A page for the maker, written from the findings: what happens, how to see it, what to change."""

from __future__ import annotations

from collections.abc import Iterator

from reviewkit.findings.extra_page import Leaflet, plain
from reviewkit.metrology import formatting
from reviewkit.ui_states import words
from reviewkit.ui_states.assess import Assessment
from reviewkit.ui_states.reach import Hazard


def note(result: Assessment) -> Leaflet:
    """Return the page: each hazard with its steps, trials, expected behaviour and severity."""
    device = str(result.device.get("name") or "the device")
    return Leaflet(
        name="note-to-the-maker",
        title=f"Note to the maker of {device}",
        markdown="\n\n".join(_paragraphs(result)) + "\n",
    )


def _paragraphs(result: Assessment) -> Iterator[str]:
    yield _opening(result)
    if not result.hazards:
        yield "No sequence of outside events that was tried led to a hazard."
    for place, group in enumerate(_grouped(result.hazards), start=1):
        yield f"## {place}. {plain(group[0].hazard).capitalize()}"
        yield from _one(result, group)
    if result.changes:
        yield "## What would help"
        yield from (f"- {line}" for line in _changes(result))
    yield from _signals(result)
    yield "## What was not tried"
    yield (
        plain(words.pairs(result.coverage.untested)).capitalize() + "."
        if result.coverage.untested
        else ("Every event was tried in every state where it can occur.")
    )
    yield (
        "These are observations of one sample on one bench. They certify nothing; the raw table is published "
        "with the review. Corrections are welcome and will be published with the next edition."
    )


def _opening(result: Assessment) -> str:
    device = plain(str(result.device.get("name") or "the device"))
    details = [
        f"{name} {plain(str(result.device[name]))}"
        for name in ("firmware", "serial")
        if result.device.get(name)
    ]
    sample = f" ({', '.join(details)})" if details else ""
    kinds = len(_grouped(result.hazards))
    return (
        f"While reviewing {device}{sample} we recorded {len(result.machine.states)} states and "
        f"{len(result.machine.edges)} outcomes of events, and asked what outside events alone can "
        f"bring about after a person has walked away. {_count(kinds)}"
    )


def _count(kinds: int) -> str:
    if not kinds:
        return "No hazard was found."
    return "One kind of hazard was found." if kinds == 1 else f"{kinds} kinds of hazard were found."


def _grouped(hazards: tuple[Hazard, ...]) -> list[list[Hazard]]:
    """Return the hazards by kind, gravest first."""
    kinds: dict[str, list[Hazard]] = {}
    for item in hazards:
        kinds.setdefault(item.hazard, []).append(item)
    return list(kinds.values())


def _one(result: Assessment, group: list[Hazard]) -> Iterator[str]:
    item = group[0]
    yield "Steps to reproduce:"
    lines = [f"1. Leave it in “{plain(item.leave_in)}”."]
    for place, step in enumerate(item.steps, start=2):
        shown = f" Video: {words.at(step.video_s)}." if step.video_s is not None else ""
        remark = f" Remark: {plain(step.remark)}." if step.remark else ""
        lines.append(
            f"{place}. Event: {plain(step.event)}. It goes to “{plain(step.next)}” "
            f"({plain(words.trials(step))}).{remark}{shown}"
        )
    yield "\n".join(lines)
    yield f"What happens: {plain(words.outcome(result.machine, item))}."
    yield f"Expected: {_expected(item)}"
    yield f"Severity: {_severity(result, item)}"
    others = dict.fromkeys(other.leave_in for other in group if other.leave_in != item.leave_in)
    if others:
        yield f"The same follows when it is left in {plain(formatting.listed(others, last='or'))}."


_EXPECTED = {
    "light comes on by itself": "the light stays off until a person switches it on.",
    "charging does not come back after power does": "it charges again when power is back, as before.",
    "charging never ends": "it stops charging when the charge is complete.",
    "protection not recovered": "a locked lamp stays locked until a person unlocks it.",
}


def _expected(item: Hazard) -> str:
    return _EXPECTED.get(item.hazard, "outside events alone do not lead there.")


_SEVERITY = {
    "charging does not come back after power does": "the device is not charged when it is needed, and no "
    "one is told.",
    "charging never ends": "a full cell is kept on charge.",
    "protection not recovered": "whatever the lock keeps from happening can happen again.",
}


def _severity(result: Assessment, item: Hazard) -> str:
    stops = plain(words.stopping(item))
    if item.hazard in _SEVERITY:
        return f"{_SEVERITY[item.hazard]} {stops}"
    if item.light_percent:
        return f"light at {item.light_percent:g} % in a place where no one sees it. {stops}"
    return f"{plain(result.machine.states[item.ends_in].words)}. {stops}"


def _changes(result: Assessment) -> Iterator[str]:
    for item in result.changes:
        left = "no hazard is left" if not item.remains else f"{item.remains} of the hazards found are left"
        yield (
            f"In “{plain(item.state)}”, on {plain(item.event)}: go to “{plain(item.instead)}” instead of "
            f"“{plain(item.now)}”; {left}."
        )


def _signals(result: Assessment) -> Iterator[str]:
    if result.ambiguous or result.silent_errors:
        yield "## Signals"
    for item in result.ambiguous:
        one, other = item.states
        shown = plain(item.shows[0])
        yield f"- “{plain(one)}” and “{plain(other)}” can’t be told apart: {item.why} (“{shown}”)."
    for name in result.silent_errors:
        yield f"- “{plain(name)}” is a fault that nothing shows."
