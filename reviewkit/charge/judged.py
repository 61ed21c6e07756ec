"""Which finding is held against which limit, and verdicts that no single number decides."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from reviewkit.charge import limits
from reviewkit.charge.analysis import ChargeResult
from reviewkit.findings import Finding
from reviewkit.metrology.conformity import Limit, Verdict


def limit(run: ChargeResult, name: str) -> Limit | None:
    """Return what a quantity is judged against, if anything.

    Parameters
    ----------
    run : ChargeResult
    name : str
        Last part of the finding's key.
    """
    capacity = run.cell.rated_capacity_Ah
    if name == "hold_voltage":
        return limits.voltage(run.cell, both_sides=True)
    if name == "peak_voltage" or name.startswith("settled_voltage"):
        return limits.voltage(run.cell, both_sides=False)
    if name == "plateau_current":
        return limits.charge_current(run.cell)
    if name == "termination_current":
        return limits.termination(capacity)
    if name == "precharge_current":
        return limits.precharge(capacity)
    if name == "current_after":
        return limits.afterwards(capacity, run.delivered.total_Ah if run.delivered else None)
    return None


def between(low: float, high: float, limit: Limit) -> Verdict:
    """Return the verdict on a value of which only the bounds are known.

    Parameters
    ----------
    low, high : float
    limit : Limit
    """
    least = -math.inf if limit.low is None else limit.low
    most = math.inf if limit.high is None else limit.high
    if least <= low and high <= most:
        return "pass"
    return "fail" if high < least or low > most else "inconclusive"


def guarded(run: ChargeResult, name: str, item: Finding) -> Finding:
    """Return the finding with the verdict that a deeply discharged start asks for.

    A start below 2.5 V wants a precharge or a refusal: without a precharge the full current is the fault.
    """
    if name == "current_after" and item.verdict == "fail" and _may_be_inside(item):
        # A limit much narrower than the meter's doubt is missed by chance: that tells nothing.
        return replace(item, verdict="inconclusive")
    cold = started_cold(run)
    if name != "precharge_current" or not cold:
        return item
    if item.value is not None:
        return replace(item, note=f"The cell began {cold}, and the device charged it cautiously. {item.note}")
    if run.phases is None:
        return replace(
            item, verdict="pass", note=f"The cell stood {cold}, and the device refused to charge it."
        )
    note = f"The cell began {cold} and was charged with the full current at once, without a precharge."
    return replace(item, verdict="fail", note=note)


def _may_be_inside(item: Finding) -> bool:
    limit = item.limit
    if limit is None or item.low is None or item.high is None:
        return False
    return between(item.low, item.high, limit) == "inconclusive"


def started_cold(run: ChargeResult) -> str:
    """Return "below 2.5 V" if the cell certainly stood there before the charge, else nothing."""
    start = run.get("start_voltage")
    if start is None or start.high >= limits.COLD_START_V:
        return ""
    return f"below {limits.COLD_START_V:g} V"


def temperature(run: ChargeResult) -> list[Finding]:
    """Return the extremes of the cell's temperature while charging, where it was logged.

    The log's own accuracy is not declared, so the verdict is on what was shown.
    """
    series = run.record.temperature_C
    if series is None or run.phases is None:
        return []
    time = series.index.to_numpy(dtype=float)
    inside = run.phases.mask(time, "precharge", "constant current", "constant voltage", "top-up")
    shown = series.to_numpy(dtype=float)[inside]
    shown = shown[np.isfinite(shown)]
    if not len(shown):
        return []
    allowed = limits.temperature(run.cell)
    note = "As shown: the thermometer’s accuracy is not declared, so there is no uncertainty."
    found = []
    for name, label, value in (
        ("lowest_temperature", "lowest temperature while charging", float(shown.min())),
        ("highest_temperature", "highest temperature while charging", float(shown.max())),
    ):
        low, high = allowed.low, allowed.high
        outside = (low is not None and value < low) or (high is not None and value > high)
        found.append(
            Finding(
                f"charge.{name}",
                label,
                value,
                "degC",
                limit=allowed,
                verdict="fail" if outside else "pass",
                note=note,
            )
        )
    return found
