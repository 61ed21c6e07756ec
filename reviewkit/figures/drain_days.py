"""How long a full cell lasts in each state, beside the cell's own self-discharge."""

from __future__ import annotations

import math

import pandas as pd

from reviewkit.drain import sentences, storage
from reviewkit.drain.state import StateDrain
from reviewkit.drain.states import Drain
from reviewkit.figures import marks, theme
from reviewkit.figures.absent import Absent
from reviewkit.figures.chart import Chart
from reviewkit.figures.sheet import Sheet
from reviewkit.metrology import formatting


def drain_days(result: Drain) -> Chart | Absent:
    """Return a bar per state, in days until a full cell is empty, on a log scale."""
    told = [state for state in sentences.ordered(result.states) if _length(state)]
    if not told:
        return Absent("No state has a drain and the cell a rated capacity from which days follow.")
    slow, quick = (storage.self_discharge_days(rate) for rate in result.bench.drain_self_discharge_percent)
    figure = Sheet()
    figure.settings(**theme.layout(height=110 + 62 * len(told), margin={"l": 12, "r": 16, "t": 40, "b": 8}))
    longest = max(slow, *(_end(state) for state in told))
    figure.settings(
        xaxis=theme.axis(
            "days until a full cell is empty, log scale",
            type="log",
            range=[0, math.ceil(2 * math.log10(longest)) / 2],
            tickvals=[1, 10, 100, 1000, 10_000, 100_000],
            ticktext=["1", "10", "100", "1000", "10 000", "100 000"],
        ),
        yaxis={"visible": False, "range": [-0.6, len(told) - 0.2]},
        bargap=0.5,
        hovermode="closest",
    )
    _yardstick(figure, quick, slow)
    for place, state in enumerate(reversed(told)):
        _bar(figure, place, state)
    return Chart(
        key="drain-days",
        question="How long does a full cell last?",
        answer=_answer(result, told),
        figure=figure.checked(),
        table=_table(result),
        about=tuple(f"drain.{state.slug}.days_to_empty" for state in told),
    )


def _length(state: StateDrain) -> float | None:
    days = state.to_empty
    return days.value.value if days.value is not None else days.low


def _end(state: StateDrain) -> float:
    return state.to_empty.high or _length(state) or 1.0


def _yardstick(figure: Sheet, quick: float, slow: float) -> None:
    marks.tint(figure, quick, slow, colour=theme.see_through(theme.CHARGE, 0.22))
    figure.text(
        text="the cell alone",
        showarrow=False,
        font={"size": marks.SMALL, "color": theme.CHARGE},
        **{"x": math.log10(math.sqrt(quick * slow)), "xanchor": "center"},
        **{"yref": "paper", "y": 1, "yanchor": "bottom", "yshift": 4},
    )


def _bar(figure: Sheet, place: int, state: StateDrain) -> None:
    length = _length(state) or 1.0
    days = state.to_empty
    known = days.value is not None
    error = None
    if known and days.low is not None and days.high is not None:
        error = {
            "type": "data",
            "array": [days.high - length],
            "arrayminus": [length - days.low],
            "symmetric": False,
            "color": theme.INK,
            "thickness": 1.4,
        }
    colour = theme.see_through(theme.CURRENT, 0.85 if known else 0.3)
    figure.curve(
        type="bar",
        x=[length],
        y=[place],
        orientation="h",
        width=0.34,
        marker={"color": colour, "line": {"color": theme.CURRENT, "width": 1}},
        error_x=error,
        hovertemplate=f"{marks.plain(state.name)}: {marks.plain(days.text)}<extra></extra>",
    )
    marks.label(figure, 0, place + 0.17, f"{state.name}: {days.text}", colour=theme.INK)


def _answer(result: Drain, told: list[StateDrain]) -> str:
    parts = [f"“{state.name}” {state.to_empty.text}" for state in told]
    low, high = result.bench.drain_self_discharge_percent
    slow, quick = (storage.self_discharge_days(rate) for rate in (low, high))
    return (
        f"Until a full cell is empty, by the drain alone: {formatting.listed(parts)}. The cell alone takes "
        f"{formatting.number(quick, -1)} d to {formatting.number(slow, -1)} d "
        f"at {low:g} % to {high:g} % a month."
    )


def _table(result: Drain) -> pd.DataFrame:
    level = f"days to {result.bench.drain_level_percent:g} %"
    return pd.DataFrame(
        [
            (state.name, sentences.mean_text(state), state.to_level.text, state.to_empty.text)
            for state in sentences.ordered(result.states)
        ],
        columns=["state", "mean drain", level, "days to empty"],
    )
