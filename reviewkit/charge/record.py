"""A charge as two meters saw it, on one clock.

The voltage log's clock is the record's clock; the current log is moved onto it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from reviewkit.charge.inputs import ChargeRun
from reviewkit.logs import decimation
from reviewkit.logs.log import Gap
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.meter import Meter
from reviewkit.tables import keys

TOLD = ("clock offset as declared", "clocks never compared")
"""Parts of an offset's budget where no step of the logs gave it."""


@dataclass(frozen=True)
class ChargeRecord:
    """One charge, its two logs on one clock.

    Parameters
    ----------
    voltage_V, current_A : pandas.Series
        At the cell, each with its own rows; index ``time_s`` [s] on the record's clock, rising; no missing
        values; current positive into the cell.
    source : str
        What the device was plugged into, as the review names it.
    label : str
        The same as the second place of a finding's key.
    clock_offset : Measured or None [s]
        What was added to the current log's clock; None where one file holds both.
    clock_note : str
        Where the offset comes from.
    stamp_s : float [s]
        Step of the current log's time stamps.
    temperature_C, source_voltage_V, source_current_A : pandas.Series or None
        On the record's clock.
    cable_out_s : float or None [s]
        When the cable was pulled, as declared.
    run : ChargeRun or None
        The review file's entry, for what else it declares.
    inputs : tuple of str
        The log files.
    notes : tuple of str
        What the readers of the logs had to say, in sentences.
    whole : ChargeRecord or None
        What it was thinned from: rows that are left out are no gaps.
    """

    voltage_V: pd.Series
    current_A: pd.Series
    voltmeter: Meter
    ammeter: Meter
    source: str = ""
    label: str = "run_1"
    clock_offset: Measured | None = None
    clock_note: str = ""
    stamp_s: float = 0.0
    temperature_C: pd.Series | None = None
    source_voltage_V: pd.Series | None = None
    source_current_A: pd.Series | None = None
    cable_out_s: float | None = None
    run: ChargeRun | None = None
    inputs: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())
    whole: ChargeRecord | None = field(default=None, repr=False)

    @cached_property
    def time_s(self) -> FloatArray:
        """Times of the current readings [s], shape (n,)."""
        return self.current_A.index.to_numpy(dtype=float)

    @cached_property
    def current(self) -> FloatArray:
        """Current readings [A], shape (n,)."""
        return self.current_A.to_numpy(dtype=float)

    @cached_property
    def voltage(self) -> FloatArray:
        """Cell voltage at the times of the current readings [V], shape (n,); NaN outside the voltage log."""
        return self.voltage_at(self.time_s)

    @cached_property
    def thinned(self) -> ChargeRecord:
        """The same charge in fewer rows where it has very many: enough for whatever is a level."""
        kept = [series.iloc[decimation.rows(len(series))] for series in (self.voltage_V, self.current_A)]
        if len(kept[0]) == len(self.voltage_V) and len(kept[1]) == len(self.current_A):
            return self
        return replace(self, voltage_V=kept[0], current_A=kept[1], whole=self)

    def between(self, start_s: float, end_s: float) -> ChargeRecord:
        """Return the charge's readings between two moments."""
        cut = [
            series.iloc[slice(*np.searchsorted(series.index.to_numpy(dtype=float), (start_s, end_s)))]
            for series in (self.voltage_V, self.current_A)
        ]
        return replace(self, voltage_V=cut[0], current_A=cut[1])

    def voltage_at(self, moments_s: npt.ArrayLike) -> FloatArray:
        """Return the cell voltage at any moments [V]: straight lines between readings, NaN outside."""
        known = self.voltage_V.index.to_numpy(dtype=float)
        shown = self.voltage_V.to_numpy(dtype=float)
        wanted = np.asarray(moments_s, dtype=float)
        return np.asarray(np.interp(wanted, known, shown, np.nan, np.nan), dtype=np.float64)

    @cached_property
    def voltage_time_s(self) -> FloatArray:
        """Times of the voltage readings [s]."""
        return self.voltage_V.index.to_numpy(dtype=float)

    @cached_property
    def voltage_shown(self) -> FloatArray:
        """Voltage readings [V], each at its own moment."""
        return self.voltage_V.to_numpy(dtype=float)

    def voltage_near(self, moments_s: npt.ArrayLike) -> FloatArray:
        """Return the cell voltage at moments [V], NaN within gaps of the voltage log."""
        wanted = np.asarray(moments_s, dtype=float)
        right = np.clip(np.searchsorted(self.voltage_time_s, wanted), 1, len(self.voltage_time_s) - 1)
        wide = self.voltage_time_s[right] - self.voltage_time_s[right - 1]
        usual = local_intervals(self.voltage_time_s, self.voltage_interval_s)[right - 1]
        return np.where(wide > GAP_INTERVALS * usual, np.nan, self.voltage_at(wanted))

    @cached_property
    def interval_s(self) -> float:
        """Usual time between two current readings [s]."""
        return usual_interval(self.time_s)

    @cached_property
    def voltage_interval_s(self) -> float:
        """Usual time between two voltage readings [s]."""
        return usual_interval(self.voltage_V.index.to_numpy(dtype=float))

    @cached_property
    def gaps(self) -> tuple[Gap, ...]:
        """Gaps in the current log."""
        found = gaps_in(self.time_s, self.interval_s)
        return found if self.whole is None else _also_in(found, self.whole.gaps)

    @cached_property
    def voltage_gaps(self) -> tuple[Gap, ...]:
        """Gaps in the voltage log."""
        found = gaps_in(self.voltage_time_s, self.voltage_interval_s)
        return found if self.whole is None else _also_in(found, self.whole.voltage_gaps)

    def gap_after(self, moment_s: float) -> Gap | None:
        """Return the gap of the current log that begins at a row's moment, if any."""
        return next((gap for gap in self.gaps if abs(gap.start_s - moment_s) < 1e-6), None)

    @cached_property
    def noise_A(self) -> float:
        """Scatter of one current reading [A], never below that of the display's own step."""
        return noise_of(self.current, self.ammeter.resolution)

    @cached_property
    def noise_V(self) -> float:
        """Scatter of one voltage reading [V], never below that of the display's own step."""
        return noise_of(self.voltage_V.to_numpy(dtype=float), self.voltmeter.resolution)

    @property
    def clock_is_declared(self) -> bool:
        """Whether the clocks' offset was stated or assumed: no step that both logs show has confirmed it."""
        return any(part.name in TOLD for part in self.clock_components())

    def clock_components(self) -> tuple[Component, ...]:
        """Return the doubt of the offset, for a finding that sets one log's times against the other's."""
        return self.clock_offset.components if self.clock_offset else ()


def label_of(source: str, number: int) -> str:
    """Return a source's name as a finding's key holds it: "laptop port" → "laptop_port"."""
    return keys.key(source) or f"run_{number}"


def on_one_clock(
    voltage_V: pd.Series,
    current_A: pd.Series,
    *,
    voltmeter: Meter,
    ammeter: Meter,
    clock_offset: Measured | None = None,
    **more: object,
) -> ChargeRecord:
    """Return a record from two series.

    Parameters
    ----------
    voltage_V, current_A : pandas.Series
        Index in seconds, each on its own clock.
    voltmeter, ammeter : Meter
    clock_offset : Measured or None [s]
        Add it to the current log's clock to reach the voltage log's; None: they share one.
    **more
        Further fields of `ChargeRecord`.

    Raises
    ------
    ValueError
        If a series has fewer than five readings.

    Examples
    --------
    >>> first = records[0]
    >>> meters = {"voltmeter": first.voltmeter, "ammeter": first.ammeter}
    >>> second = on_one_clock(first.voltage_V, first.current_A, **meters)
    >>> second.interval_s == first.interval_s
    True
    """
    voltage, current = clean(voltage_V), clean(current_A)
    for name, series in (("voltage", voltage), ("current", current)):
        if len(series) < 5:
            raise ValueError(f"the {name} log has {len(series)} readings; a charge needs at least five")
    if clock_offset is not None:
        current = current.set_axis(current.index.to_numpy(dtype=float) + clock_offset.value)
    return ChargeRecord(
        voltage.rename_axis("time_s").rename("voltage_V"),
        current.rename_axis("time_s").rename("current_A"),
        voltmeter,
        ammeter,
        clock_offset=clock_offset,
        **more,  # type: ignore[arg-type]
    )


FloatArray = npt.NDArray[np.float64]

GAP_INTERVALS = 2.5
"""An interval longer than this many usual ones is a gap."""

LOCAL_STEPS = 7
"""Intervals whose median is usual where they lie: an odd few, so that one long one among them is a gap:
chosen.
"""

SWITCHING, SWITCHED = 0.1, 0.04
"""Steps beyond this share of the reading are switchings, where more than so many of all are: chosen."""


def usual_interval(time_s: FloatArray) -> float:
    """Return the median interval [s], doubled stamps not counted; 0 with fewer than two rows."""
    steps = _some_steps(time_s)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 0.0


def _some_steps(values: FloatArray) -> FloatArray:
    """Return the steps from row to row, of a long log an even choice of them."""
    steps = np.diff(values)
    return np.asarray(steps[decimation.rows(len(steps))])


def local_intervals(time_s: FloatArray, interval_s: float) -> FloatArray:
    """Return what is usual about each interval between rows [s], shape (n - 1,): a log may change its rate.

    Parameters
    ----------
    interval_s : float [s]
        Usual in the whole log.
    """
    steps = np.diff(time_s)
    if not len(steps) or steps.max() <= GAP_INTERVALS * interval_s:
        return np.full(len(steps), interval_s)
    # Mirrored: a lone first or last row would make the gap beside it usual there.
    return np.maximum(running_median(steps, LOCAL_STEPS, beyond="mirror"), 1e-9)


def running_median(
    values: FloatArray, size: int, *, beyond: Literal["nearest", "mirror"] = "nearest"
) -> FloatArray:
    """Return the median of so many neighbours about each value; beyond the ends its last or its mirror."""
    from scipy import ndimage

    library: Any = ndimage
    return np.asarray(library.median_filter(values, size=size, mode=beyond), dtype=np.float64)


def gaps_in(time_s: FloatArray, interval_s: float) -> tuple[Gap, ...]:
    """Return the stretches in which readings are missing: intervals much longer than is usual there."""
    if interval_s <= 0:
        return ()
    steps, usual = np.diff(time_s), np.maximum(local_intervals(time_s, interval_s), interval_s)
    where = np.flatnonzero(steps > GAP_INTERVALS * usual)
    return tuple(Gap(float(time_s[row]), float(time_s[row + 1])) for row in where)


def _also_in(found: Sequence[Gap], whole: Sequence[Gap]) -> tuple[Gap, ...]:
    """Return those gaps of a thinned log that are gaps of the whole one for most of their time."""
    if not whole:
        return ()
    starts, ends = (np.array([getattr(one, end) for one in whole]) for end in ("start_s", "end_s"))
    kept = []
    for gap in found:
        inside = np.minimum(ends, gap.end_s) - np.maximum(starts, gap.start_s)
        if float(np.maximum(inside, 0.0).sum()) > gap.length_s / 2:
            kept.append(gap)
    return tuple(kept)


def noise_of(values: FloatArray, resolution: float) -> float:
    """Return the standard deviation of one reading: from successive differences, at least δ/√12."""
    floor = resolution / math.sqrt(12)
    if len(values) < 3:
        return floor
    steps = _some_steps(values)
    # A current that is switched on and off all the time: its switchings are no noise.
    larger = np.maximum(np.abs(values[1:]), np.abs(values[:-1]))
    if len(steps) == len(larger):
        part = np.abs(steps) / np.maximum(larger, 1e-12)
        flows = larger > SWITCHED * float(np.quantile(np.abs(values), 0.995))
        if ((part > 0.5) & flows).mean() > SWITCHED and (flows & (part <= SWITCHING)).mean() > SWITCHED:
            steps = steps[flows & (part <= SWITCHING)]
    # The median alone is zero where the display mostly stands still; the trimmed mean square is not.
    limit = np.quantile(np.abs(steps), 0.95)
    scatter = float(np.sqrt(np.mean(np.minimum(np.abs(steps), limit) ** 2) / 2))
    return max(floor, scatter)


def clean(series: pd.Series) -> pd.Series:
    """Return a series without missing values, its index rising (doubled stamps keep their order)."""
    missing = series.isna().to_numpy()
    known = series[~missing] if missing.any() else series
    index = known.index.to_numpy(dtype=float)
    return known if bool(np.all(index[1:] >= index[:-1])) else known.sort_index(kind="stable")
