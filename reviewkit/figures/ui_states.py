"""The states of a user interface drawn: what leads where with no one there, and which way is a hazard."""

from __future__ import annotations

import textwrap
from typing import Any

import pandas as pd

from reviewkit.figures import sheet
from reviewkit.figures.chart import Absent, Chart
from reviewkit.figures.marks import plain
from reviewkit.figures.sheet import Sheet
from reviewkit.findings import sentences
from reviewkit.ui_states import layout
from reviewkit.ui_states.analysis import Assessment, NothingObserved
from reviewkit.ui_states.layout import HALF_HEIGHT, HALF_WIDTH, WIDTH, Drawing, Line, Node, Point

KEY_LINE = 17
"""Height of one line of the key [px]."""

say = sentences.of("ui_states")


def state_graph(result: Assessment | NothingObserved) -> Chart | Absent:
    """Return all states and where outside events alone lead from each; hazardous ways are thick.

    Examples
    --------
    >>> state_graph(result).question
    'What leads from one state to the next with no one there?'
    """
    if isinstance(result, NothingObserved):
        return Absent(say("nothing"))
    drawing = layout.drawing(result)
    figure, below = Sheet(), _key_height(result, drawing)
    figure.settings(
        **sheet.layout(
            height=round(drawing.height + below + 12),
            margin={"l": 4, "r": 4, "t": 6, "b": round(below) + 6},
            hovermode="closest",
            xaxis={"visible": False, "range": [0, WIDTH], "fixedrange": True},
            yaxis={"visible": False, "range": [-drawing.height, 0], "fixedrange": True},
        )
    )
    # What is drawn last lies on top: hazards.
    by_weight = sorted(drawing.lines, key=lambda line: line.hazardous)
    for line in by_weight:
        _line(figure, line)
    for node in drawing.nodes:
        _node(figure, node, result)
    for line in by_weight:
        _code(figure, line)
    _key(figure, result, drawing)
    return Chart(
        key="state-graph",
        question="What leads from one state to the next with no one there?",
        answer=_answer(result),
        figure=figure.checked(),
        table=_table(result),
        about=("ui.hazards", "ui.safe_to_leave"),
    )


def _answer(result: Assessment) -> str:
    ends = list(dict.fromkeys(item.ends_in for item in result.hazards))
    return say("graph", states=len(result.machine.states), outcomes=len(result.machine.edges), ends=ends)


def _table(result: Assessment) -> pd.DataFrame:
    moves = [edge for edge in result.machine.edges if edge.next != edge.state]
    kind = {name: event.kind for name, event in result.machine.events.items()}
    rows = [
        (edge.state, edge.event, kind[edge.event], edge.next, _times(edge.seen, edge.tried)) for edge in moves
    ]
    return pd.DataFrame(rows, columns=["state", "event", "by", "leads to", "seen of tried"])


def _times(seen: int | None, tried: int | None) -> str:
    return "not counted" if seen is None else f"{seen} of {tried}"


def _colour(line: Line) -> str:
    return sheet.CURRENT if line.hazardous else sheet.INK


def _line(figure: Sheet, line: Line) -> None:
    width = 3.5 if line.hazardous else 1.6
    figure.curve(
        x=[round(x, 1) for x, _ in line.points],
        y=[round(y, 1) for _, y in line.points],
        mode="lines",
        line={"color": _colour(line), "width": width},
        hoverinfo="text",
        text=plain(line.words),
    )
    _arrow(figure, line, line.points[-min(len(line.points), 4)], line.points[-1], width)


def _arrow(figure: Sheet, line: Line, tail: Point, tip: Point, width: float) -> None:
    (fx, fy), (tx, ty) = tail, tip
    figure.text(
        x=tx,
        y=ty,
        ax=fx,
        ay=fy,
        xref="x",
        yref="y",
        axref="x",
        ayref="y",
        text="",
        showarrow=True,
        arrowhead=2,
        arrowsize=1.0 if line.hazardous else 1.3,
        arrowwidth=max(width, 1.2),
        arrowcolor=_colour(line),
    )


def _code(figure: Sheet, line: Line) -> None:
    figure.text(
        x=line.label[0],
        y=line.label[1],
        text=f"<b>{line.text}</b>",
        showarrow=False,
        borderpad=1,
        bgcolor=sheet.PAPER,
        font={"size": 12, "color": _colour(line)},
    )


def _node(figure: Sheet, node: Node, result: Assessment) -> None:
    bad = node.name in {item.ends_in for item in result.hazards}
    left = node.name in result.machine.leave_in
    figure.shape(
        type="rect",
        x0=node.x - HALF_WIDTH,
        x1=node.x + HALF_WIDTH,
        y0=node.y - HALF_HEIGHT,
        y1=node.y + HALF_HEIGHT,
        line={"color": sheet.CURRENT if bad else sheet.INK, "width": 3 if bad else 1},
        fillcolor=sheet.BAND if left else sheet.PAPER,
        layer="above",
    )
    name = "<br>".join(f"<b>{plain(part)}</b>" for part in _wrapped(node.name, 14)[:2])
    figure.text(**_words(node.x, node.y, f"{name}<br>{_doing(node.name, result, bad)}"))


def _doing(name: str, result: Assessment, bad: bool) -> str:
    state = result.machine.states[name]
    if bad:
        return "⚠ hazard" if not state.light_percent else f"⚠ light {state.light_percent:g}\u202f%"
    if name in result.machine.leave_in:
        return "left in here"
    return f"light {state.light_percent:g}\u202f%" if state.light_percent else "dark"


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width) or [""]


def _words(x: float, y: float, text: str, **more: Any) -> dict[str, Any]:
    return {
        "x": x,
        "y": y,
        "text": text,
        "showarrow": False,
        "font": {"size": 11, "color": sheet.INK},
        **more,
    }


def _key_columns(result: Assessment, drawing: Drawing) -> tuple[list[str], list[str]]:
    """Return the lines of the key, in two columns."""
    entries = []
    for name, code in drawing.codes.items():
        if result.machine.events[name].outside:
            first, *rest = _wrapped(name, 22)
            entries.append([f"<b>{code}</b>  {plain(first)}", *(f"     {plain(part)}" for part in rest)])
    half = (len(entries) + 1) // 2
    left, right = (["<br>".join(entry) for entry in some] for some in (entries[:half], entries[half:]))
    return left, right


def _key_height(result: Assessment, drawing: Drawing) -> float:
    lines = [sum(1 + entry.count("<br>") for entry in column) for column in _key_columns(result, drawing)]
    return KEY_LINE * max(lines) + 10


def _key(figure: Sheet, result: Assessment, drawing: Drawing) -> None:
    for place, column in enumerate(_key_columns(result, drawing)):
        figure.text(
            name="below",
            **_words(
                2 + place * WIDTH / 2,
                -drawing.height,
                "<br>".join(column),
                align="left",
                xanchor="left",
                yanchor="top",
            )
            | {"font": {"size": 12, "color": sheet.INK}},
        )
