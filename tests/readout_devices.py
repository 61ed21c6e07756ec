"""Simulated readouts and an independent brute force, for the tests and the studies of the readout.

Nothing here uses the kit's own arithmetic: devices round with Python's `decimal`, the brute force counts
in whole tenths of microvolts on a grid.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from fractions import Fraction

import numpy as np

from reviewkit.metrology.meter import Accuracy, Meter

LOW, HIGH, MIDDLE = Decimal("3.0"), Decimal("4.2"), Decimal("3.6")
MODES = {"nearest": ROUND_HALF_UP, "down": ROUND_FLOOR, "up": ROUND_CEILING}
PLACES = {"nearest": Decimal("0.5"), "down": Decimal(1), "up": Decimal(0)}


@dataclass(frozen=True)
class Device:
    """Adds an offset and a gain about 3.6 V to its cell's voltage, then rounds to its step."""

    rule: str
    offset_V: Decimal
    gain: Decimal = Decimal(1)
    step_V: Decimal = Decimal("0.1")

    @property
    def place_V(self) -> Decimal:
        return PLACES[self.rule] * self.step_V - self.offset_V

    def shows(self, voltage_V: Decimal) -> Decimal:
        own = MIDDLE + self.gain * (voltage_V - MIDDLE) + self.offset_V
        return (own / self.step_V).quantize(Decimal(1), MODES[self.rule]) * self.step_V


@dataclass(frozen=True)
class Bench:
    """A meter with one error for all its readings, a share of what its maker allows, and a display."""

    meter: Meter
    share: Decimal
    scatter: random.Random | None = None

    def reads(self, voltage_V: Decimal) -> Decimal:
        stated = self.meter.accuracy
        step = Decimal(str(self.meter.resolution))
        floor = Decimal(str(stated.counts)) * step
        floor = max(Decimal(0), floor - step / 2) if stated.counts else floor
        percent = Decimal(str(stated.percent)) / 100
        # v = y − share·(percent·y + floor), solved for what the display would show before it rounds.
        unrounded = (voltage_V + self.share * floor) / (1 - self.share * percent)
        if self.scatter is not None:
            spread = float(step) / 2 / 3**0.5
            return unrounded + Decimal(repr(round(self.scatter.gauss(0.0, spread), 7)))
        return unrounded.quantize(step, ROUND_HALF_UP)


def meter(percent: float = 0.0, counts: float = 3.0, resolution: float = 0.001) -> Meter:
    return Meter("bench meter", "V", Accuracy(percent, counts), resolution)


def voltages(rng: random.Random, count: int) -> list[Decimal]:
    return [Decimal(rng.randint(30_000, 42_000)) / 10_000 for _ in range(count)]


@dataclass(frozen=True)
class Grid:
    """What a brute force over a grid of readouts finds.

    `fewest` is the smallest number of rows that any readout of the grid contradicts; `low` and `high` are
    the extreme places of those readouts, `spacing` how far a true extreme may lie beyond them.
    """

    fewest: int
    low: float
    high: float
    spacing: float


def brute_force(
    reference_V: list[Decimal],
    displayed_V: list[Decimal],
    device_meter: Meter,
    gain_bound: Fraction,
    fine: int = 1,
) -> Grid:
    """Try every readout of a grid, in whole numbers of 10⁻⁷ V times 10⁴."""
    unit, per_gain = 10_000_000, 10_000 * fine
    stated, step = device_meter.accuracy, round(0.1 * unit)
    noise = round(device_meter.resolution * unit) // 2
    slope = round(stated.percent * 100)  # in 10⁻⁴
    floor = max(0, round(stated.counts * device_meter.resolution * unit) - noise)
    middle = round(3.6 * unit)
    reach = slope * middle // 10_000
    x = np.array([round(value * unit) for value in reference_V], dtype=np.int64)
    s = np.array([round(value * unit) for value in displayed_V], dtype=np.int64)
    shares = 2 * fine
    u = np.arange(-shares, shares + 1, dtype=np.int64)[None, :, None]  # in 1 / shares
    bound = round(gain_bound * 10_000) * fine * shares
    jump = 5 if gain_bound else 1
    widest = (bound // shares + slope * fine * 2) // jump
    gains = (
        np.arange(-widest, widest + 1, dtype=np.int64)[:, None, None] * jump
    )  # reference scale, in 1 / per_gain
    true_gain = gains * shares + slope * fine * u  # in 1 / (per_gain · shares)
    # The shared error in the device's own volts is gain times share, so it reaches as far as the gain.
    allowed = (np.abs(true_gain) <= bound) & (np.abs(u) * per_gain <= per_gain * shares + true_gain)
    spacing = unit // 1000 // fine
    place = np.arange(-2 * step, 3 * step + 1, spacing, dtype=np.int64)[None, None, :]
    scale = place + u * reach // shares
    wrong = np.zeros(np.broadcast_shapes(gains.shape, scale.shape), dtype=np.int8)
    for reference, value in zip(x, s, strict=True):
        above = (middle - value + step - scale) * per_gain + (per_gain + gains) * (reference + noise - middle)
        below = (value - middle + scale) * per_gain - (per_gain + gains) * (reference - noise - middle)
        wrong += ~((above >= 0) & (below > 0))
    wrong = np.where(allowed, wrong, 100)
    fewest = int(wrong.min())
    found = np.broadcast_to(place, wrong.shape)[wrong == fewest] / unit
    slack = (spacing + reach / shares) / unit + (0.6 * jump / per_gain if gain_bound or slope else 0.0)
    # The counts' error is another than that of the percent: it moves every place by as much.
    either_way = floor / unit
    return Grid(fewest, float(found.min()) - either_way, float(found.max()) + either_way, slack)


def inside(corners: tuple[tuple[Fraction, Fraction], ...], point: tuple[Fraction, Fraction]) -> bool:
    """Whether a point lies in a convex polygon, its edge included."""
    turns = [
        (after[0] - before[0]) * (point[1] - before[1]) - (after[1] - before[1]) * (point[0] - before[0])
        for before, after in zip(corners, corners[1:] + corners[:1], strict=True)
    ]
    if len(corners) < 3:
        ends = sorted(corners)
        return not any(turns) and ends[0] <= point <= ends[-1]
    return all(turn >= 0 for turn in turns) or all(turn <= 0 for turn in turns)
