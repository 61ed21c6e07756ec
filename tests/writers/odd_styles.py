"""A third set of styles: spellings that are rarer, and easily read as something else."""

from __future__ import annotations

from collections.abc import Sequence

from .pieces import A, Column, Truth, V, autoranged, elapsed, same, seconds, stamped
from .styles import T_S, VA, Columns, Style, Text


def spelled(column: Column, before: str = "", after: str = "") -> Column:
    """Return a column with something before and behind each cell."""
    return lambda t: [f"{before}{cell}{after}" for cell in column(t)]


def unpadded(t: Truth) -> Sequence[str]:
    """Hours, minutes and seconds without noughts in front: 0:5:30."""
    return [f"{s // 3600}:{s // 60 % 60}:{s % 60}" for s in t.time_s.astype(int).tolist()]


def in_turn(t: Truth) -> bytes:
    """One row for the voltage, one for the current, in turn."""
    rows = ["time,channel,value"]
    for second, volts, amps in zip(t.time_s, t.volts, t.amps, strict=True):
        rows += [f"{second:.0f},V,{volts}", f"{second:.0f},A,{amps}"]
    return "\n".join([*rows, ""]).encode()


def _style(name: str, columns: Columns, holds: str = "VA", step_s: float = 1.0, **text: object) -> Style:
    return Style(name, Text(columns, **text), holds, step_s)  # type: ignore[arg-type]


_SHOWN, _UNIT = autoranged("A")

ODD = (
    _style(
        "a date and a time of six digits",
        (("Date", stamped("%Y%m%d")), ("Time", stamped("%H%M%S")), *VA),
    ),
    _style("a time of six digits over midnight", (("Time", stamped("%H%M%S")), *VA)),
    _style("a stamp of fourteen digits", (("time", stamped("%Y%m%d%H%M%S")), *VA), sep=";"),
    _style(
        "a zone's name behind", (("Timestamp", spelled(stamped("%m/%d/%Y %I:%M:%S %p"), after=" EST")), *VA)
    ),
    _style("clock without noughts", (("Time(H:M:S)", unpadded), *VA)),
    _style("days, then letters", (("Elapsed", elapsed("{d:d}d {H:02d}h{m:02d}m{s:02d}s")), *VA)),
    _style("ts in milliseconds", (("ts", seconds(0, 1000)), *VA), step_s=1e-3),
    _style("time in tenths", (("Time(0.1s)", seconds(0, 10)), *VA), step_s=0.1),
    _style("time in a count of samples", (("total time (counts)", seconds(0, 1000)), *VA), step_s=1e-3),
    _style(
        "readings in tens of thousandths", (T_S, ("Voltage(x10mV)", V(100, 2)), ("Current(x10mA)", A(100, 2)))
    ),
    _style(
        "charge and discharge current",
        (T_S, VA[0], ("Charge Current(A)", A()), ("Discharge Current(A)", same("0.000"))),
    ),
    _style(
        "labels before the numbers, no headings",
        (
            ("", stamped("%H:%M:%S")),
            ("", same("->")),
            ("", same("V:")),
            ("", V()),
            ("", same("I:")),
            ("", A(1000, 1)),
        ),
        sep=" ",
        heading=False,
    ),
    _style(
        "a line above that looks like data",
        (("Status", same("OK")), T_S, *VA),
        above="Device,7\nRows,400,\n\n",
    ),
    _style(
        "a heading with a comma of its own, and all rows end in one",
        (("Time, s", seconds()), *VA),
        trailing=",",
    ),
    Style("channels in turn", in_turn),
    _style(
        "units in turn", (("When", stamped("%d.%m.%y %H:%M:%S")), ("value", _SHOWN), ("unit", _UNIT)), "A"
    ),
)
