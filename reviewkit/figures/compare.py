"""Several devices drawn together: same axes, same order, named directly; every number is a finding's."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from reviewkit.comparison.rows import Row
from reviewkit.comparison.together import Curve, FloatArray, Published, Together
from reviewkit.drawing.strip import Entry, over_devices
from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Absent, Chart, Charts
from reviewkit.figures.sheet import Clock, Sheet
from reviewkit.findings import Finding, sentences
from reviewkit.metrology import formatting
from reviewkit.metrology.conformity import Limit

_DASHES = ("solid", "dash", "dot")
_DRAWN = ("solid", "dashed", "dotted")
_OVERLAID = len(_DASHES)
"""Curves that one panel holds; more stand one below the other."""
_MOST = 360
"""Points of a curve, of which there are several."""
_TALL, _LOW, _LINE = 220, 90, 22
_MOST_LIMITS, _DAYS_SHOWN = 8, 2
_FIGURES = (
    *("charge.termination_time", "charge.plateau_current", "charge.hold_voltage", "charge.delivered"),
    *("charge.termination_current", "readout.largest_error"),
)
_DAYS = ".days_to_empty"

Drawn = tuple[str, Published, Curve]


def compare_curves(together: Together) -> Chart | Absent:
    """Return all charges from a common start: voltage over current; more than three one below the other.

    Examples
    --------
    >>> compare_curves(together).question
    'How do the two charge?'
    """
    curves = together.curves()
    if not curves:
        return Absent("No review has a logged charge.")
    last = max(curve.last_s for _, _, curve in curves) * 1.08
    clock = Clock(last)
    top = max(float(np.quantile(curve.current[1], 0.999)) for _, _, curve in curves)

    def points(_: Published, curve: Curve) -> tuple[tuple[FloatArray, FloatArray], ...]:
        (time_V, volts), (time_A, amps) = curve.voltage, curve.current
        return (clock.x(time_V), volts), (clock.x(time_A), amps)

    figure = _drawn(
        curves,
        points,
        titles=("cell voltage, V", "charge current, A"),
        units=("V", "A"),
        x_axis=clock.axis("time since charge start") | {"range": [clock.at(0.0), clock.at(last)]},
        top=top,
    )
    say = sentences.of("compare")
    told = [together.row(f"charge.{name}") for name in ("plateau_current", "termination_time", "delivered")]
    rows = [row for row in told if row and row.resolved is not None]
    answer = "; ".join(say("row_told", label=row.label, words=row.words) for row in rows)
    drawn = say("curves_drawn", names=together.names, styles=_DRAWN) if len(curves) <= _OVERLAID else ""
    table = [
        (name, curve.title, _text(review, curve, "termination_time"), _text(review, curve, "delivered"))
        for name, review, curve in curves
    ]
    return Chart(
        "compare-curves",
        "How do the two charge?" if len(together.names) == 2 else "How do they charge?",
        f"{answer[:1].upper()}{answer[1:]}." if answer else drawn or "Each panel is one device.",
        figure.checked(),
        pd.DataFrame(table, columns=["device", "charge", "charge ended after", "delivered"]),
        ("charge.plateau_current", "charge.termination_time"),
        figure.note,
    )


def _text(review: Published, curve: Curve, name: str) -> str:
    found = review.of_charge(curve, name)
    return found.text if found is not None else "not tested"


def _drawn(
    curves: Sequence[Drawn],
    points: Callable[[Published, Curve], tuple[tuple[FloatArray, FloatArray], ...]],
    *,
    titles: Sequence[str],
    units: Sequence[str],
    x_axis: dict[str, object],
    top: float,
) -> Sheet:
    """Draw two quantities of up to three curves over each other, or of more the second, a panel each."""
    overlaid = len(curves) <= _OVERLAID
    heads = titles if overlaid else [f"{name}: {titles[1]}" for name, _, _ in curves]
    figure = marks.panels(heads, x_axis=x_axis, panel_height=_TALL if overlaid else _LOW)
    falls = []
    for index, (name, review, curve) in enumerate(curves):
        pairs = list(zip(points(review, curve), units, (sheet.VOLTAGE, sheet.CURRENT), strict=True))
        for row, ((x, y), unit, colour) in enumerate(pairs):
            if not overlaid and row == 0:
                continue
            at = row if overlaid else index
            marks.line(
                figure,
                x,
                y,
                name=name,
                colour=colour,
                unit=unit,
                axis="y" if at == 0 else f"y{at + 1}",
                dash=_DASHES[index] if overlaid else "solid",
                most=_MOST,
            )
        falls.append(_half_way(*pairs[1][0]))
    if overlaid:
        _write_names(figure, [name for name, _, _ in curves], falls)
    ranges = {"range": [-0.05 * top, 1.25 * top]}
    axes = ["yaxis2"] if overlaid else ["yaxis", *(f"yaxis{n + 2}" for n in range(len(curves) - 1))]
    figure.settings(**dict.fromkeys(axes, ranges))
    return figure


def _half_way(x: FloatArray, current: FloatArray) -> tuple[float, float]:
    """Return the last place at which the current is half of its highest, to write the curve's name beside."""
    half = float(np.nanquantile(current, 0.98)) / 2
    above = np.flatnonzero(current >= half)
    return (float(x[above[-1]]) if len(above) else float(x[-1])), half


def _write_names(figure: Sheet, names: Sequence[str], spots: Sequence[tuple[float, float]]) -> None:
    """Write names in the current's panel, from the left: each lower than the one before, none on another."""
    order = sorted(range(len(spots)), key=lambda index: spots[index][0])
    for rank, index in enumerate(order):
        x, y = spots[index]
        left = rank == 0
        figure.text(
            name="label",
            text=marks.plain(f"{names[index]}, {_DRAWN[index]}"),
            showarrow=False,
            font={"size": marks.SMALL + 1, "color": sheet.INK},
            **{"x": x, "y": y * (1 - 0.3 * max(0, rank - 1)), "yref": "y2", "yanchor": "middle"},
            **{"xanchor": "right" if left else "left", "xshift": -8 if left else 8},
        )


def compare_per_capacity(together: Together) -> Chart | Absent:
    """Return all charges against the share of the rated capacity, currents as C-rates.

    Examples
    --------
    >>> compare_per_capacity(together).key
    'compare-per-capacity'
    """
    curves = together.curves()
    if len(curves) < 2 or not all(review.cell.rated_capacity_Ah for _, review, _ in curves):
        return Absent("It needs a logged charge and the rated capacity of the cell in each review.")

    def points(review: Published, curve: Curve) -> tuple[tuple[FloatArray, FloatArray], ...]:
        size = _capacity(review)
        inside = (curve.current[0] >= 0) & (curve.current[0] <= curve.last_s)
        filled = 100 * curve.charge_Ah[inside] / size
        volts = np.interp(curve.current[0][inside], *curve.voltage)
        return (filled, volts), (filled, curve.current[1][inside] / size)

    top = max(float(np.quantile(curve.current[1], 0.999)) / _capacity(review) for _, review, curve in curves)
    figure = _drawn(
        curves,
        points,
        titles=("cell voltage, V", "charge current, C-rate"),
        units=("V", "C"),
        x_axis=sheet.axis("charge delivered, % of rated capacity", nticks=7),
        top=top,
    )
    shares = [
        (name, _share_filled(review, curve), f"{_capacity(review):g}{formatting.NO_BREAK}Ah")
        for name, review, curve in curves
    ]
    return Chart(
        "compare-per-capacity",
        "How do they charge for the size of their cells?",
        sentences.of("compare")("fills", shares=shares),
        figure.checked(),
        pd.DataFrame(
            [(name, size, share) for name, share, size in shares],
            columns=["device", "rated capacity", "charge delivered"],
        ),
        ("charge.delivered",),
        figure.note,
    )


def _capacity(review: Published) -> float:
    assert review.cell.rated_capacity_Ah
    return review.cell.rated_capacity_Ah


def _share_filled(review: Published, curve: Curve) -> str:
    found = review.of_charge(curve, "delivered")
    if found is None or not isinstance(found.value, int | float):
        return "an unknown share"
    scale = 100 / _capacity(review)
    if found.uncertainty is None:
        return formatting.quantity(found.value * scale, None, "%")
    return formatting.quantity(found.value * scale, found.uncertainty * scale, "%")


def compare_limits(together: Together) -> Chart | Absent:
    """Return where each device lies within the limits that several were held against: 0 to 100 % is in.

    Examples
    --------
    >>> compare_limits(together).question
    'How near are they to their limits?'
    """
    rows = [row for row in together.comparison if _limited(row)][:_MOST_LIMITS]
    if not rows:
        return Absent("No figure of two of the reviews has a limit.")
    lines = sum(2 + len(together.names) for _ in rows)
    figure = marks.panels(
        ["shaded: what the limit allows"],
        x_axis=sheet.axis("share of what the limit allows, %", nticks=6),
        panel_height=_LINE * lines + 40,
    )
    figure.shape(
        **{"type": "rect", "x0": 0, "x1": 100, "yref": "paper", "y0": 0, "y1": 1, "layer": "below"},
        **{"line": {"width": 0}, "fillcolor": sheet.BAND},
    )
    height = float(lines)
    for row in rows:
        limit = next(item.limit for item in row.items if item and item.limit)
        height -= 1
        allowed = formatting.declared(limit.low, limit.high, row.unit)
        _line_label(figure, height, f"{row.label}, {allowed}", sheet.INK)
        for name, item in zip(together.names, row.items, strict=True):
            height -= 1
            ends = _interval(item) if item else None
            _line_label(figure, height, f"{name}: {item.text if item else 'not tested'}", sheet.QUIET)
            if item and ends:
                _dot(figure, height, [_allowed_share(limit, end) for end in ends], f"{name}: {item.text}")
        height -= 1
    figure.settings(yaxis={"visible": False, "range": [-0.2, lines + 0.2]}, hovermode="closest")
    return Chart(
        "compare-limits",
        "How near are they to their limits?",
        together.comparison.sentence(),
        figure.checked(),
        pd.DataFrame(
            [(row.label, *(item.text if item else "not tested" for item in row.items)) for row in rows],
            columns=["finding", *together.names],
        ),
        tuple(row.key for row in rows),
    )


def _limited(row: Row) -> bool:
    """Whether two devices were held against one upper limit at least: what has none has no share of it."""
    limits = {(item.limit.low, item.limit.high) for item in row.items if item and item.limit}
    return len(limits) == 1 and next(iter(limits))[1] is not None and _numbers(row) > 1


def _allowed_share(limit: Limit, value: float) -> float:
    assert limit.high is not None
    low = limit.low if limit.low is not None else 0.0
    return 100 * (value - low) / (limit.high - low) if limit.high > low else 0.0


def _dot(figure: Sheet, height: float, ends: Sequence[float], text: str) -> None:
    value, low, high = ends
    figure.curve(
        x=[value],
        y=[height],
        mode="markers",
        marker={"size": 9, "color": sheet.READING},
        error_x={
            **{"type": "data", "symmetric": False, "array": [high - value], "arrayminus": [value - low]},
            **{"color": sheet.READING, "thickness": 1.6, "width": 4},
        },
        hovertemplate=marks.plain(text),
        name="",
    )


def _line_label(figure: Sheet, height: float, text: str, colour: str) -> None:
    figure.text(
        text=marks.plain(text),
        showarrow=False,
        font={"size": marks.SMALL, "color": colour},
        **{"xref": "paper", "x": 0, "xanchor": "left", "y": height, "yanchor": "bottom", "yshift": 4},
    )


def compare_figures(together: Together) -> Charts | Absent:
    """Return one picture per figure over all devices: a dot with its interval each, limits as lines.

    Examples
    --------
    >>> len(compare_figures(together).items) > 3
    True
    """
    rows = [row for name in _FIGURES if (row := together.row(name)) and _numbers(row) > 1]
    rows += [row for row in together.comparison if row.key.endswith(_DAYS) and _numbers(row) > 1][
        :_DAYS_SHOWN
    ]
    if not rows:
        return Absent("No figure stands in two of the reviews.")
    return Charts(tuple(_figure(row, together.names) for row in rows))


def _numbers(row: Row) -> int:
    return sum(item is not None and _interval(item) is not None for item in row.items)


def _interval(item: Finding) -> tuple[float, float, float] | None:
    """Return value, lower and upper end of a number, or None where there is no interval to draw."""
    if not isinstance(item.value, int | float) or isinstance(item.value, bool):
        return None
    low = item.low if item.low is not None else float(item.value)
    high = item.high if item.high is not None else float(item.value)
    return float(item.value), low, high


def _figure(row: Row, names: Sequence[str]) -> Chart:
    known = [(name, item) for name, item in zip(names, row.items, strict=True) if item and _interval(item)]
    unit, scale = ("h", 3600.0) if row.unit == "s" else (row.unit.replace(".", ""), 1.0)
    limit = next((item.limit for _, item in known if item.limit), None)
    entries = [
        Entry(marks.plain(name), *(end / scale for end in ends))
        for name, item in known
        if (ends := _interval(item)) is not None
    ]
    drawn = over_devices(
        entries,
        title=marks.plain(row.label),
        unit=unit,
        limits=[end / scale for end in _limit_ends(limit)],
        amount="voltage" not in row.key,
    )
    layout = {**sheet.layout(), **drawn["layout"]}
    figure = Sheet(drawn["data"], layout.pop("shapes"), layout.pop("annotations"), layout)
    return Chart(
        f"compare-{row.key.replace('.', '-')}",
        f"How do they compare: {row.label}?",
        f"{row.words[:1].upper()}{row.words[1:]}.",
        figure.checked(),
        pd.DataFrame([(name, item.text) for name, item in known], columns=["device", row.label]),
        (row.key,),
        f"Dashed: {limit.source}." if limit and limit.source else "",
    )


def _limit_ends(limit: Limit | None) -> tuple[float, ...]:
    return tuple(end for end in (limit.low, limit.high) if end is not None) if limit else ()
