"""A charge, a drain and a machine of states whose answers can be had with pencil and paper."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd

from reviewkit import charge, drain, ui_states
from reviewkit.charge.analysis import ChargeResult
from reviewkit.drain.features import Mean
from reviewkit.metrology import Measured
from reviewkit.metrology.meter import Accuracy, Meter
from reviewkit.schema.blocks import Cell
from reviewkit.ui_states.evidence import one_switches
from worked.check import Check, Row, values

_PLATEAU_S = 3600.0
_VOLTMETER = Meter("voltmeter", "V", Accuracy(0.5, 2), 0.001)
_AMMETER = Meter("ammeter", "A", Accuracy(0.5, 3), 1e-6)


def taper(folder: str | Path) -> Check:
    """Return a textbook charge: an hour at 1 A, then a taper with one time constant.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "cv_taper")
    record = charge.on_one_clock(*_textbook(known), voltmeter=_VOLTMETER, ammeter=_AMMETER)
    result = charge.analyse_one(record, cell=Cell(rated_capacity_Ah=1.5))
    held = result.delivered.of_phase("constant voltage") if result.delivered else math.nan
    return Check(
        known["source"],
        "computed; the kit reads it from a log with a row each second",
        (
            Row(
                "duration of the taper", known["t_s"], _value(result, "termination_time") - _PLATEAU_S, 0, "s"
            ),
            Row("charge in the taper", known["Q_C"], 3600 * held, 0, "C"),
            Row("termination current", known["I_end_A"], _value(result, "termination_current"), 4, "A"),
        ),
    )


def _value(result: ChargeResult, name: str) -> float:
    found = result.get(name)
    return found.value if found else math.nan


def _textbook(known: dict[str, float]) -> tuple[pd.Series, pd.Series]:
    """Return cell voltage [V] and current [A] by elapsed seconds, a row each second."""
    time = np.arange(-60.0, _PLATEAU_S + known["t_s"] + 4000) + 0.25
    late = time - _PLATEAU_S
    current = known["I0_A"] * np.exp(-np.maximum(late, 0) / known["tau_s"])
    current[(time < 0) | (late > known["t_s"])] = 0.0
    volts = 4.2 - 0.6 * np.maximum(-late, 0) / _PLATEAU_S
    volts[time < 0] = 3.55
    volts[late > known["t_s"]] = 4.19
    return pd.Series(np.round(volts, 6), time), pd.Series(np.round(current, 6), time)


def on_the_shelf(folder: str | Path) -> Check:
    """Return drains turned into days, and self-discharge into a drain.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "drain_conversions")
    rows = []
    for case in known["drains"]:
        value = Measured(case["drain_A"], "A")
        found = drain.days(Mean(value, case["drain_A"]), case["capacity_Ah"]).value
        name = f"{1e6 * case['drain_A']:g} µA from {1e3 * case['capacity_Ah']:g} mAh"
        rows.append(Row(name, case["days"], found.value if found else math.nan, 1, "d"))
    for case in known["self_discharge"]:
        microamperes = 1e6 * drain.self_discharge_A(case["percent_per_month"], case["capacity_Ah"])
        name = f"{case['percent_per_month']:g} % a month of {1e3 * case['capacity_Ah']:g} mAh"
        rows.append(Row(name, 1e6 * case["equivalent_A"], microamperes, 3, "µA"))
    return Check(known["source"], known["seen"], tuple(rows))


def switches(folder: str | Path) -> Check:
    """Return how many single transitions and sequences of two a small machine has.

    Parameters
    ----------
    folder : str or pathlib.Path
        Of the published values.
    """
    known = values(folder, "switch_coverage")
    edges = [ui_states.Transition(start, event, end) for start, end, event in known["transitions"]]
    return Check(
        known["source"],
        known["seen"],
        (
            Row("single transitions", known["single"], len(edges), 0),
            Row(
                "sequences of two, as printed",
                known["of_two_printed"],
                len(one_switches(edges)),
                0,
                "",
                known["slip"],
            ),
            Row("sequences of two, by the adjacency matrix", known["of_two"], len(one_switches(edges)), 0),
        ),
    )
