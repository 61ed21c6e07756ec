"""The states of a user interface drawn: what leads where with no one there; hazards; the trials."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import pandas as pd

from reviewkit.figures import sheet
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.marks import plain
from reviewkit.figures.sheet import Sheet
from reviewkit.findings import sentences
from reviewkit.tables import csv_table
from reviewkit.ui_states import layout
from reviewkit.ui_states.analysis import Assessment, NothingObserved
from reviewkit.ui_states.evidence import weakest
from reviewkit.ui_states.layout import HALF_HEIGHT, HALF_WIDTH, WIDTH, Drawing, Line, Node, Point, event_codes
from reviewkit.ui_states.reach import Hazard

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
    for index, column in enumerate(_key_columns(result, drawing)):
        figure.text(
            name="below",
            **_words(
                2 + index * WIDTH / 2,
                -drawing.height,
                "<br>".join(column),
                align="left",
                xanchor="left",
                yanchor="top",
            )
            | {"font": {"size": 12, "color": sheet.INK}},
        )


_CELL = 27
_STEP = 62

say = sentences.of("ui_states")


def trials_grid(result: Assessment | NothingObserved) -> Chart | Absent:
    """Return a grid of states and events: how often each pair was tried.

    Examples
    --------
    >>> trials_grid(result).key
    'trials-grid'
    """
    if isinstance(result, NothingObserved):
        return Absent(say("nothing"))
    codes, states = event_codes(result.machine), list(result.machine.states)
    marks = {(state, event): _mark(result, state, event) for state in states for event in codes}
    figure = Sheet()
    key = [f"<b>{code}</b> {plain(name)}" for name, code in codes.items()]
    height = _CELL * len(states)
    figure.settings(
        **sheet.layout(
            height=height + 40 + 17 * (len(key) + len(_MEANING)),
            margin={"l": 8, "r": 8, "t": 30, "b": 17 * (len(key) + len(_MEANING)) + 6},
            hovermode="closest",
            xaxis={
                "side": "top",
                "tickvals": list(range(len(codes))),
                "ticktext": [f"<b>{code}</b>" for code in codes.values()],
                "range": [-0.5, len(codes) - 0.5],
                "fixedrange": True,
                "zeroline": False,
                "gridcolor": sheet.GRID,
            },
            yaxis={
                "tickvals": list(range(len(states))),
                "ticktext": [plain(name) for name in states],
                "range": [len(states) - 0.5, -0.5],
                "automargin": True,
                "fixedrange": True,
                "zeroline": False,
                "gridcolor": sheet.GRID,
            },
        )
    )
    _cells(figure, states, list(codes), marks)
    _explained(figure, [*_MEANING, *key])
    return Chart(
        key="trials-grid",
        question="What was tried, and what was not?",
        answer=say(
            "covered",
            done=result.coverage.tested,
            total=len(result.coverage.pairs),
            items=result.coverage.untested,
        ),
        figure=figure.checked(),
        table=_trials_table(states, list(codes), marks),
        about=("ui.untested", "ui.pair_coverage", "ui.contradictions"),
    )


_MEANING = (
    "number: times tried",
    "<b>?</b> not tried · <b>≠</b> more than one outcome",
    "<b>+</b> seen, not counted · empty: cannot occur",
    "",
)


def _mark(result: Assessment, state: str, event: str) -> str:
    if (state, event) not in result.machine.pairs:
        return ""
    if (state, event) in result.coverage.untested:
        return "?"
    if len(result.machine.outcomes(state, event)) > 1:
        return "≠"
    found = next(item for item in result.machine.transitions if (item.state, item.event) == (state, event))
    return "+" if found.tried is None else str(found.tried)


def _cells(
    figure: Sheet, states: Sequence[str], events: Sequence[str], marks: dict[tuple[str, str], str]
) -> None:
    for (state, event), mark in marks.items():
        if not mark:
            continue
        x, y = events.index(event), states.index(state)
        striking = mark in ("?", "≠")
        figure.shape(
            type="rect",
            x0=x - 0.46,
            x1=x + 0.46,
            y0=y - 0.46,
            y1=y + 0.46,
            line={"color": sheet.CURRENT, "width": 2} if striking else {"width": 0},
            fillcolor=sheet.PAPER if striking else sheet.BAND,
            layer="below",
        )
    shown = [(pair, mark) for pair, mark in marks.items() if mark]
    figure.curve(
        x=[events.index(event) for (_, event), _ in shown],
        y=[states.index(state) for (state, _), _ in shown],
        mode="text",
        text=[mark if mark.isdigit() else f"<b>{mark}</b>" for _, mark in shown],
        textfont={"size": 12, "color": sheet.INK},
        hoverinfo="text",
        hovertext=[plain(f"{event} in {state}: {mark}") for (state, event), mark in shown],
    )


def _explained(figure: Sheet, lines: Sequence[str]) -> None:
    figure.text(
        name="below",
        x=0,
        y=0,
        xref="paper",
        yref="paper",
        xanchor="left",
        yanchor="top",
        yshift=-8,
        align="left",
        showarrow=False,
        text="<br>".join(lines),
        font={"size": 12, "color": sheet.INK},
    )


def _trials_table(
    states: Sequence[str], events: Sequence[str], marks: dict[tuple[str, str], str]
) -> pd.DataFrame:
    rows = [[state, *(marks[state, event] or "cannot occur" for event in events)] for state in states]
    return pd.DataFrame(rows, columns=["state", *events])


def witnesses(result: Assessment | NothingObserved) -> Charts | Absent:
    """Return, for each kind of hazard and state left in, the gravest way there as numbered steps.

    Examples
    --------
    >>> [chart.key for chart in witnesses(result).items]
    ['witness-1', 'witness-2']
    """
    if isinstance(result, NothingObserved):
        return Absent(say("nothing"))
    gravest: dict[tuple[str, str], Hazard] = {}
    for item in result.hazards:
        gravest.setdefault((item.hazard, item.leave_in), item)
    if not gravest:
        return Absent(say("no_way"))
    return Charts(
        tuple(_witness(result, item, number) for number, item in enumerate(gravest.values(), start=1))
    )


def _witness(result: Assessment, item: Hazard, index: int) -> Chart:
    boxes = [f"<b>left in {plain(item.leave_in)}</b>"]
    boxes += [
        f"<b>{plain(step.event)}</b>{_moment(step.video_s)}"
        f"<br>to {plain(step.next)} · {_trial_times(step.seen, step.tried)}"
        for step in item.steps
    ]
    end_state = result.machine.states[item.ends_in]
    end = textwrap.wrap(f"⚠ {say('outcome', hazard=item, end=end_state)}", 34)
    boxes.append("<br>".join(f"<b>{plain(part)}</b>" for part in end))
    figure = Sheet()
    height = _STEP * len(boxes)
    figure.settings(
        **sheet.layout(
            height=height + 12,
            margin={"l": 4, "r": 4, "t": 6, "b": 6},
            hovermode=False,
            xaxis={"visible": False, "range": [0, 1], "fixedrange": True},
            yaxis={"visible": False, "range": [len(boxes) - 0.5, -0.5], "fixedrange": True},
        )
    )
    for spot, text in enumerate(boxes):
        _box(figure, spot, text, last=spot == len(boxes) - 1)
    rows = [
        (number, step.event, step.next, _trial_times(step.seen, step.tried), _clock(step.video_s))
        for number, step in enumerate(item.steps, start=1)
    ]
    return Chart(
        key=f"witness-{index}",
        question=say("question", hazard=item),
        answer=_trials_answer(result, item),
        figure=figure.checked(),
        table=pd.DataFrame(rows, columns=["step", "event", "leads to", "seen of tried", "video"]),
        about=("ui.hazards",),
    )


def _trials_answer(result: Assessment, item: Hazard) -> str:
    """Return the way into a hazard, how well it is shown, and what ends it."""
    found = weakest(item.steps)
    said = [say("path", hazard=item, end=result.machine.states[item.ends_in])]
    said += [say("path_evidence", found=found, steps=len(item.steps))] if found else []
    return " ".join([*said, say("stopping", steps=item.stops_by)])


def _box(figure: Sheet, spot: int, text: str, *, last: bool) -> None:
    figure.shape(
        type="rect",
        x0=0.11,
        x1=0.99,
        y0=spot - 0.36,
        y1=spot + 0.36,
        line={"color": sheet.CURRENT if last else sheet.INK, "width": 3 if last else 1},
        fillcolor=sheet.PAPER if last else sheet.BAND,
        layer="below",
    )
    figure.text(
        x=0.13,
        y=spot,
        text=text,
        showarrow=False,
        xanchor="left",
        align="left",
        font={"size": 12.5, "color": sheet.INK},
    )
    if not last:
        figure.text(
            x=0.05, y=spot, text=f"<b>{spot}</b>", showarrow=False, font={"size": 16, "color": sheet.INK}
        )
        figure.text(
            x=0.55,
            y=spot + 0.64,
            ax=0.55,
            ay=spot + 0.36,
            axref="x",
            ayref="y",
            text="",
            showarrow=True,
            arrowhead=2,
            arrowwidth=2,
            arrowcolor=sheet.CURRENT,
        )


def _trial_times(seen: int | None, tried: int | None) -> str:
    return "not counted" if seen is None else f"seen {seen} of {tried}"


def _moment(video_s: float | None) -> str:
    return "" if video_s is None else f" · video {_clock(video_s)}"


def _clock(video_s: float | None) -> str:
    return "" if video_s is None else csv_table.stamp(video_s)
