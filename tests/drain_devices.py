"""Simulated drains of every kind and the meters that log them, for the tests and the study of the split.

Nothing here uses the kit: a device is a sum of currents whose charge is known in closed form, a row is the
difference of two charges over the time that the meter looked. What is true of a log is kept beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Charge = Callable[[Array], Array]

KINDS = ("flat", "plain", "fixed", "jittered", "bursts", "two trains", "decaying", "hum", "drifting")
_START_S = -50.0
"""Trains begin this long before the log, so that it opens in the midst of one."""


@dataclass(frozen=True)
class Truth:
    """What is true of a device while it is logged.

    Parameters
    ----------
    kind : str
    base_A : float [A]
        The level under the pulses; of a hum, the level about which it swings.
    lowest_A, highest_A : float [A]
        Least and greatest current of the settled device.
    height_A, width_s : float or None
        Of its pulses; of a decaying one, the peak and what the charge is in terms of it.
    period_s : float or None [s]
        From pulse to pulse, from group to group.
    intervals_s : array [s]
        Between successive pulses within the log.
    asleep_s : float [s]
        When the device fell asleep; 0: before the log.
    charge : callable
        From time 0 to a time, of the settled device [A·s].
    steady_A : float or None [A]
        Mean in the long run; None: it changes.
    second_s : float or None [s]
        Period of a second train.
    """

    kind: str
    base_A: float
    lowest_A: float
    highest_A: float
    charge: Charge
    height_A: float | None = None
    width_s: float | None = None
    period_s: float | None = None
    intervals_s: Array = field(default_factory=lambda: np.empty(0))
    asleep_s: float = 0.0
    steady_A: float | None = None
    second_s: float | None = None

    def mean_A(self, begin_s: float, end_s: float) -> float:
        """Return the true mean of the state; of one that changes, between two times [A]."""
        if self.steady_A is not None:
            return self.steady_A
        ends = self.charge(np.array([begin_s, end_s]))
        return float((ends[1] - ends[0]) / (end_s - begin_s))


@dataclass(frozen=True)
class Record:
    """A log as its meter wrote it, and what the reviewer declares.

    Parameters
    ----------
    time_s, current_A : array, shape (n,)
        NaN: overload.
    truth : Truth
    resolution_A, full_scale_A, percent, counts : float
        The range in use and its accuracy.
    interval_s : float [s]
    aperture_s : float [s]
        How long the meter looks for each row, as is true.
    declared_s : float or None [s]
        The same as declared.
    """

    time_s: Array
    current_A: Array
    truth: Truth
    resolution_A: float
    full_scale_A: float
    percent: float
    counts: float
    interval_s: float
    aperture_s: float
    declared_s: float | None


def level(current_A: float) -> Charge:
    """A steady current."""
    return lambda time: current_A * time


def rectangles(starts_s: Array, width_s: float, height_A: float) -> Charge:
    """Pulses with upright edges, none over another."""
    edges = np.column_stack([starts_s, starts_s + width_s]).ravel()
    filled = np.repeat(np.arange(len(starts_s) + 1) * width_s * height_A, 2)[1:-1]
    return lambda time: np.interp(time, edges, filled)


def decays(starts_s: Array, time_constant_s: float, height_A: float) -> Charge:
    """Pulses that jump up and fade away."""

    def charge(time: Array) -> Array:
        number = np.searchsorted(starts_s, time, side="right")
        total = height_A * time_constant_s * np.maximum(number - 12, 0).astype(float)
        for back in range(1, 13):
            which = number - back
            age = time - starts_s[np.maximum(which, 0)]
            part = 1 - np.exp(-np.maximum(age, 0.0) / time_constant_s)
            total += np.where(which >= 0, height_A * time_constant_s * part, 0.0)
        return total

    return charge


def sine(amplitude_A: float, frequency_Hz: float, phase: float) -> Charge:
    """A hum about zero."""
    turn = 2 * np.pi * frequency_Hz
    return lambda time: amplitude_A / turn * (np.cos(phase) - np.cos(turn * time + phase))


def ramp(rise_A: float, length_s: float) -> Charge:
    """A straight rise from zero."""
    return lambda time: rise_A * time**2 / (2 * length_s)


def leak(rise_A: float, time_constant_s: float) -> Charge:
    """A rise that levels off."""
    return lambda time: rise_A * (time - time_constant_s * (1 - np.exp(-time / time_constant_s)))


def summed(parts: Sequence[Charge]) -> Charge:
    """Currents over one another."""
    return lambda time: np.sum([part(time) for part in parts], axis=0)


def record(seed: int, kind: str | None = None, *, simple: bool = False) -> Record:
    """Return a log of random kind, device and meter.

    Parameters
    ----------
    seed : int
    kind : str or None
        One of `KINDS`; None: by turns.
    simple : bool
        Windows without gaps and declared so, no overload, asleep from the start; as of the kind "plain".
    """
    rng = np.random.default_rng([seed, 5])
    kind = kind or KINDS[seed % len(KINDS)]
    simple = simple or kind == "plain"
    step_A = 10.0 ** rng.uniform(-7, -3)
    interval_s = float(rng.choice([0.1, 0.2, 0.5, 1.0, 2.0, 5.0]))
    rows = int(rng.integers(300, 3000))
    length_s = rows * interval_s
    windows = rng.uniform()
    gapped = windows > 0.77 and not simple
    aperture_s = interval_s * float(rng.uniform(0.05, 0.8)) if gapped else interval_s
    if kind == "hum" and not simple and rng.uniform() < 0.5 and interval_s >= 0.1:
        aperture_s = float(rng.choice([1 / 50, 1 / 60, 1 / 10]))
    truth = _KINDS[kind](rng, step_A, interval_s, length_s)
    asleep_s, awake_A = 0.0, 0.0
    if rng.uniform() < 0.12 and kind != "drifting" and not simple:
        asleep_s = length_s * float(rng.uniform(0.03, 0.4))
        awake_A = (truth.highest_A + 20 * step_A) * 10 ** float(rng.uniform(0.5, 1.7))
    overloads = rng.uniform() < 0.08 and truth.height_A is not None and not simple
    top_A = max(truth.highest_A, awake_A if rng.uniform() < 0.6 else 0.0)
    full_A = float(max(1.2 * top_A, 2000 * step_A))
    if overloads:
        full_A = float(truth.base_A + 40 * step_A + truth.height_A * rng.uniform(0.3, 0.9))
    percent, counts = float(rng.choice([0.5, 1.0, 1.5])), float(rng.choice([2, 3, 5, 10]))
    ends = np.arange(1, rows + 1) * interval_s
    seen_A = (truth.charge(ends) - truth.charge(ends - aperture_s)) / aperture_s
    seen_A = seen_A + np.where(ends < asleep_s, awake_A, 0.0)
    highest_A = _peaks(truth, ends, aperture_s, seen_A) if rng.uniform() < 0.5 else seen_A
    shown = seen_A * (1 + rng.uniform(-1, 1) * percent / 100)
    shown += rng.uniform(-1, 1) * (counts - 0.5) * step_A
    shown += rng.normal(0, rng.uniform(0.1, 1.0) * step_A, rows)
    shown = np.round(shown / step_A) * step_A
    shown[highest_A > full_A] = np.nan
    declared = aperture_s if simple or rng.uniform() < (0.85 if aperture_s == interval_s else 0.7) else None
    held = Truth(**{**truth.__dict__, "asleep_s": asleep_s})
    clock = 1 + rng.uniform(-1e-4, 1e-4)
    return Record(
        ends * clock, shown, held, step_A, full_A, percent, counts, interval_s, aperture_s, declared
    )


def _peaks(truth: Truth, ends: Array, aperture_s: float, seen_A: Array) -> Array:
    """Return the highest current within each window, for meters that overload at once."""
    if truth.height_A is None:
        return seen_A
    touched = seen_A > truth.base_A + 1e-3 * truth.height_A
    return np.where(touched, np.maximum(seen_A, truth.highest_A), seen_A)


def _base(rng: np.random.Generator, step_A: float) -> float:
    return float(step_A * 10 ** rng.uniform(0.5, 3.3))


def _height(rng: np.random.Generator, step_A: float) -> float:
    return float(step_A * 10 ** rng.uniform(1.3, 3.5))


def _period(rng: np.random.Generator, interval_s: float, length_s: float) -> float:
    return float(np.exp(rng.uniform(np.log(4 * interval_s), np.log(length_s / 8))))


def _inside(starts_s: Array, length_s: float) -> Array:
    return np.diff(starts_s[(starts_s > 0) & (starts_s < length_s)])


def _flat(rng: np.random.Generator, step_A: float, interval_s: float, length_s: float) -> Truth:
    base = _base(rng, step_A)
    return Truth("flat", base, base, base, level(base), steady_A=base)


def _train(
    rng: np.random.Generator, step_A: float, interval_s: float, length_s: float, kind: str = "fixed"
) -> Truth:
    base, height = _base(rng, step_A), _height(rng, step_A)
    period = _period(rng, interval_s, length_s)
    width = period * float(np.exp(rng.uniform(np.log(0.004), np.log(0.4))))
    count = int((length_s - _START_S) / period) + 3
    share = rng.uniform(0.04, 0.3) if kind == "jittered" else 0.0
    if share:
        width = min(width, 0.5 * period)
    gaps = period * (1 + rng.uniform(-share, share, count))
    starts = _START_S - period * rng.uniform() + np.cumsum(gaps)
    charge = summed([level(base), rectangles(starts, width, height)])
    intervals = _inside(starts, length_s)
    mean = base + height * width / period
    return Truth(kind, base, base, base + height, charge, height, width, period, intervals, steady_A=mean)


def _plain(rng: np.random.Generator, step_A: float, interval_s: float, length_s: float) -> Truth:
    return _train(rng, step_A, interval_s, length_s, "plain")


def _jittered(rng: np.random.Generator, step_A: float, interval_s: float, length_s: float) -> Truth:
    return _train(rng, step_A, interval_s, length_s, "jittered")


def _bursts(rng: np.random.Generator, step_A: float, interval_s: float, length_s: float) -> Truth:
    base, height = _base(rng, step_A), _height(rng, step_A)
    number = int(rng.integers(2, 6))
    period = max(_period(rng, interval_s, length_s), interval_s * float(rng.uniform(12, 20)))
    apart = period / number * float(rng.uniform(0.05, 0.4))
    width = apart * float(rng.uniform(0.1, 0.6))
    count = int((length_s - _START_S) / period) + 3
    first = _START_S - period * rng.uniform() + period * np.arange(count)
    starts = (first[:, None] + apart * np.arange(number)[None, :]).ravel()
    charge = summed([level(base), rectangles(starts, width, height)])
    intervals = _inside(starts, length_s)
    mean = base + number * height * width / period
    return Truth("bursts", base, base, base + height, charge, height, width, period, intervals, steady_A=mean)


def _two_trains(rng: np.random.Generator, step_A: float, interval_s: float, length_s: float) -> Truth:
    one = _train(rng, step_A, interval_s, length_s)
    assert one.height_A is not None
    assert one.period_s is not None
    height = one.height_A * 10 ** float(rng.uniform(-0.5, 0.5))
    period = one.period_s * float(rng.uniform(1.3, 6.0))
    width = period * float(np.exp(rng.uniform(np.log(0.004), np.log(0.2))))
    starts = _START_S - period * rng.uniform() + period * np.arange(int((length_s - _START_S) / period) + 3)
    charge = summed([one.charge, rectangles(starts, width, height)])
    highest = one.base_A + one.height_A + height
    mean = (one.steady_A or 0.0) + height * width / period
    top = one.height_A + height
    return Truth(
        *("two trains", one.base_A, one.base_A, highest, charge, top),
        **{"period_s": one.period_s, "steady_A": mean, "second_s": period},
    )


def _decaying(rng: np.random.Generator, step_A: float, interval_s: float, length_s: float) -> Truth:
    base, height = _base(rng, step_A), _height(rng, step_A)
    period = _period(rng, interval_s, length_s)
    constant = period * float(np.exp(rng.uniform(np.log(0.005), np.log(0.15))))
    starts = _START_S - period * rng.uniform() + period * np.arange(int((length_s - _START_S) / period) + 3)
    charge = summed([level(base), decays(starts, constant, height)])
    intervals = _inside(starts, length_s)
    mean = base + height * constant / period
    return Truth(
        "decaying", base, base, base + height, charge, height, constant, period, intervals, steady_A=mean
    )


def _hum(rng: np.random.Generator, step_A: float, interval_s: float, length_s: float) -> Truth:
    base = _base(rng, step_A)
    frequency = float(rng.choice([50, 60, 100, 120])) * (1 + rng.normal(0, 3e-3))
    amplitude = base * float(rng.uniform(0.05, 1.0))
    charge = summed([level(base), sine(amplitude, frequency, rng.uniform(0, 2 * np.pi))])
    return Truth("hum", base, base - amplitude, base + amplitude, charge, steady_A=base)


def _drifting(rng: np.random.Generator, step_A: float, interval_s: float, length_s: float) -> Truth:
    under = _train(rng, step_A, interval_s, length_s) if rng.uniform() < 0.35 else None
    base = under.base_A if under else _base(rng, step_A)
    rise = max(base, 30 * step_A) * float(rng.uniform(0.2, 3.0))
    if rng.uniform() < 0.5:
        part, end = ramp(rise, length_s), rise
    else:
        constant = length_s * float(rng.uniform(0.15, 1.5))
        part, end = leak(rise, constant), rise * float(1 - np.exp(-length_s / constant))
    charge = summed([under.charge if under else level(base), part])
    highest = (under.highest_A if under else base) + end
    height, width, period = (under.height_A, under.width_s, under.period_s) if under else (None, None, None)
    return Truth("drifting", base + end / 2, base, highest, charge, height, width, period)


_KINDS: dict[str, Callable[[np.random.Generator, float, float, float], Truth]] = {
    "flat": _flat,
    "plain": _plain,
    "fixed": _train,
    "jittered": _jittered,
    "bursts": _bursts,
    "two trains": _two_trains,
    "decaying": _decaying,
    "hum": _hum,
    "drifting": _drifting,
}
