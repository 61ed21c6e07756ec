"""The readout: its staircase, its error, what one more reading is worth, the thresholds of its marks."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd

from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Absent, Chart
from reviewkit.figures.sheet import Sheet
from reviewkit.readout.analysis import Bracket, CodeTransition, Readout
from reviewkit.readout.report import bracket, doubtful_rows, say


def readout_staircase(result: Readout) -> Chart | Absent:
    """Return shown value and error against the cell's voltage, with the band of every code transition.

    Examples
    --------
    >>> sorted(readout_staircase(read_out).pictures())
    ['narrow', 'wide']
    """
    fitted = result.fit
    if fitted is None or not fitted.consistent:
        return Absent(say("no_stairs"))
    points = result.transitions
    used = [float(reading.reference_V) for reading in fitted.readings]
    low, high = min(points[0].low_V, *used), max(points[-1].high_V, *used)
    edge = 0.03 * (high - low)
    axis = sheet.axis("cell voltage, V", range=[low - edge, high + edge], nticks=7)
    figure = marks.panels(["displayed value, V", "displayed minus true, V"], x_axis=axis, panel_height=250)
    figure.settings(hovermode="closest")
    _stairs(figure, points, low - edge, high + edge)
    _readings(figure, result)
    _claim(figure, result)
    return Chart(
        key="readout-staircase",
        question=say("staircase", name=result.bench.name),
        answer=_answer(result),
        figure=figure.checked(),
        table=_points_table(points),
        about=("readout.switching_place", "readout.largest_error", "readout.doubtful_rows"),
    )


def _stairs(figure: Sheet, points: tuple[CodeTransition, ...], start: float, end: float) -> None:
    middles = [(point.low_V + point.high_V) / 2 for point in points]
    edges = [start, *middles, end]
    values = [points[0].lower_V, *(point.upper_V for point in points)]
    x, shown = np.repeat(edges, 2)[1:-1], np.repeat(values, 2)
    marks.line(figure, x, shown, name="displayed", colour=sheet.VOLTAGE, unit="V", decimals=2)
    broken = [
        part for v, a, b in zip(values, edges, edges[1:], strict=False) for part in (v - a, v - b, np.nan)
    ]
    over = [part for a, b in pairwise(edges) for part in (a, b, np.nan)]
    marks.line(figure, over, broken, name="error", colour=sheet.VOLTAGE, unit="V", axis="y2")
    for point in points:
        for axis, bottom, top in (("y", point.lower_V, point.upper_V), ("y2", *_reach(point))):
            figure.shape(
                type="rect",
                xref="x",
                yref=axis,
                x0=point.low_V,
                x1=point.high_V,
                y0=bottom,
                y1=top,
                line={"width": 0},
                fillcolor=sheet.see_through(sheet.VOLTAGE, 0.3),
            )
    figure.shape(
        type="line", xref="paper", yref="y2", x0=0, x1=1, y0=0, y1=0, line={"color": sheet.QUIET, "width": 1}
    )


def _reach(point: CodeTransition) -> tuple[float, float]:
    """Return the lowest and highest error within the band of a code transition."""
    return point.lower_V - point.high_V, point.upper_V - point.low_V


def _readings(figure: Sheet, result: Readout) -> None:
    fitted, table = result.fit, result.table
    assert fitted is not None
    assert table is not None
    for doubted, colour, symbol in ((False, sheet.INK, "circle"), (True, sheet.CURRENT, "x")):
        group = [one for one in fitted.readings if (one.row in fitted.doubted) == doubted]
        if not group:
            continue
        for axis, height in (("y", 0.0), ("y2", 1.0)):
            figure.curve(
                x=[float(one.reference_V) for one in group],
                y=[float(one.displayed_V - one.reference_V if height else one.displayed_V) for one in group],
                yaxis=axis,
                mode="markers",
                marker={"color": colour, "size": 11 if doubted else 7, "symbol": symbol},
                error_x={
                    "type": "data",
                    "array": [float(table.shared_V[one.row] + table.noise_V[one.row]) for one in group],
                    "color": colour,
                    "thickness": 1.2,
                    "width": 3,
                },
                text=[f"row {one.row}" for one in group],
                hovertemplate="%{text}: reference %{x:.3f} V, %{y:.3f} V<extra></extra>",
            )
    for one in fitted.readings:
        if one.row in fitted.doubted:
            point = (float(one.reference_V), float(one.displayed_V))
            marks.label(
                figure,
                *point,
                f"row {one.row}",
                colour=sheet.CURRENT,
                anchor="center",
                above=_room(result, point),
            )


def _room(result: Readout, point: tuple[float, float]) -> bool:
    """Whether the label of a reading goes above it: where it lies above the staircase."""
    return point[1] >= point[0]


def _claim(figure: Sheet, result: Readout) -> None:
    claim = result.bench.claim_V()
    if claim is None:
        return
    for sign, above in ((1, True), (-1, False)):
        text = f"claimed: {'+' if sign > 0 else '−'}{claim[0]:g} V"
        marks.limit(figure, sign * claim[0], text, axis="y2", above=above, declared=True)
    errors = [abs(end) for point in result.transitions for end in _reach(point)]
    reach = 1.35 * max(claim[0], *errors)
    figure.settings(yaxis2={"range": [-reach, reach]})


def _answer(result: Readout) -> str:
    fitted = result.fit
    assert fitted is not None
    claimed, source = result.bench.claim_V() or (None, "")
    return say(
        "staircase_answer",
        low=float(fitted.transition.low),
        high=float(fitted.transition.high),
        greatest=fitted.maximum_error[2],
        claimed=claimed,
        source=source,
        doubtful=doubtful_rows(fitted),
    )


def _points_table(points: tuple[CodeTransition, ...]) -> pd.DataFrame:
    return pd.DataFrame(
        [
            (
                f"{point.lower_V:g} to {point.upper_V:g}",
                f"{point.low_V:.4f} to {point.high_V:.4f}",
                "not both read"
                if point.read_low_V is None or point.read_high_V is None
                else f"{point.read_low_V:.4f} to {point.read_high_V:.4f}",
            )
            for point in points
        ],
        columns=["displayed value, V", "changes at, V", "from the readings on either side alone, V"],
    )


def readout_next(result: Readout) -> Chart | Absent:
    """Return what one more reading is worth, along the voltage axis.

    Examples
    --------
    >>> readout_next(read_out).key
    'readout-next'
    """
    fitted = result.fit
    if fitted is None or not fitted.consistent:
        return Absent(say("no_stairs"))
    worth = fitted.information
    axis = sheet.axis("cell voltage, V", range=[worth.voltage_V[0], worth.voltage_V[-1]], nticks=7)
    figure = marks.panels(["expected worth of one more reading, bit"], x_axis=axis, panel_height=260)
    figure.settings(hovermode="x", yaxis={"range": [-0.06, 1.3 * max(worth.best_bits, 0.1)], "dtick": 0.2})
    marks.line(
        figure,
        worth.voltage_V,
        worth.bits,
        name="worth",
        colour=sheet.READING,
        unit="bit",
        decimals=2,
        most=2000,
        logged=False,
    )
    for reading in fitted.readings:
        at = float(reading.reference_V)
        figure.shape(
            type="line", x0=at, x1=at, yref="y", y0=-0.05, y1=-0.005, line={"color": sheet.INK, "width": 2}
        )
    left = worth.next_V < float(fitted.model.middle_V)
    marks.point(
        figure,
        worth.next_V,
        float(np.interp(worth.next_V, worth.voltage_V, worth.bits)),
        f"next: {worth.next_V:.3f} V",
        colour=sheet.READING,
        away=(26 if left else -26, -26),
    )
    good = worth.voltage_V[worth.bits >= 0.9 * worth.best_bits]
    return Chart(
        key="readout-next",
        question=say("next_cell"),
        answer=say("next_cell_answer", voltage=worth.next_V, bits=worth.best_bits),
        figure=figure.checked(),
        table=_stretches(good, float(worth.voltage_V[1] - worth.voltage_V[0])),
        about=("readout.next_voltage",),
    )


def _stretches(voltage: np.ndarray[tuple[int], np.dtype[np.float64]], spacing: float) -> pd.DataFrame:
    """Return the stretches of voltage that are worth at least nine tenths of the best."""
    parts = np.split(voltage, np.flatnonzero(np.diff(voltage) > 1.5 * spacing) + 1)
    rows = [f"{part[0]:.3f} to {part[-1]:.3f}" for part in parts if len(part)]
    return pd.DataFrame({"nearly as good as the best, V": rows})


def readout_thresholds(result: Readout) -> Chart | Absent:
    """Return the bracket of every warning and every change of mark, on one voltage axis.

    Examples
    --------
    >>> readout_thresholds(read_out).key
    'readout-thresholds'
    """
    brackets = [*result.warnings, *result.thresholds]
    if not brackets:
        return Absent(say("no_marks"))
    low, high = result.bench.range_V
    known = [end for one in brackets for end in (one.low_V, one.high_V) if end is not None]
    low, high = min([low, *known]), max([high, *known])
    figure = Sheet()
    height = 90 + 58 * len(brackets)
    figure.settings(**sheet.layout(height=height, margin={"l": 12, "r": 16, "t": 16, "b": 8}))
    figure.settings(
        xaxis=sheet.axis("cell voltage, V", range=[low - 0.05, high + 0.05], nticks=7),
        yaxis={"visible": False, "range": [-0.6, len(brackets) - 0.3]},
        hovermode="closest",
    )
    for index, one in enumerate(reversed(brackets)):
        ends = (low if one.low_V is None else one.low_V, high if one.high_V is None else one.high_V)
        figure.shape(
            type="rect",
            x0=ends[0],
            x1=ends[1],
            y0=index - 0.25,
            y1=index + 0.05,
            line={"width": 1, "color": sheet.VOLTAGE},
            fillcolor=sheet.see_through(sheet.VOLTAGE, 0.3),
        )
        right = sum(ends) > low + high
        text = f"{one.name}: {_ends(one)}"
        marks.label(
            figure,
            ends[1 if right else 0],
            index + 0.05,
            text,
            colour=sheet.INK,
            anchor="right" if right else "left",
        )
    kind = "warning" if result.warnings else "threshold"
    return Chart(
        key="readout-thresholds",
        question=say("thresholds", warning=bool(result.warnings)),
        answer=" ".join(bracket(one, kind) for one in brackets),
        figure=figure.checked(),
        table=pd.DataFrame(
            [(one.name, _ends(one)) for one in brackets],
            columns=["mark", "threshold"],
        ),
        about=tuple(f"readout.{kind}.{one.slug}.low" for one in brackets),
    )


def _ends(one: Bracket) -> str:
    return say("ends", low=one.low_V, high=one.high_V)
