"""What a charge is doing now: the kit's own reading of both logs so far."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from reviewkit.charge import delivered, ending, regimes
from reviewkit.charge.inputs import ChargeInputs, termination_limit
from reviewkit.charge.reading import read as charge_read
from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.regimes import Phase, Phases
from reviewkit.errors import InputError
from reviewkit.following.forecast import FAR_V, KNOWN_STOP, MOST_OHM, Forecast, SoFar, forecast
from reviewkit.metrology import Measured
from reviewkit.schema.blocks import Cell


@dataclass(frozen=True)
class Earlier:
    """What an earlier charge of the same device has shown.

    Parameters
    ----------
    stop_A : float or None [A]
        The current at which it ended.
    set_V, series_ohm : float or None [V, ohm]
        Set voltage, and resistance between regulation point and cell.
    """

    stop_A: float | None = None
    set_V: float | None = None
    series_ohm: float | None = None


@dataclass(frozen=True)
class Standing:
    """A charge as both logs show it so far; times on the voltage log's clock.

    Parameters
    ----------
    phases : Phases or None
        None: no charge current has flowed yet.
    now : Phase
        What the charger is doing, and since when.
    """

    record: ChargeRecord
    phases: Phases | None
    now: Phase
    delivered: Measured | None = None
    forecast: Forecast | None = None

    @property
    def since_half_s(self) -> float:
        """How well the beginning of what the charger does now is known [s]."""
        if self.phases is None:
            return 0.0
        known = {"constant voltage": self.phases.knee, "terminated": self.phases.end}.get(self.now.name)
        return self.record.interval_s if known is None else known.expanded


def read(record: ChargeRecord, *, cell: Cell, earlier: Earlier | None = None) -> Standing:
    """Return how a charge stands.

    Parameters
    ----------
    record : ChargeRecord
        The rows so far.
    earlier : Earlier or None
    """
    phases = regimes.find(record, cell=cell)
    if phases is None:
        whole = Phase("before", float(record.time_s[0]), float(record.time_s[-1]))
        return Standing(record, None, whole)
    amounts = delivered.integrate(record, phases)
    now = phases.spans[-1]
    if now.name == "terminated" and not phases.terminated:
        # It has stopped, and not as a charge ends: mains, cable or device.
        now = replace(now, name="interrupted")
    flows = now.name in ("precharge", "constant current", "constant voltage")
    coming = None
    if flows and (known := so_far(record, phases, amounts, cell=cell, earlier=earlier)) is not None:
        coming = forecast(known)
    return Standing(record, phases, now, delivered.charge(amounts), coming)


def so_far(
    record: ChargeRecord,
    phases: Phases,
    amounts: delivered.Delivered,
    *,
    cell: Cell,
    earlier: Earlier | None = None,
) -> SoFar | None:
    """Return what a forecast goes by; None where there is too little of it."""
    start = phases.first_sample_s
    bins = phases.bins
    use = np.isfinite(bins.voltage_V) & (bins.time_s >= start) & (bins.time_s <= phases.main[-1].last_s)
    if phases.precharge_end is not None:
        use &= bins.time_s > phases.precharge_end.value
    if use.sum() < 6:
        return None
    time = bins.time_s[use]
    charge = np.interp(time, amounts.time_s, amounts.charge_Ah)
    last = time >= time[-1] - max(600.0, 0.1 * float(np.ptp(time)))
    grown, took = float(np.ptp(charge[last])), float(np.ptp(time[last]))
    rest = record.voltage_shown[record.voltage_time_s < start - record.voltage_interval_s]
    told = cell.model_fields_set & {"min_termination_A", "max_termination_A"}
    limit = termination_limit(cell) if told else None
    before = earlier or Earlier()
    stop = None
    if before.stop_A is not None:
        stop = (before.stop_A * (1 - KNOWN_STOP), before.stop_A * (1 + KNOWN_STOP))
    if stop is None and limit is not None and limit.low and limit.high:
        stop = (limit.low, limit.high)
    held = _held(record, phases, cell)
    return SoFar(
        time - start,
        bins.current_A[use],
        bins.voltage_V[use],
        charge,
        float(record.time_s[-1]) - start,
        grown * 3600 / took if took > 0 else float(bins.current_A[use][-1]),
        cell.chemistry,
        cell.limit_V,
        cell.rated_capacity_Ah,
        record.ammeter.series_ohm,
        stop,
        float(np.median(rest[-20:])) if len(rest) > 2 else None,
        held,
        phases.knee.value - start if held and phases.knee is not None else None,
        (before.set_V, before.series_ohm)
        if before.set_V is not None and before.series_ohm is not None
        else None,
    )


def _held(record: ChargeRecord, phases: Phases, cell: Cell) -> tuple[float, float] | None:
    """Return set voltage and resistance where the voltage limit has shown; a foldback's are no charger's."""
    if phases.knee is None or phases.set_V is None or phases.series_ohm is None:
        return None
    usual = phases.series_ohm < MOST_OHM + record.ammeter.series_ohm
    near = abs(phases.set_V - cell.limit_V) < FAR_V
    return (phases.set_V, phases.series_ohm) if usual and near else None


def earlier(inputs: ChargeInputs, number: int, folder: Path) -> Earlier | None:
    """Return what the charges before one have shown of the device; None where none can be read.

    Parameters
    ----------
    number : int
        The charge's, from 1.
    """
    for run in reversed(inputs.charge_runs[: number - 1]):
        try:
            (record,) = charge_read(inputs.model_copy(update={"charge_runs": (run,)}), folder=folder)
        except InputError:
            continue
        phases = regimes.find(record, cell=inputs.cell)
        if phases is None or not phases.terminated:
            continue
        stop = ending.stop_A(record, phases.profile, phases.main[-1])
        return Earlier(stop, *(_held(record, phases, inputs.cell) or (None, None)))
    return None
