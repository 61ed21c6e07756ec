"""The standby drain drawn: the settled part, base and pulses, one period folded over all, days per state."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.drain import sentences, states
from reviewkit.drain.decompose import Decomposition
from reviewkit.drain.samples import FloatArray
from reviewkit.drain.sentences import say
from reviewkit.drain.states import Drain, StateDrain
from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.metrology import formatting, units

_PERIODS = 6
_MOST_DOTS = 1200


def drain_settling(result: Drain) -> Charts | Absent:
    """Return the logs in which the device was still awake, with the settled part marked.

    Examples
    --------
    >>> [chart.key for chart in drain_settling(slept).items]
    ['drain-settling-standby']
    """
    logged = _logged(result)
    awake = [state for state in logged if not _split(state).settled.from_start]
    return _each(awake, _settling, say("all_settled", logs=len(logged)))


def drain_pulses(result: Drain) -> Charts | Absent:
    """Return current against time, base and pulses drawn through it.

    Examples
    --------
    >>> drain_pulses(slept).items[0].question
    'standby: what does the device draw?'
    """
    return _each(_logged(result), _pulses, say("none_logged"))


def drain_folded(result: Drain) -> Charts | Absent:
    """Return all periods laid over one another.

    Examples
    --------
    >>> drain_folded(slept).items[0].question
    'standby: do all pulses look the same?'
    """
    regular = [state for state in _logged(result) if _split(state).train is not None]
    return _each(regular, _folded, say("no_train"))


def _logged(result: Drain) -> list[StateDrain]:
    return [state for state in result if state.split is not None]


def _each(states: list[StateDrain], draw: Callable[[StateDrain], Chart], why: str) -> Charts | Absent:
    return Charts(tuple(draw(state) for state in states)) if states else Absent(why)


def _split(state: StateDrain) -> Decomposition:
    assert state.split is not None
    return state.split


def _key(name: str, state: StateDrain) -> str:
    return f"drain-{name}-{state.slug.replace('_', '-')}"


def _about(state: StateDrain, *names: str) -> tuple[str, ...]:
    return tuple(f"drain.{state.slug}.{name}" for name in names)


def _table(state: StateDrain) -> pd.DataFrame:
    shape = _split(state).features
    rows = [
        (name, sentences.text_of(feature, unit))
        for name, feature, unit in (
            ("base level", shape.base, "A"),
            ("pulse height above the base", shape.height, "A"),
            ("pulse width", shape.width, "s"),
            ("pulse period", shape.period, "s"),
        )
    ]
    return pd.DataFrame([*rows, ("mean drain", sentences.mean_text(state))], columns=["what", "value"])


def _settling(state: StateDrain) -> Chart:
    split, log = _split(state), state.log
    assert log is not None
    time, current = log.time_s, log.series.to_numpy(dtype=float)
    scale, sign = units.for_people(float(np.nanmax(np.abs(current))), "A")
    clock = Clock(float(time[-1] - time[0]))
    figure = marks.panels([f"drain, {sign}"], x_axis=clock.axis("time since the log began"), panel_height=260)
    start = split.settled.start_s - float(time[0])
    spans = ((0.0, clock.at(start), "awake"), (clock.at(start), clock.width, "settled"))
    marks.phases(figure, spans, width=clock.width)
    marks.line(
        figure,
        clock.x(time - time[0]),
        current / scale,
        name="drain",
        colour=sheet.CURRENT,
        unit=sign,
        # Pulses are narrow: at half the columns each would seem as wide as one.
        most=2 * marks.MOST,
    )
    top = float(np.nanmax(current)) / scale
    # Room at the foot for the bands' names.
    figure.settings(yaxis={"range": [-0.14 * top, 1.06 * top]})
    return Chart(
        key=_key("settling", state),
        question=f"{state.name}: from when on does the device sleep?",
        answer=say(
            "settled_share",
            settled=sentences.settled(state),
            percent=f"{100 * split.settled.share:.0f}",
        ),
        figure=figure.checked(),
        note=figure.note,
        table=pd.DataFrame(
            [
                ("settled after", sentences.after(state)),
                ("settled share of the log", f"{100 * split.settled.share:.0f} %"),
            ],
            columns=["what", "value"],
        ),
        about=_about(state, "mean"),
    )


def _excerpt(split: Decomposition) -> tuple[FloatArray, FloatArray]:
    """Return the rows of a few periods, or all where there is no period to show."""
    time, current = split.samples.time_s, split.samples.current_A
    if split.train is None or split.train.folded:
        return time - time[0], current
    # Never so many rows that a pulse is lost on a screen, never fewer than three periods.
    keep = time <= time[0] + _PERIODS * split.train.period_s
    return (time - time[0])[keep], current[keep]


def _pulses(state: StateDrain) -> Chart:
    split = _split(state)
    time, current = _excerpt(split)
    scale, sign = units.for_people(float(np.max(np.abs(current))), "A")
    x_axis = sheet.axis("time in the settled part, s", range=[0, float(time[-1])])
    figure = marks.panels([f"drain, {sign}"], x_axis=x_axis, panel_height=260)
    xs, ys = marks.thinned(time, current / scale)
    figure.rows.append((len(xs), len(time)))
    figure.curve(
        x=marks.places(xs),
        y=marks.short(ys),
        mode="lines",
        line={"color": sheet.CURRENT, "width": 1.8, "shape": "hvh"},
        hovertemplate=f"%{{y:.4g}} {sign}",
        name="row",
    )
    _model(figure, split, float(time[-1]), scale)
    low, high = float(np.min(current)) / scale, _top(split, current) / scale
    pad = 0.12 * (high - low) or 0.1 * abs(high) or 1.0
    figure.settings(yaxis={"range": [min(0.0, low) if low < 0.5 * high else low - pad, high + 2 * pad]})
    return Chart(
        key=_key("pulses", state),
        question=f"{state.name}: what does the device draw?",
        answer=sentences.shape(state),
        figure=figure.checked(),
        note=figure.note,
        table=_table(state),
        about=_about(state, "base", "pulse_height", "pulse_width", "mean"),
    )


def _top(split: Decomposition, current: FloatArray) -> float:
    base, height = split.features.base.value, split.features.height.value
    drawn = base.value + height.value if base is not None and height is not None else 0.0
    return max(float(np.max(current)), drawn)


def _model(figure: Sheet, split: Decomposition, span_s: float, scale: float) -> None:
    """Draw the base, and the pulses through the rows where they are resolved."""
    base = split.features.base.value
    if base is None:
        return
    xs, ys = _steps(split, span_s, base.value)
    figure.curve(
        x=xs,
        y=np.asarray(ys) / scale,
        mode="lines",
        line={"color": sheet.INK, "width": 1.4, "dash": "dot"},
        hoverinfo="skip",
        name="base and pulses",
    )
    _corner(figure, f"dotted: base {formatting.quantity(base.value, base.expanded, 'A')}")


def _corner(figure: Sheet, text: str) -> None:
    """Write what a dotted line is above the panel, where no row is in the way."""
    figure.text(
        name="corner",
        text=marks.plain(text),
        showarrow=False,
        font={"size": marks.SMALL, "color": sheet.INK},
        **{"xref": "paper", "x": 1, "xanchor": "right"},
        **{"yref": "paper", "y": 1, "yanchor": "bottom", "yshift": 8},
    )


def _steps(split: Decomposition, span_s: float, base_A: float) -> tuple[list[float], list[float]]:
    train, height, width = split.train, split.features.height.value, split.features.width.value
    if train is None or height is None or width is None:
        return [0.0, span_s], [base_A, base_A]
    top = base_A + height.value
    first = (train.first_s - float(split.samples.time_s[0])) % train.period_s
    xs, ys = [0.0], [base_A]
    for centre in np.arange(first, span_s, train.period_s):
        left, right = centre - width.value / 2, centre + width.value / 2
        xs += [left, left, right, right]
        ys += [base_A, top, top, base_A]
    return [*xs, span_s], [*ys, base_A]


def _folded(state: StateDrain) -> Chart:
    split = _split(state)
    train = split.train
    assert train is not None
    away = train.offset_s(split.samples.time_s)
    current = split.samples.current_A
    scale, sign = units.for_people(float(np.max(np.abs(current))), "A")
    half = train.period_s / 2
    figure = marks.panels(
        [f"drain, {sign}"],
        x_axis=sheet.axis("time from the middle of the pulse, s", range=[-half, half]),
        panel_height=260,
    )
    keep = _spread(away, current)
    figure.rows.append((len(keep), len(away)))
    figure.curve(
        x=marks.places(away[keep]),
        y=marks.short(current[keep] / scale),
        mode="markers",
        marker={"color": sheet.see_through(sheet.CURRENT, 0.55), "size": 4},
        hovertemplate=f"%{{y:.4g}} {sign}",
        name="row",
    )
    _rounded(figure, split, half, scale)
    return Chart(
        key=_key("folded", state),
        question=f"{state.name}: do all pulses look the same?",
        answer=sentences.folded(state),
        figure=figure.checked(),
        note=figure.note,
        table=_table(state),
        about=_about(state, "pulse_period", "pulse_width", "pulse_height"),
    )


def _spread(away: FloatArray, current: FloatArray) -> npt.NDArray[np.intp]:
    """Return which rows to draw: so many over the period, and the lowest and highest of each of its parts."""
    if len(away) <= _MOST_DOTS:
        return np.arange(len(away))
    order = np.argsort(away, kind="stable")
    step = max(1, math.ceil(2 * len(away) / _MOST_DOTS))
    ends = order[marks.kept(away[order], current[order], most=_MOST_DOTS // 2)]
    return np.unique(np.concatenate([order[::step], ends]))


def _rounded(figure: Sheet, split: Decomposition, half: float, scale: float) -> None:
    """Draw the pulse as rows average it: a rectangle whose edges are one row wide."""
    base, height, width = (
        feature.value for feature in (split.features.base, split.features.height, split.features.width)
    )
    if base is None:
        return
    xs, ys = np.array([-half, half]), np.full(2, base.value)
    if height is not None and width is not None:
        outer = (width.value + split.samples.interval_s) / 2
        inner = (width.value - split.samples.interval_s) / 2
        xs = np.array([-half, -outer, -inner, inner, outer, half])
        ys = base.value + height.value * np.array([0.0, 0.0, 1.0, 1.0, 0.0, 0.0])
    figure.curve(
        x=xs,
        y=ys / scale,
        mode="lines",
        line={"color": sheet.INK, "width": 1.4, "dash": "dot"},
        hoverinfo="skip",
    )


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
    for index, state in enumerate(reversed(known)):
        _dot(figure, index, state, 10**top)
    return Chart(
        key="drain-days",
        question="How long does a full cell last?",
        answer=_answer(result, known),
        figure=figure.checked(),
        table=_days_table(result),
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


def _dot(figure: Sheet, number: int, state: StateDrain, most: float) -> None:
    """Draw a state's days with their interval; where only a bound is known, a line from there on."""
    days, length = state.on_shelf, _length(state) or 1.0
    known = days.value is not None
    low, high = (days.low or length) if known else length, days.high or (length if known else most)
    figure.curve(
        x=[length],
        y=[number],
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
    marks.row_label(figure, number + 0.2, f"{state.name}: {days.text}", colour=sheet.INK)


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


def _days_table(result: Drain) -> pd.DataFrame:
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
