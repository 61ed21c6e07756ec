"""Two devices drawn together: same axes, same order, named directly; the difference with its doubt."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from reviewkit.comparison.pairs import Comparison, Row
from reviewkit.comparison.reading import Curve, FloatArray
from reviewkit.comparison.together import Together
from reviewkit.figures import marks, theme
from reviewkit.figures.absent import Absent
from reviewkit.figures.chart import Chart
from reviewkit.figures.clock import Clock
from reviewkit.figures.sheet import Sheet
from reviewkit.metrology import formatting

_DASHES = ("solid", "dash")
_DRAWN = ("solid", "dashed")
_MOST_ROWS = 14
_MOST = 360
"""Points of a curve, of which there are four."""


def compare_curves(together: Together) -> Chart | Absent:
    """Return both charges from a common start: voltage over current, one device solid, one dashed."""
    curves = together.curves()
    if not curves:
        return Absent("Neither review has a logged charge.")
    last = max(_end(curve) for _, curve in curves) * 1.08
    clock = Clock(last)
    figure = marks.panels(
        ["cell voltage, V", "charge current, A"], x_axis=clock.axis("time since charge start")
    )
    for (name, curve), dash in zip(curves, _DASHES, strict=False):
        for (time, values), axis, colour, unit in (
            (curve.voltage, "y", theme.VOLTAGE, "V"),
            (curve.current, "y2", theme.CURRENT, "A"),
        ):
            inside = (time >= 0) & (time <= last)
            marks.line(
                figure,
                clock.x(time[inside]),
                values[inside],
                name=name,
                colour=colour,
                unit=unit,
                axis=axis,
                dash=dash,
                most=_MOST,
            )
    _name(figure, clock, curves)
    top = max(float(np.quantile(curve.current[1], 0.999)) for _, curve in curves)
    figure.settings(yaxis2={"range": [-0.05 * top, 1.25 * top]})
    rows = [
        (name, curve.title, formatting.clock(_end(curve)), f"{formatting.number(_delivered(curve), 2)} Ah")
        for name, curve in curves
    ]
    return Chart(
        "compare-curves",
        "How do the two charge?",
        _curves_answer(together),
        figure.checked(),
        pd.DataFrame(rows, columns=["device", "charge", "until the current stops", "delivered"]),
        ("charge.plateau_current", "charge.termination_time"),
        figure.note,
    )


def _end(curve: Curve) -> float:
    """Return when nearly all of the charge was in [s]: the main charge, top-ups left out."""
    time = curve.current[0]
    flowing = curve.current[1] > 0.02 * np.quantile(curve.current[1], 0.98)
    pauses = np.flatnonzero(~flowing & (time > 0))
    stops = [row for row in pauses if time[row] > 0 and not flowing[row : row + 20].any()]
    return float(time[stops[0]] if stops else time[-1])


def _delivered(curve: Curve) -> float:
    return float(np.interp(_end(curve), curve.current[0], curve.charge_Ah))


def _name(figure: Sheet, clock: Clock, curves: Sequence[tuple[str, Curve]]) -> None:
    """Write each device's name beside its falling current."""
    falls = [_half_way(curve) for _, curve in curves]
    _write_names(figure, [name for name, _ in curves], [(clock.at(time), amps) for time, amps in falls])


def _write_names(figure: Sheet, names: Sequence[str], places: Sequence[tuple[float, float]]) -> None:
    """Write names at places of the current's panel: left of the leftmost, right of the other."""
    leftmost = min(x for x, _ in places)
    for name, drawn, (x, y) in zip(names, _DRAWN, places, strict=False):
        left = x == leftmost
        figure.text(
            text=marks.plain(f"{name}, {drawn}"),
            showarrow=False,
            font={"size": marks.SMALL + 1, "color": theme.INK},
            **{"x": x, "y": y, "yref": "y2", "yanchor": "middle"},
            **{"xanchor": "right" if left else "left", "xshift": -8 if left else 8},
        )


def _half_way(curve: Curve) -> tuple[float, float]:
    """Return the last moment [s] at which the main charge's current is half of its plateau, and that [A]."""
    time, amps = curve.current
    half = float(np.quantile(amps, 0.98)) / 2
    above = np.flatnonzero((amps >= half) & (time <= _end(curve)))
    return (float(time[above[-1]]) if len(above) else _end(curve)), half


def _curves_answer(together: Together) -> str:
    rows = [together.row(name) for name in ("plateau_current", "termination_time", "delivered")]
    told = [f"{row.label}: {row.words}" for row in rows if row and row.resolved is not None]
    if not told:
        return f"{together.names[0]} {_DRAWN[0]}, {together.names[1]} {_DRAWN[1]}."
    text = "; ".join(told)
    return f"{text[:1].upper()}{text[1:]}."


def compare_per_capacity(together: Together) -> Chart | Absent:
    """Return both charges against the share of the rated capacity, currents as C-rates."""
    capacities = (together.first.capacity_Ah, together.second.capacity_Ah)
    curves = together.curves()
    if len(curves) < 2 or not all(capacities):
        return Absent("It needs a logged charge and the rated capacity of the cell in both reviews.")
    figure = marks.panels(
        ["cell voltage, V", "charge current, C-rate"],
        x_axis=theme.axis("charge delivered, % of rated capacity", nticks=7),
    )
    rows, falls = [], []
    for (name, curve), capacity, dash in zip(curves, capacities, _DASHES, strict=True):
        assert capacity is not None
        filled, volts, rate = _per_capacity(curve, capacity)
        marks.line(figure, filled, volts, name=name, colour=theme.VOLTAGE, unit="V", dash=dash, most=_MOST)
        marks.line(
            figure,
            filled,
            rate,
            name=name,
            colour=theme.CURRENT,
            unit="C",
            axis="y2",
            dash=dash,
            most=_MOST,
        )
        rows.append((name, f"{capacity:g} Ah", f"{formatting.number(float(filled[-1]), 0)} %"))
        last = int(np.flatnonzero(rate >= rate.max() / 2)[-1])
        falls.append((float(filled[last]), float(rate[last])))
    _write_names(figure, [name for name, _ in curves], falls)
    figure.settings(yaxis2={"rangemode": "tozero"})
    return Chart(
        "compare-per-capacity",
        "How do they charge for the size of their cells?",
        formatting.listed(f"{name} fills {share} of its cell’s rated {size}" for name, size, share in rows)
        + ".",
        figure.checked(),
        pd.DataFrame(rows, columns=["device", "rated capacity", "charge delivered"]),
        ("charge.delivered",),
        figure.note,
    )


def _per_capacity(curve: Curve, capacity_Ah: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return charge [% of capacity], cell voltage [V] and C-rate of the main charge."""
    inside = (curve.current[0] >= 0) & (curve.current[0] <= _end(curve))
    volts = np.interp(curve.current[0][inside], *curve.voltage)
    return 100 * curve.charge_Ah[inside] / capacity_Ah, volts, curve.current[1][inside] / capacity_Ah


def compare_differences(comparison: Comparison) -> Chart | Absent:
    """Return each difference relative to the first device, with its uncertainty."""
    rows = [row for row in comparison.rows if _drawable(row)][:_MOST_ROWS]
    if not rows:
        return Absent("No finding of both is a number with an uncertainty.")
    figure = marks.panels(
        [f"{comparison.names[1]} against {comparison.names[0]}, % of {comparison.names[0]}’s value"],
        x_axis=theme.axis("difference, %", zeroline=True, zerolinecolor=theme.QUIET, nticks=6),
        panel_height=44 * len(rows) + 40,
    )
    for place, row in enumerate(rows):
        _difference(figure, len(rows) - place, row)
    figure.settings(yaxis={"visible": False, "range": [0.3, len(rows) + 0.9]}, hovermode="closest")
    table = [(row.label, row.words) for row in rows]
    return Chart(
        "compare-differences",
        "By how much do they differ?",
        comparison.sentence(),
        figure.checked(),
        pd.DataFrame(table, columns=["finding", "difference"]),
        tuple(row.key for row in rows),
    )


def _drawable(row: Row) -> bool:
    """Whether a difference means anything as a share of the first device's value: not near nothing."""
    base = row.first.value if row.first else None
    if row.difference is None or row.first is None or not isinstance(base, int | float):
        return False
    return row.unit != "degC" and abs(base) > 3 * (row.first.uncertainty or 0.0)


def _difference(figure: Sheet, height: float, row: Row) -> None:
    assert row.difference is not None
    assert row.first is not None
    assert isinstance(row.first.value, int | float)
    scale = 100 / abs(float(row.first.value))
    figure.curve(
        x=[scale * row.difference.value],
        y=[height],
        mode="markers",
        marker={
            "size": 9,
            "color": theme.READING if row.resolved else theme.PAPER,
            "line": {"color": theme.READING, "width": 2},
        },
        error_x={
            "type": "constant",
            "value": scale * row.difference.expanded,
            "color": theme.READING,
            "thickness": 1.6,
            "width": 4,
        },
        hovertemplate="%{x:.2f} %",
        name=marks.plain(row.label),
    )
    figure.text(
        text=marks.plain(row.label),
        showarrow=False,
        font={"size": marks.SMALL, "color": theme.INK},
        **{"xref": "paper", "x": 0, "xanchor": "left", "y": height, "yanchor": "bottom", "yshift": 8},
    )
