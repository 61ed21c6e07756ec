"""What this section lists for a reader: precautions, changes, trials, signals."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import Any

from reviewkit.findings.extra_page import plain
from reviewkit.metrology import formatting
from reviewkit.ui_states import signals, words
from reviewkit.ui_states.assess import Assessment, NothingObserved


@dataclass(frozen=True)
class Sheet:
    """A small table, or a sentence where it would be empty.

    Parameters
    ----------
    columns : tuple of str
    rows : tuple of tuple of str
    otherwise : str
        Shown where there are no rows.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    otherwise: str

    def _repr_mimebundle_(self, **_: Any) -> dict[str, str]:
        if not self.rows:
            return {"text/html": f"<p>{escape(self.otherwise)}</p>", "text/plain": self.otherwise}
        head = "".join(f'<th scope="col">{escape(name)}</th>' for name in self.columns)
        body = "".join(
            "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in self.rows
        )
        text = "\n".join(" | ".join(row) for row in (self.columns, *self.rows))
        return {
            "text/html": f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>",
            "text/plain": text,
        }


@dataclass(frozen=True)
class Sentences:
    """A list of sentences.

    Parameters
    ----------
    items : tuple of str
    otherwise : str
        Shown where there are none.
    numbered : bool
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


_NOTHING = "No states and transitions were recorded."


def precaution_list(result: Assessment | NothingObserved) -> Sentences:
    """Return what to do before leaving the device, and why that is enough."""
    if isinstance(result, NothingObserved):
        return Sentences((), _NOTHING)
    items = [words.precaution(item) for item in result.precautions]
    items += [words.helpless(left) for left in result.helpless]
    return Sentences(tuple(items), "No precaution is needed: no hazard was found.")


def change_list(result: Assessment | NothingObserved) -> Sentences:
    """Return the one change of behaviour to ask the maker for."""
    if isinstance(result, NothingObserved):
        return Sentences((), _NOTHING)
    otherwise = "No single change removes a hazard." if result.hazards else "None is needed."
    return Sentences(tuple(words.change(item) for item in result.changes), otherwise)


def trial_list(result: Assessment | NothingObserved) -> Sentences:
    """Return the walk through all trials still to make."""
    if isinstance(result, NothingObserved):
        return Sentences((), _NOTHING)
    items = [
        f"In {step.state}: {step.event} — the trial."
        if step.trial
        else f"In {step.state}: {step.event}, to get to {step.to}."
        for step in result.plan.steps
    ]
    return Sentences(tuple(items), "Nothing is left to try.", numbered=True)


def signal_table(result: Assessment | NothingObserved) -> Sheet:
    """Return every signal: where it shows, how fast it flashes, whether it is too fast for a film."""
    columns = ("shows", "in", "flash rate", "more than three in a second")
    if isinstance(result, NothingObserved):
        return Sheet(columns, (), _NOTHING)
    states = result.machine.states.values()
    rows = [
        (
            shows,
            formatting.listed(state.name for state in states if state.shows == shows),
            *_rate(result.signals.get(shows)),
        )
        for shows in dict.fromkeys(state.shows for state in states if state.shows)
    ]
    return Sheet(columns, tuple(rows), "No state shows a signal.")


def _rate(signal: signals.Signal | None) -> tuple[str, str]:
    if signal is None:
        return "not counted", "not counted"
    if not signal.regular:
        return "flashes not alike: no one rate", signals.flashes_too_fast(signal)
    if signal.rate is None:
        return "not counted", signals.flashes_too_fast(signal)
    shown = formatting.quantity(signal.rate.value, signal.rate.expanded, "Hz")
    return shown, signals.flashes_too_fast(signal)
