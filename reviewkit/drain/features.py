"""Base, height, width and period of a pulse train, each resolved or bounded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reviewkit.drain.rows import Flags, FloatArray, Rows
from reviewkit.drain.seen import Seen
from reviewkit.drain.train import Train
from reviewkit.metrology import Component, Measured, left_of_step
from reviewkit.metrology.meter import Meter

LEAST_WIDTH_ROWS = 2.0
"""A pulse shorter than this many rows has no resolved width."""
CLOCK = 1e-4
"""Relative error of the meter's clock (rectangular half-width): common practice for a crystal, no source."""
_PLATEAU = 0.1
"""Share of rows that must lie at one level for it to be the base."""


@dataclass(frozen=True)
class Feature:
    """One property of the pulses: a value where the rows resolve it, else what they bound.

    Parameters
    ----------
    value : Measured or None
        None where it is not resolved.
    low, high : float or None
        What the rows prove where it is not resolved.
    why : str
        Why it is not resolved; a clause for a reader.
    """

    value: Measured | None = None
    low: float | None = None
    high: float | None = None
    why: str = ""

    @property
    def resolved(self) -> bool:
        """Whether there is a value."""
        return self.value is not None


@dataclass(frozen=True)
class Features:
    """What the pulses look like.

    Parameters
    ----------
    base, height, width, period : Feature
        [A], above the base [A], [s], [s].
    charge_As : Measured or None [A·s]
        Charge of one pulse above the base, from regular trains.
    """

    base: Feature
    height: Feature
    width: Feature
    period: Feature
    charge_As: Measured | None = None


def steady(one: Rows, what: Seen, meter: Meter) -> Features:
    """Return the features of rows without a pulse in sight."""
    why = "no pulse stands out of the rows"
    none = Feature(why=why)
    return Features(Feature(_base(one, np.ones(len(one), dtype=bool), what, meter)), none, none, none)


def dipping(one: Rows, what: Seen, meter: Meter) -> Features:
    """Return bounds for rows some of which lie below all the others, as those of a faster train do."""
    why = (
        "some rows lie clearly below the others, as where pulses come nearly as often as the rows; "
        "log once more at another row rate"
    )
    lowest = float(one.current_A.min()) + what.noise_A
    none = Feature(why=why)
    height = Feature(low=_at_least(float(-what.above_A.min()) - 2 * what.noise_A, meter), why=why)
    return Features(Feature(high=lowest + meter.half_width(lowest), why=why), height, none, none)


def _at_least(height_A: float, meter: Meter) -> float:
    """Return the least true height behind one that was seen: the meter's percent may have made it larger."""
    return max(height_A / (1 + meter.accuracy.percent / 100), 0.0)


def irregular(one: Rows, what: Seen, meter: Meter, why: str) -> Features:
    """Return the features of rows in which pulses stand out that are no regular train."""
    quiet = what.above_A < max(3 * what.noise_A, meter.resolution)
    base = Feature(_base(one, quiet, what, meter))
    top = float(what.above_A.max()) - what.threshold_A / 2
    height = Feature(low=_at_least(top, meter), why=why)
    return Features(base, height, Feature(why=why), Feature(why=why))


def regular(one: Rows, what: Seen, train: Train, meter: Meter) -> Features:
    """Return the features of a regular train seen through gapless rows."""
    if train.folded:
        return _folded(one, what, train, meter)
    quiet = _quiet(one, what, train, meter)
    if quiet.mean() < _PLATEAU:
        return _folded(one, what, train, meter)
    base = _base(one, quiet, what, meter)
    charge = _charge(one, quiet, train, base, what, meter)
    height, width = _shape(one, quiet, train, base, charge, what, meter)
    return Features(Feature(base), height, width, Feature(_period(train)), charge)


def _folded(one: Rows, what: Seen, train: Train, meter: Meter) -> Features:
    """Nothing but bounds: a faster train would look the same in these rows."""
    why = (
        f"rows {one.interval_s:.3g} s apart show the same for a faster train; "
        "log once more at another row rate: an image would move"
    )
    lowest = float(np.quantile(one.current_A, 0.02)) + what.noise_A
    bound = lowest + meter.half_width(lowest)
    swing = float(np.quantile(what.above_A, 0.98) - np.quantile(what.above_A, 0.02)) - 4 * what.noise_A
    return Features(
        Feature(high=bound, why=why),
        Feature(low=_at_least(swing, meter), why=why),
        Feature(why=why),
        Feature(high=train.period_s * (1 + 1e-3), why=why),
    )


def _quiet(one: Rows, what: Seen, train: Train, meter: Meter) -> Flags:
    """Return which rows hold nothing but the base."""
    away = np.abs(train.offset_s(one.time_s))
    clear = away > train.extent_s / 2 + one.interval_s
    if clear.mean() >= _PLATEAU:
        return np.asarray(clear)
    return np.asarray(what.above_A < max(3 * what.noise_A, meter.resolution))


def _base(one: Rows, quiet: Flags, what: Seen, meter: Meter) -> Measured:
    values = one.current_A[quiet]
    level = float(values.mean())
    return Measured(level, "A", (meter.component(level), _repeat("readings at the base", values)))


def _repeat(name: str, values: FloatArray) -> Component:
    """Return the scatter of a mean by the means of up to ten stretches: slow wander counts too."""
    parts = np.array_split(values, min(10, max(2, len(values) // 5))) if len(values) > 3 else [values]
    means = np.array([part.mean() for part in parts if len(part)])
    if len(means) < 2:
        return Component(f"scatter of the {name}", 0.0, "A")
    deviation = float(means.std(ddof=1) / np.sqrt(len(means)))
    return Component(f"scatter of the {name}", deviation, "A", dof=len(means) - 1)


def _period(train: Train) -> Measured:
    return Measured(
        train.period_s,
        "s",
        (
            Component("place of each pulse within its rows", train.period_half_width_s, "s", "rectangular"),
            Component("meter's clock", CLOCK, "1", "rectangular", train.period_s),
        ),
    )


def _charge(one: Rows, quiet: Flags, train: Train, base: Measured, what: Seen, meter: Meter) -> Measured:
    """Return the mean charge of a pulse: everything above the base, cycle by cycle."""
    turns = np.round((one.time_s - train.first_s) / train.period_s).astype(np.int64)
    index = turns - turns.min()
    above = np.where(quiet, 0.0, one.current_A - base.value) * one.width_s
    sums = np.bincount(index, above)
    inside = sums[1:-1] if len(sums) > 4 else train.charge_As
    value = float(inside.mean())
    rows_in_pulse = float(np.sum(~quiet)) / max(len(sums), 1)
    level = _repeat("readings at the base", one.current_A[quiet])
    scatter = float(inside.std(ddof=1) / np.sqrt(len(inside))) if len(inside) > 1 else 0.0
    return Measured(
        value,
        "A·s",
        (
            Component("scatter from pulse to pulse", scatter, "A·s", dof=max(1, len(inside) - 1)),
            Component(
                "level of the base under the pulses",
                level.size,
                "A",
                sensitivity=rows_in_pulse * one.interval_s,
            ),
            meter.gain_component(value),
        ),
    )


def _shape(
    one: Rows, quiet: Flags, train: Train, base: Measured, charge: Measured, what: Seen, meter: Meter
) -> tuple[Feature, Feature]:
    """Return height above the base and width."""
    away = np.abs(train.offset_s(one.time_s))
    highest = float(np.quantile(one.current_A[away < one.interval_s], 0.9)) - base.value
    width = charge.value / highest if highest > 0 else 0.0
    core = away <= max((width - one.interval_s) / 2 - 0.25 * one.interval_s, 0.0)
    seen_height = highest - 2 * what.noise_A - meter.resolution
    bounds = (
        Feature(low=_at_least(seen_height, meter), why=_short(one)),
        Feature(high=charge.high / seen_height if seen_height > 0 else train.period_s, why=_short(one)),
    )
    if width < LEAST_WIDTH_ROWS * one.interval_s or core.sum() < max(3, train.cycles // 2):
        return bounds
    top = one.current_A[core]
    height = _height(top, one.current_A[quiet], base, meter)
    width_s = _width(charge, height)
    if width_s.low < LEAST_WIDTH_ROWS * one.interval_s:
        return bounds
    return Feature(height), Feature(width_s)


def _short(one: Rows) -> str:
    return (
        f"the pulse is shorter than two rows ({2 * one.interval_s:.3g} s): "
        "averaging over a row shows it too low and too wide"
    )


def _height(top: FloatArray, low: FloatArray, base: Measured, meter: Meter) -> Measured:
    """Return top less base: the statement's counts drop out, and what noise has shaken of its step."""
    value = float(top.mean()) - base.value
    return Measured(
        value,
        "A",
        (
            meter.gain_component(value),
            *(
                Component(
                    f"{meter.label}: resolution",
                    left_of_step(float(np.var(rows)), meter.resolution),
                    "A",
                    "rectangular",
                )
                for rows in (top, low)
            ),
            _repeat("readings on top of the pulses", top),
            *(part for part in base.components if not part.shared),
        ),
    )


def _width(charge: Measured, height: Measured) -> Measured:
    """Return charge over height: the meter's percent cancels, and gapless rows lose nothing at an edge."""
    value = charge.value / height.value
    parts = [part.scaled(1 / height.value) for part in charge.components if not part.shared]
    parts += [part.scaled(-value / height.value) for part in height.components if not part.shared]
    return Measured(value, "s", tuple(parts))
