"""Findings of this section as sentences of the trade."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from reviewkit.metrology import formatting
from reviewkit.ui_states.changes import Change
from reviewkit.ui_states.evidence import Contradiction, Evidence, NotUndone, evidence
from reviewkit.ui_states.model import Machine, Transition
from reviewkit.ui_states.precautions import Precaution
from reviewkit.ui_states.reach import Hazard


def path(machine: Machine, hazard: Hazard) -> str:
    """Return a hazard as one sentence: "Left in …: this happens, then that; the light is on …"."""
    happens = ", then ".join(f"{step.event} (to {step.next})" for step in hazard.steps)
    way = f"Left in {hazard.leave_in}: {happens}" if happens else f"Left in {hazard.leave_in}, as it stands"
    return f"{way}; {outcome(machine, hazard)}."


def outcome(machine: Machine, hazard: Hazard) -> str:
    """Return what the hazard ends in: "the light is on at 100 % with no one there"."""
    end = machine.states[hazard.ends_in]
    return {
        "light comes on by itself": f"the light is on at {_percent(end.light_percent)} with no one there",
        "charging does not come back after power does": "power is back and the device does not charge",
        "charging never ends": "the charge is complete and the device goes on charging",
        "protection not recovered": "the lock is lost",
    }.get(hazard.hazard, f"{hazard.hazard}: it is in {hazard.ends_in} ({end.words})")


def _percent(value: float) -> str:
    return f"{value:g}{formatting.THIN}%"


def stopping(hazard: Hazard) -> str:
    """Return whether outside events end it, as a sentence."""
    if not hazard.stops_by:
        return "No outside event that was tried ends it."
    events = ", then ".join(step.event for step in hazard.stops_by)
    return f"The shortest way in which outside events end it: {events}."


def doing(do: Sequence[str]) -> str:
    """Return hand actions in order: "3 clicks, then cable in"."""
    return ", then ".join(do)


def precaution(item: Precaution) -> str:
    """Return a precaution with its proof, as a sentence."""
    ends = formatting.listed(item.ends_in, last="or")
    proof = (
        f"no outside event that was tried leads out of {ends}"
        if set(item.reachable) == set(item.ends_in)
        else f"outside events then lead to {formatting.listed(item.reachable)} only, none of them a hazard"
    )
    gives_up = " It does not charge then." if item.gives_up_charging else ""
    return f"Before leaving it in {item.leave_in}: {doing(item.do)} (to {ends}); {proof}.{gives_up}"


def helpless(left: str) -> str:
    """Return that nothing tried makes a state safe to leave, as a sentence."""
    return f"For {left} no hand action that was tried removes every hazard."


def change(item: Change) -> str:
    """Return a change of behaviour and what it removes, as a sentence."""
    total = len(item.removes) + item.remains
    left = "no hazard is left" if not item.remains else f"{len(item.removes)} of {total} hazards go"
    return f"In {item.state}, on {item.event}: go to {item.instead} instead of {item.now}; {left}."


def trials(item: Transition) -> str:
    """Return how often an outcome was seen, and how often something else may happen."""
    return _trials(evidence(item))


def _trials(found: Evidence) -> str:
    item = found.transition
    if found.otherwise is None:
        return "trials not counted"
    if item.seen == 0:
        return f"0 of {item.tried}: it may still happen in up to {_percent(round(found.high or 0))} of tries"
    if item.seen == item.tried:
        return (
            f"{item.seen} of {item.tried}: something else may still happen in up to "
            f"{_percent(round(found.otherwise))} of tries"
        )
    span = f"{found.low:.0f} to {found.high:.0f}{formatting.THIN}%"
    return f"{item.seen} of {item.tried}: {span} of tries"


def contradiction(item: Contradiction) -> str:
    """Return a contradiction as a sentence."""
    ways = formatting.listed(
        f"{way.next} ({way.seen if way.seen is not None else '?'} times)" for way in item.outcomes
    )
    return (
        f"{item.event} in {item.state} led to {ways}; both are followed. If it depends on what came before, "
        "make it two states."
    )


def undone(item: NotUndone) -> str:
    """Return what the device does not take back, as a sentence."""
    return f"{item.state}: after {item.there.event} and {item.back.event} it is in {item.back.next}."


def pairs(items: Iterable[tuple[str, str]], most: int = 6) -> str:
    """Return (state, event) pairs in words, cut after some."""
    listed = [f"{event} in {state}" for state, event in items]
    more = len(listed) - most
    return formatting.listed(listed) if more <= 0 else f"{', '.join(listed[:most])} and {more} more"


def at(seconds: float) -> str:
    """Return a moment of the video as it is typed into a player: "3:12" or "1:02:03"."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
