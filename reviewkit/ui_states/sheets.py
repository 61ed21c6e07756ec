"""Lists of this section as tables for a reader: precautions, trials, signals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from reviewkit import wording
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


_NOTHING = "No states and transitions were recorded."


def _sheet(columns: str, rows: Sequence[tuple[str, ...]], otherwise: str) -> Sheet:
    return Sheet(tuple(columns.split(" | ")), tuple(rows), otherwise)


def precaution_table(result: Assessment | NothingObserved) -> Sheet:
    """Return what to do before leaving the device, and why that is enough."""
    columns = "left in | do first | it is then in | outside events then lead to"
    if isinstance(result, NothingObserved):
        return _sheet(columns, (), _NOTHING)
    rows = [
        (
            item.leave_in,
            words.doing(item.do),
            wording.listed(item.ends_in, "or"),
            wording.listed(item.reachable),
        )
        for item in result.precautions
    ]
    helped = {item.leave_in for item in result.precautions}
    rows += [
        (left, "nothing that was tried helps", "", "")
        for left in dict.fromkeys(item.leave_in for item in result.hazards)
        if left not in helped
    ]
    return _sheet(columns, rows, "No precaution is needed: no hazard was found.")


def change_table(result: Assessment | NothingObserved) -> Sheet:
    """Return the one change of behaviour to ask the maker for."""
    columns = "in | when this happens | it goes to | it should go to | hazards removed"
    if isinstance(result, NothingObserved):
        return _sheet(columns, (), _NOTHING)
    rows = [
        (
            item.state,
            item.event,
            item.now,
            item.instead,
            f"{len(item.removes)} of {len(item.removes) + item.remains}",
        )
        for item in result.changes
    ]
    otherwise = "No single change removes a hazard." if result.hazards else "None is needed."
    return _sheet(columns, rows, otherwise)


def trial_table(result: Assessment | NothingObserved) -> Sheet:
    """Return the walk through all trials still to make."""
    columns = "step | in | bring about | why"
    if isinstance(result, NothingObserved):
        return _sheet(columns, (), _NOTHING)
    rows = [
        (str(place), step.state, step.event, "trial" if step.trial else f"to get to {step.to}")
        for place, step in enumerate(result.plan.steps, start=1)
    ]
    return _sheet(columns, rows, "Nothing is left to try.")


def signal_table(result: Assessment | NothingObserved) -> Sheet:
    """Return every signal: where it shows, how fast it flashes, whether it is too fast for a film."""
    columns = "shows | in | flash rate | more than three flashes in a second"
    if isinstance(result, NothingObserved):
        return _sheet(columns, (), _NOTHING)
    states = result.machine.states.values()
    rows = [
        (
            shows,
            wording.listed(state.name for state in states if state.shows == shows),
            *_rate(result.signals.get(shows)),
        )
        for shows in dict.fromkeys(state.shows for state in states if state.shows)
    ]
    return _sheet(columns, rows, "No state shows a signal.")


def _rate(signal: signals.Signal | None) -> tuple[str, str]:
    if signal is None:
        return "not counted", "not counted"
    if not signal.regular:
        return "flashes not alike: no one rate", signals.flashes_too_fast(signal)
    if signal.rate is None:
        return "not counted", signals.flashes_too_fast(signal)
    shown = wording.quantity(signal.rate.value, signal.rate.expanded, "Hz")
    return shown, signals.flashes_too_fast(signal)
