"""Several sources: whether the charge is the same on all of them, and who ends it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from reviewkit import logs
from reviewkit.charge import delivered
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.record import ChargeRecord, FloatArray
from reviewkit.charge.regimes import Phases
from reviewkit.errors import LogError
from reviewkit.logs import clock_sync
from reviewkit.metrology import Component, Measured, difference, propagate
from reviewkit.metrology.meter import Meter

EndedBy = Literal["device", "source", "undecided"]


@dataclass(frozen=True)
class SameOrNot:
    """One quantity on two sources.

    Parameters
    ----------
    first, second : str
        The sources' names.
    difference : Measured
        Second − first; the meters' shared unknowns have cancelled.
    """

    quantity: str
    first: str
    second: str
    difference: Measured

    @property
    def same(self) -> bool:
        """Whether the difference is within its uncertainty."""
        return abs(self.difference.value) <= self.difference.expanded


def compare(quantities: Mapping[str, Mapping[str, Measured]]) -> tuple[SameOrNot, ...]:
    """Return, quantity by quantity, whether each source gives what the first one gave.

    Parameters
    ----------
    quantities : mapping of str to mapping of str to Measured
        Quantity → source → value; a source without the quantity is passed over.

    Returns
    -------
    tuple of SameOrNot
        Empty with fewer than two sources.
    """
    rows: list[SameOrNot] = []
    for quantity, by_source in quantities.items():
        names = list(by_source)
        rows.extend(
            SameOrNot(quantity, names[0], other, difference(by_source[other], by_source[names[0]]))
            for other in names[1:]
        )
    return tuple(rows)


@dataclass(frozen=True)
class Ending:
    """Who ended the charge, and on what evidence.

    Parameters
    ----------
    evidence : str
        What it rests on, by name: the sentence is worded in ``templates/words/charge.j2``.
    """

    by: EndedBy
    evidence: str


def who_ends(
    terminates: bool, source_controls: bool | None, source_stays: bool | None, same_on_all: bool | None
) -> Ending:
    """Return who ended the charge.

    Parameters
    ----------
    terminates : bool
        Whether the current stopped at all.
    source_controls : bool or None
        Whether the source has a charge control of its own, as the review file declares; None: not said.
    source_stays : bool or None
        Whether a log of the source shows its voltage standing while the current stopped; None: no log.
    same_on_all : bool or None
        Whether termination was the same on several different sources; None: only one.
    """
    if not terminates:
        return Ending("undecided", "never stopped")
    if source_stays is False:
        return Ending("source", "source fell")
    if source_controls is False:
        return Ending("device", "source stood" if source_stays else "no control declared")
    if same_on_all:
        return Ending("device", "alike on all")
    return Ending("undecided", "source controls" if source_controls else "control not said")


def named_pairs(rows: Sequence[SameOrNot]) -> str:
    """Return the quantities that differ, in words, or nothing if none does."""
    return ", ".join(sorted({row.quantity for row in rows if not row.same}))


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

    Notes
    -----
    Meters that are the same instrument and range on both sides share their unknown, and it cancels as far
    as both sides depend on it alike.
    """
    into = run.get("delivered_energy")
    volts, amps = run.record.source_voltage_V, run.record.source_current_A
    if into is None or volts is None or amps is None or run.phases is None:
        return None
    drawn_Wh = _energy(run.phases, volts, amps, lag(run.record), meters)
    if drawn_Wh is None:
        return None
    return propagate(lambda cell, port: 100 * cell / port, into, drawn_Wh, unit="%")


def _energy(
    phases: Phases, volts: pd.Series, amps: pd.Series, lag: Measured, meters: PortMeters
) -> Measured | None:
    """Return the energy drawn over the main charge [W.h]; None where the log does not cover it."""
    time, current, volt = _power(*_columns(volts), *_columns(amps))
    first, last = phases.start.value + lag.value, phases.end_s + lag.value
    inside = (time >= first) & (time <= last)
    if not inside.any() or time[inside][-1] - time[inside][0] < _COVERED * (last - first):
        return None
    # The row nearest to an end stands for what lies between it and that end.
    moments = np.concatenate([[first], time[inside], [last]])
    power = np.pad(current[inside] * volt[inside], 1, mode="edge")
    charge_Ah = float(np.trapezoid(np.pad(current[inside], 1, mode="edge"), moments)) / 3600
    energy, hours = float(np.trapezoid(power, moments)) / 3600, (last - first) / 3600
    ends_s = (moments[1] - first, last - moments[-2])
    parts = [
        Component("ends of the source log", gap / 2 * watts / 3600, "W.h", "rectangular")
        for gap, watts in zip(ends_s, (power[0], power[-1]), strict=True)
    ]
    parts += [part.scaled(float(power[0] - power[-1]) / 3600) for part in lag.components]
    if meters.voltmeter and charge_Ah > 0:
        parts.append(meters.voltmeter.component(energy / charge_Ah, charge_Ah))
    if meters.ammeter and charge_Ah > 0:
        parts.append(meters.ammeter.component(charge_Ah / hours, hours * energy / charge_Ah))
    return Measured(energy, "W.h", tuple(part for part in parts if part.contribution > 0))


def _columns(series: pd.Series) -> tuple[FloatArray, FloatArray]:
    return series.index.to_numpy(dtype=float), series.to_numpy(dtype=float)


def _power(
    volt_time: FloatArray, volts: FloatArray, amp_time: FloatArray, amps: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the current log's times [s] with current [A] and voltage [V] at them."""
    inside = (amp_time >= volt_time[0]) & (amp_time <= volt_time[-1])
    return amp_time[inside], amps[inside], np.interp(amp_time[inside], volt_time, volts)


def over_time(run: ChargeResult, *, windows: int = 40) -> tuple[FloatArray, FloatArray] | None:
    """Return the efficiency [%] in equal windows of the charge: window middles [s] and values.

    Times count from charge start; windows in which hardly anything is drawn are left out.
    """
    volts, amps = run.record.source_voltage_V, run.record.source_current_A
    if volts is None or amps is None or run.phases is None:
        return None
    time, current, volt = _power(*_columns(volts), *_columns(amps))
    power = current * volt
    amounts = delivered.integrate(run.record, run.phases)
    edges = np.linspace(max(amounts.time_s[0], time[0]), min(amounts.time_s[-1], time[-1]), windows + 1)
    into = np.diff(np.interp(edges, amounts.time_s, amounts.energy_Wh))
    grown = np.concatenate([[0.0], np.cumsum((power[1:] + power[:-1]) / 2 * np.diff(time) / 3600)])
    out = np.diff(np.interp(edges, time, grown))
    good = out > 0.02 * out.max()
    middles = (edges[1:] + edges[:-1]) / 2 - run.phases.start.value
    return middles[good], 100 * into[good] / out[good]


_SHARE = 0.5
"""The port's current is read as the voltage over this many ohms: any below what a cell may have does."""

UNCOMPARED_S = 120.0
"""Two clocks that nobody compared agree within this: common practice, no source."""


def lag(record: ChargeRecord) -> Measured:
    """Return what to add to the record's times to reach the source log's [s].

    Parameters
    ----------
    record : ChargeRecord
        With a log of the source's current, already moved by what is declared.

    Notes
    -----
    Where the two currents share no step, the clocks are taken as they stand.
    """
    assert record.source_current_A is not None
    port, own = (_rising(series) for series in (record.source_current_A * _SHARE, record.current_A))
    try:
        found = clock_sync.align(logs.of_series(port, "V"), logs.of_series(own, "A"))
    except LogError:
        doubt = Component("source log’s clock, never compared", UNCOMPARED_S, "s", "rectangular")
        return Measured(0.0, "s", (doubt,))
    return Measured(
        found.shift_s,
        "s",
        tuple(
            Component(f"source log’s clock: {part.name}", part.size, part.unit, part.distribution)
            for part in found.offset.components
        ),
    )


def _rising(series: pd.Series) -> pd.Series:
    known = series.dropna()
    return known[~known.index.duplicated()]
