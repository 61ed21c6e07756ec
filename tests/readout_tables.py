"""Invented tables of readings whose truth is known, made without any code of the kit.

A device takes its cell's voltage times a gain (about 0 V, as a divider has it, or about the middle of the
range), adds an offset and rounds to its step. A meter reads the same cell with one error in percent and
one in counts, both inside its statement, and shows whole counts. Some readings are then misread.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

LOW_V, HIGH_V, MIDDLE_V = 3.0, 4.2, 3.6
RULES = {"nearest": 0.5, "down": 1.0, "up": 0.0}
METERS = (
    (0.05, 3, 0.001),
    (0.5, 2, 0.001),
    (0.1, 5, 0.0001),
    (0.03, 2, 0.001),
    (0.5, 2, 0.01),
    (0.0, 1, 0.001),
)
"""Percent of reading, counts, volts a count."""


@dataclass(frozen=True)
class InventedTable:
    """One device, its readings, and what is true of it."""

    rule: str
    step_V: float
    offset_V: float
    gain: float
    pivot_V: float
    percent: float
    counts: int
    count_V: float
    readings: tuple[tuple[float, float], ...]
    misread: frozenset[int]

    @property
    def offset_at_middle_V(self) -> float:
        return self._own(MIDDLE_V) - MIDDLE_V

    @property
    def place_V(self) -> float:
        return RULES[self.rule] * self.step_V - self.offset_at_middle_V

    def _own(self, voltage_V: float) -> float:
        return (voltage_V - self.pivot_V) * self.gain + self.pivot_V + self.offset_V

    def shows(self, voltage_V: float) -> float:
        steps = self._own(voltage_V) / self.step_V
        whole = {"nearest": math.floor(steps + 0.5), "down": math.floor(steps), "up": math.ceil(steps)}
        return whole[self.rule] * self.step_V

    def largest_error_V(self) -> float:
        """Return the largest error in the range: at its ends and on both sides of every change in it."""
        first = math.floor(self.shows(LOW_V) / self.step_V + 0.5)
        last = math.floor(self.shows(HIGH_V) / self.step_V + 0.5)
        errors = [abs(self.shows(end) - end) for end in (LOW_V, HIGH_V)]
        for number in range(first - 1, last + 1):
            own = (number + RULES[self.rule]) * self.step_V
            change = (own - self.offset_V - self.pivot_V) / self.gain + self.pivot_V
            if LOW_V <= change <= HIGH_V:
                errors += [abs(number * self.step_V - change), abs((number + 1) * self.step_V - change)]
        return max(errors)

    def truth(self) -> dict[str, float]:
        """Return what is true, under the names of the findings."""
        offsets = {f"offset_if_{rule}": share * self.step_V - self.place_V for rule, share in RULES.items()}
        return {
            "switching_place": self.place_V,
            **offsets,
            "gain": self.gain,
            "largest_error": self.largest_error_V(),
        }

    def csv(self) -> str:
        decimals = max(2, round(-math.log10(self.count_V)))
        rows = (f"{reference:.{decimals}f},{shown:.2f}" for reference, shown in self.readings)
        return "\n".join(["reference (V),shown", *rows]) + "\n"


def draw(seed: int, *, gain: float | None = None, misread: int | None = None) -> InventedTable:
    """Return a table drawn at random; `gain` and `misread` fix what they name."""
    rng = random.Random(seed)
    percent, counts, count_V = rng.choice(METERS)
    step_V = rng.choice((0.1, 0.1, 0.1, 0.05, 0.2, 0.01))
    drawn_gain = rng.uniform(0.96, 1.04)
    bare = InventedTable(
        rule=rng.choice(tuple(RULES)),
        step_V=step_V,
        offset_V=rng.uniform(-0.15, 0.15),
        gain=drawn_gain if gain is None else gain,
        pivot_V=rng.choice((0.0, MIDDLE_V)),
        percent=percent,
        counts=counts,
        count_V=count_V,
        readings=(),
        misread=frozenset(),
    )
    number = rng.randint(5, 60)
    cells = _cells(rng, number)
    errors = rng.uniform(-1, 1) * percent / 100, rng.uniform(-1, 1) * (counts - 0.5) * count_V
    references = [round((cell * (1 + errors[0]) + errors[1]) / count_V) * count_V for cell in cells]
    shown = [bare.shows(cell) for cell in cells]
    wrong = rng.sample(range(number), rng.randint(0, 3) if misread is None else misread)
    for row in wrong:
        far = rng.choice((1, 1, 1, 2, 3, 5))
        shown[row] += rng.choice((-1, 1)) * far * step_V
    # Row 1 of a table holds the headings.
    return InventedTable(
        **{
            **bare.__dict__,
            "readings": tuple(zip(references, shown, strict=True)),
            "misread": frozenset(row + 2 for row in wrong),
        }
    )


def _cells(rng: random.Random, number: int) -> list[float]:
    """Return cells over the whole range, near both of its ends, or over one half of it."""
    way = rng.random()
    if way < 0.6:
        return [rng.uniform(LOW_V, HIGH_V) for _ in range(number)]
    if way < 0.8:
        return [rng.choice((LOW_V, HIGH_V - 0.3)) + rng.uniform(0, 0.3) for _ in range(number)]
    start = rng.uniform(LOW_V, MIDDLE_V)
    return [rng.uniform(start, start + 0.6) for _ in range(number)]
