"""How long a full cell lasts in each state, its own loss included, beside that loss alone."""

from __future__ import annotations

import math

import pandas as pd

from reviewkit.drain import sentences, states
from reviewkit.drain.sentences import say
from reviewkit.drain.states import Drain, StateDrain
from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Absent, Chart
from reviewkit.figures.sheet import Sheet
from reviewkit.metrology import formatting


def drain_days(result: Drain) -> Chart | Absent:
    """Return a dot with its interval per state: days until a full cell is empty on the shelf, log scale.

    Examples
    --------
    >>> drain_days(drained).question
    'How long does a full cell last?'
    """
    known = [state for state in sentences.ordered(result.states) if _length(state)]
    if not known:
        return Absent(say("no_days_drawn"))
    slow, quick = (states.self_discharge_days(rate) for rate in result.bench.drain_self_discharge_percent)
    figure = Sheet()
    figure.settings(**sheet.layout(height=110 + 62 * len(known), margin={"l": 12, "r": 16, "t": 40, "b": 8}))
    longest = max(slow, *(_end(state) for state in known))
    top = math.ceil(2 * math.log10(longest)) / 2
    figure.settings(
        xaxis=sheet.axis(
            "days until a full cell is empty on the shelf, log scale",
            type="log",
            range=[0, top],
            tickvals=[1, 10, 100, 1000, 10_000, 100_000],
            ticktext=["1", "10", "100", "1000", "10 000", "100 000"],
        ),
        yaxis={"visible": False, "range": [-0.6, len(known) - 0.2]},
        hovermode="closest",
    )
    _yardstick(figure, quick, slow)
    for place, state in enumerate(reversed(known)):
        _dot(figure, place, state, 10**top)
    return Chart(
        key="drain-days",
        question="How long does a full cell last?",
        answer=_answer(result, known),
        figure=figure.checked(),
        table=_table(result),
        about=tuple(
            f"drain.{state.slug}.{name}" for state in known for name in ("days_on_shelf", "days_to_empty")
        ),
    )


def _length(state: StateDrain) -> float | None:
    days = state.on_shelf
    return days.value.value if days.value is not None else days.low


def _end(state: StateDrain) -> float:
    return state.on_shelf.high or _length(state) or 1.0


def _yardstick(figure: Sheet, quick: float, slow: float) -> None:
    marks.tint(figure, quick, slow, colour=sheet.see_through(sheet.CHARGE, 0.22))
    marks.band_name(figure, math.log10(math.sqrt(quick * slow)), "the cell alone", colour=sheet.CHARGE)


def _dot(figure: Sheet, place: int, state: StateDrain, most: float) -> None:
    """Draw a state's days with their interval; where only a bound is known, a line from there on."""
    days, length = state.on_shelf, _length(state) or 1.0
    known = days.value is not None
    low, high = (days.low or length) if known else length, days.high or (length if known else most)
    figure.curve(
        x=[length],
        y=[place],
        mode="markers",
        marker={
            "size": 11,
            "symbol": "circle" if known else "triangle-right",
            "color": sheet.CURRENT if known else sheet.PAPER,
            "line": {"color": sheet.CURRENT, "width": 2},
        },
        error_x={
            **{"type": "data", "symmetric": False, "array": [high - length], "arrayminus": [length - low]},
            **{"color": sheet.CURRENT, "thickness": 2.4, "width": 4 if known else 0},
        },
        hovertemplate=f"{marks.plain(state.name)}: {marks.plain(days.text)}<extra></extra>",
    )
    marks.row_label(figure, place + 0.2, f"{state.name}: {days.text}", colour=sheet.INK)


def _answer(result: Drain, known: list[StateDrain]) -> str:
    low, high = result.bench.drain_self_discharge_percent
    slow, quick = (states.self_discharge_days(rate) for rate in (low, high))
    return say(
        "days_answer",
        states=[
            say(
                "days_of",
                state=state.name,
                shelf=state.on_shelf.text,
                alone="" if sentences.outlasts(result.bench, state.to_empty) else state.to_empty.text,
            )
            for state in known
        ],
        quick=f"{formatting.number(quick, -1)} d",
        slow=f"{formatting.number(slow, -1)} d",
        low=f"{low:g}",
        high=f"{high:g}",
    )


def _table(result: Drain) -> pd.DataFrame:
    alone = f"by the drain alone to {result.bench.drain_level_percent:g} %", "by the drain alone to empty"
    return pd.DataFrame(
        [
            (
                *(state.name, sentences.mean_text(state)),
                *(days.text for days in (state.on_shelf, state.to_level, state.to_empty)),
            )
            for state in sentences.ordered(result.states)
        ],
        columns=["state", "mean drain", "on the shelf", *alone],
    )
