"""What this section lists beside its findings: precautions, changes, trials, signals, a note to the maker."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from reviewkit.findings.displays import Answer, ExtraPage, plain
from reviewkit.metrology import formatting
from reviewkit.tables import csv_table
from reviewkit.ui_states import signals
from reviewkit.ui_states.analysis import Assessment, NothingObserved
from reviewkit.ui_states.evidence import evidence
from reviewkit.ui_states.model import Transition
from reviewkit.ui_states.reach import Hazard
from reviewkit.ui_states.report import precaution_sentences, say


@dataclass(frozen=True)
class Sentences:
    """A list of sentences.

    Parameters
    ----------
    otherwise : str
        Shown where there are none.
    """

    items: tuple[str, ...]
    otherwise: str
    numbered: bool = False

    def _repr_mimebundle_(self, **_: Any) -> dict[str, str]:
        shown = self.items or (self.otherwise,)
        marks = [f"{place}." if self.numbered else "-" for place in range(1, len(shown) + 1)]
        listed = (f"{mark} {plain(item)}" for mark, item in zip(marks, shown, strict=True))
        return {
            "text/markdown": "\n".join(listed) if self.items else plain(self.otherwise),
            "text/plain": "\n".join(shown),
        }


def _nothing() -> Sentences:
    return Sentences((), say("nothing"))


def precaution_list(result: Assessment | NothingObserved) -> Sentences:
    """Return what to do before leaving the device, and why that is enough.

    Examples
    --------
    >>> precaution_list(result).items[0]
    'Changing the cell removes the lock. Lock it again after every change (turn the ring).'
    """
    if isinstance(result, NothingObserved):
        return _nothing()
    return Sentences(tuple(precaution_sentences(result)), say("none_needed"))


def change_list(result: Assessment | NothingObserved) -> Sentences:
    """Return the one change of behaviour to ask the maker for.

    Examples
    --------
    >>> change_list(result).items[0]
    'In locked, on cell changed by someone else: go to locked instead of standby; no hazard is left.'
    """
    if isinstance(result, NothingObserved):
        return _nothing()
    otherwise = say("no_change", hazards=bool(result.hazards))
    return Sentences(tuple(say("change", item=item) for item in result.changes), otherwise)


def trial_list(result: Assessment | NothingObserved) -> Sentences:
    """Return the walk through all trials still to make.

    Examples
    --------
    >>> trial_list(result).items[0]
    'In standby: cable in, to get to charging.'
    """
    if isinstance(result, NothingObserved):
        return _nothing()
    steps = tuple(say("step", item=item) for item in result.plan.steps)
    return Sentences(steps, say("nothing_left"), numbered=True)


def signal_table(result: Assessment | NothingObserved) -> Answer:
    """Return every signal: where it shows, how fast it flashes, whether it is too fast for a film.

    Examples
    --------
    >>> signal_table(result).columns
    ('shows', 'in', 'flash rate', 'more than three in a second')
    """
    if isinstance(result, NothingObserved):
        return Answer((say("nothing"),))
    states = result.machine.states.values()
    rows = [
        (
            shows,
            formatting.listed(state.name for state in states if state.shows == shows),
            *_rate(result.signals.get(shows)),
        )
        for shows in dict.fromkeys(state.shows for state in states if state.shows)
    ]
    if not rows:
        return Answer((say("no_signal"),))
    return Answer((), ("shows", "in", "flash rate", "more than three in a second"), tuple(rows))


def _rate(signal: signals.Signal | None) -> tuple[str, str]:
    if signal is None:
        return "not counted", "not counted"
    fast = signals.flashes_too_fast(signal)
    if not signal.regular:
        return say("not_alike"), fast
    if signal.rate is None:
        return "not counted", fast
    return formatting.quantity(signal.rate.value, signal.rate.expanded, "Hz"), fast


def note_to_maker(result: Assessment | NothingObserved) -> ExtraPage | None:
    """Return a page for the maker: each hazard with its steps, trials, expected behaviour and severity.

    None where nothing was observed: there is nothing to write.

    Examples
    --------
    >>> note_to_maker(result).name
    'note-to-the-maker'
    """
    if isinstance(result, NothingObserved):
        return None
    device = str(result.device.get("name") or "the device")
    return ExtraPage(
        name="note-to-the-maker",
        title=say("note_title", device=device),
        markdown="\n\n".join(_paragraphs(result, device)) + "\n",
    )


def _paragraphs(result: Assessment, device: str) -> Iterator[str]:
    details = [f"{name} {result.device[name]}" for name in ("firmware", "serial") if result.device.get(name)]
    size = {"states": len(result.machine.states), "outcomes": len(result.machine.edges)}
    kinds = _grouped(result.hazards)
    yield _plain("note_opening", device=device, details=details, kinds=len(kinds), **size)
    if not kinds:
        yield _plain("note_none")
    for place, group in enumerate(kinds, start=1):
        yield f"## {place}. {plain(group[0].hazard).capitalize()}"
        yield from _one(result, group)
    if result.changes:
        yield "## What would help"
        yield from (f"- {_plain('note_change', item=item)}" for item in result.changes)
    if result.ambiguous or result.silent_errors:
        yield "## Signals"
    yield from (f"- {_plain('note_ambiguous', item=item)}" for item in result.ambiguous)
    yield from (f"- {_plain('note_silent', name=name)}" for name in result.silent_errors)
    yield "## What was not tried"
    yield _plain("note_untested", items=result.coverage.untested)
    yield _plain("note_end")


def _plain(name: str, /, **values: Any) -> str:
    return plain(say(name, **values))


def _grouped(hazards: Iterable[Hazard]) -> list[list[Hazard]]:
    """Return the hazards by kind, gravest first."""
    kinds: dict[str, list[Hazard]] = {}
    for item in hazards:
        kinds.setdefault(item.hazard, []).append(item)
    return list(kinds.values())


def _one(result: Assessment, group: list[Hazard]) -> Iterator[str]:
    item, end = group[0], result.machine.states[group[0].ends_in]
    yield "Steps to reproduce:"
    steps = [_plain("note_left", state=item.leave_in), *(_step(step) for step in item.steps)]
    yield "\n".join(f"{place}. {line}" for place, line in enumerate(steps, start=1))
    yield _plain("note_happens", hazard=item, end=end)
    yield _plain("note_expected", hazard=item)
    yield _plain("note_severity", hazard=item, end=end)
    others = dict.fromkeys(other.leave_in for other in group if other.leave_in != item.leave_in)
    if others:
        yield _plain("note_others", names=list(others))


def _step(step: Transition) -> str:
    shown = "" if step.video_s is None else csv_table.stamp(step.video_s)
    return _plain("note_step", step=step, found=evidence(step), shown=shown)
