"""Meters: what an accuracy statement allows, and what an ammeter does to the current that it measures."""

from __future__ import annotations

from pathlib import Path

from reviewkit.metrology.meter import Accuracy, Meter
from worked.check import Check, Row, values


def accuracy_statements(folder: str | Path) -> Check:
    """Return the largest errors that statements of ±(percent of reading + counts) allow.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "meter_specs")
    rows = []
    for case in known["examples"]:
        meter = Meter("meter", "V", Accuracy(case["pct"], case["counts"]), case["lsd"])
        name = f"{case['reading']:g} V, ±({case['pct']:g} % + {case['counts']}), step {case['lsd']:g} V"
        rows.append(
            Row(name, case["limit"], meter.half_width(case["reading"]), _decimals(case["limit"]), "V")
        )
    where = "; ".join(dict.fromkeys(case["where"] for case in known["examples"]))
    return Check(f"{known['source']}: {where}", known["seen"], tuple(rows))


def _decimals(printed: float) -> int:
    return len(f"{printed:g}".partition(".")[2])


def burden(folder: str | Path) -> Check:
    """Return the current that an ammeter in series lets through, V / (R + R_meter).

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "meter_specs")
    rows = []
    for case in known["burden"]:
        meter = Meter("meter", "A", Accuracy(1.0), 0.001, burden_ohm=case["meter_ohm"])
        shown = meter.through(case["source_V"], case["load_ohm"])
        name = f"{case['source_V']:g} V, {case['load_ohm']:g} Ω, meter of {case['meter_ohm']:g} Ω"
        error = 100 * (shown / case["ideal_A"] - 1)
        rows += [
            Row(f"{name}: current", case["shown_A"], shown, 6, "A"),
            Row(f"{name}: error", case["error_percent"], error, 3, "%"),
        ]
    where = "; ".join(case["where"] for case in known["burden"])
    return Check(f"{known['source']}: {where}", known["seen"], tuple(rows))
