"""The side of the source: what is drawn from the port, and how much of it reaches the cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.charge import delivered
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.series import FloatArray
from reviewkit.instrument import Meter
from reviewkit.uncertainty import Component, Measured, propagate

_STAYS_SHARE = 0.9
_LOOK_S = 300.0
_COVERED = 0.95
"""Share of the charge that a log of the source must cover for an energy to be taken from it."""


@dataclass(frozen=True)
class PortMeters:
    """The meters on the source's side; None where their accuracy is not declared."""

    voltmeter: Meter | None = None
    ammeter: Meter | None = None


def source_stays(run: ChargeResult) -> bool | None:
    """Return whether the source's voltage stood after the charge current had stopped; None without a log."""
    series = run.record.source_voltage_V
    if series is None or run.phases is None or not run.phases.terminated:
        return None
    time, volts = series.index.to_numpy(dtype=float), series.to_numpy(dtype=float)
    end = run.phases.end_s
    before = volts[(time < end) & (time > end - _LOOK_S)]
    after = volts[(time > end + run.record.interval_s) & (time < end + _LOOK_S)]
    if not len(before) or not len(after):
        return None
    return bool(np.median(after) > _STAYS_SHARE * np.median(before))


def drawn(run: ChargeResult, meters: PortMeters) -> Measured | None:
    """Return the highest steady current drawn from the source [A]; None without a log of it.

    The 99th percentile over the charge: a single inrush row does not decide it.
    """
    series = run.record.source_current_A
    if series is None or run.phases is None:
        return None
    time, amps = series.index.to_numpy(dtype=float), series.to_numpy(dtype=float)
    inside = (time >= run.phases.first_sample_s) & (time <= run.phases.end_s)
    if inside.sum() < 5:
        return None
    value = float(np.quantile(amps[inside], 0.99))
    if meters.ammeter is None:
        return Measured(value, "A")
    return Measured(value, "A", (meters.ammeter.component(value), meters.ammeter.step_component()))


def efficiency(run: ChargeResult, meters: PortMeters) -> Measured | None:
    """Return the energy into the cell over the energy from the port [%]; None without both source logs.

    Parameters
    ----------
    run : ChargeResult
    meters : PortMeters

    Notes
    -----
    Meters that are the same instrument and range on both sides share their unknown, and it cancels as far
    as both sides depend on it alike.
    """
    into = run.get("delivered_energy")
    volts, amps = run.record.source_voltage_V, run.record.source_current_A
    if into is None or volts is None or amps is None or run.phases is None:
        return None
    time, power = _power(
        volts.index.to_numpy(float), volts.to_numpy(float), amps.index.to_numpy(float), amps.to_numpy(float)
    )
    first, last = run.phases.start.value, run.phases.end_s
    inside = (time >= first) & (time <= last)
    if not inside.any() or time[inside][-1] - time[inside][0] < _COVERED * (last - first):
        return None
    energy = float(np.trapezoid(power[inside], time[inside])) / 3600
    edges = (last - first) - float(time[inside][-1] - time[inside][0])
    parts = [
        Component("ends of the source log", edges * float(power[inside].mean()) / 3600, "W.h", "rectangular")
    ]
    parts += [meter.gain_component(energy) for meter in (meters.voltmeter, meters.ammeter) if meter]
    drawn_Wh = Measured(energy, "W.h", tuple(part for part in parts if part.size))
    return propagate(lambda cell, port: 100 * cell / port, into, drawn_Wh, unit="%")


def _power(
    volt_time: FloatArray, volts: FloatArray, amp_time: FloatArray, amps: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the power drawn from the source at the current log's times."""
    inside = (amp_time >= volt_time[0]) & (amp_time <= volt_time[-1])
    return amp_time[inside], amps[inside] * np.interp(amp_time[inside], volt_time, volts)


def over_time(run: ChargeResult, *, windows: int = 40) -> tuple[FloatArray, FloatArray] | None:
    """Return the efficiency [%] in equal windows of the charge: window middles [s] and values.

    Times count from charge start; windows in which hardly anything is drawn are left out.
    """
    volts, amps = run.record.source_voltage_V, run.record.source_current_A
    if volts is None or amps is None or run.phases is None:
        return None
    time, power = _power(
        volts.index.to_numpy(float), volts.to_numpy(float), amps.index.to_numpy(float), amps.to_numpy(float)
    )
    amounts = delivered.integrate(run.record, run.phases)
    edges = np.linspace(max(amounts.time_s[0], time[0]), min(amounts.time_s[-1], time[-1]), windows + 1)
    into = np.diff(np.interp(edges, amounts.time_s, amounts.energy_Wh))
    grown = np.concatenate([[0.0], np.cumsum((power[1:] + power[:-1]) / 2 * np.diff(time) / 3600)])
    out = np.diff(np.interp(edges, time, grown))
    good = out > 0.02 * out.max()
    middles = (edges[1:] + edges[:-1]) / 2 - run.phases.start.value
    return middles[good], 100 * into[good] / out[good]
