"""The truth that is written, and the ways in which a column of it can be spelled."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np


@dataclass(frozen=True)
class Truth:
    """A charge, or what is left of it: what every row of a log should come to.

    Parameters
    ----------
    time_s : array of float [s]
        From the first row.
    volts, amps, degrees : array of float [V], [A], [°C]
    began : datetime
    """

    time_s: np.ndarray
    volts: np.ndarray
    amps: np.ndarray
    degrees: np.ndarray
    began: datetime = datetime(2025, 3, 21, 21, 4, 30)

    def of(self, quantity: str) -> np.ndarray:
        return {"V": self.volts, "A": self.amps, "degC": self.degrees}[quantity]

    @property
    def moments(self) -> list[datetime]:
        return [self.began + timedelta(seconds=float(second)) for second in self.time_s]


def truth(interval_s: float = 30.0, rows: int = 300) -> Truth:
    """A constant current, then a constant voltage while the current fades: invented."""
    share = np.arange(rows) / rows
    knee = 0.55
    volts = np.where(share < knee, 3.42 + 0.78 * (share / knee) ** 0.8, 4.2)
    amps = np.where(share < knee, 0.873, 0.873 * np.exp(-(share - knee) / 0.16))
    amps[: max(2, rows // 60)] = 0.0
    wave = np.array([math.sin(row / 7.3) for row in range(rows)])
    return Truth(
        np.arange(rows) * interval_s,
        np.round(volts, 4),
        np.round(amps, 4),
        np.round(21.4 + 3 * share + 0.2 * wave, 1),
    )


Column = Callable[[Truth], Sequence[str]]


def seconds(digits: int = 0, scale: float = 1.0, start: float = 0.0) -> Column:
    return lambda t: [f"{(second + start) * scale:.{digits}f}" for second in t.time_s]


def stamped(spelling: str, cut: int | None = None) -> Column:
    return lambda t: [moment.strftime(spelling)[:cut] for moment in t.moments]


def elapsed(spelling: str = "{h:02d}:{m:02d}:{s:02d}", whole: bool = True) -> Column:
    def column(t: Truth) -> list[str]:
        found = []
        for second in t.time_s:
            ms = round(float(second) * 1000)
            parts = {
                "d": ms // 86_400_000,
                "h": ms // 3_600_000,
                "H": ms // 3_600_000 % 24,
                "m": ms // 60_000 % 60,
            }
            found.append(spelling.format(**parts, M=ms // 60_000, s=ms // 1000 % 60, f=ms % 1000))
        return found

    return column


def epoch(scale: float = 1.0, digits: int = 0) -> Column:
    start = datetime(2025, 3, 21, 21, 4, 30).timestamp()
    return lambda t: [f"{(start + second) * scale:.{digits}f}" for second in t.time_s]


def V(scale: float = 1.0, digits: int = 4, form: str = "{}") -> Column:
    return lambda t: [form.format(f"{value * scale:.{digits}f}") for value in t.volts]


def A(scale: float = 1.0, digits: int = 4, form: str = "{}") -> Column:
    return lambda t: [form.format(f"{value * scale:.{digits}f}") for value in t.amps]


def T(scale: float = 1.0, shift: float = 0.0, digits: int = 1) -> Column:
    return lambda t: [f"{value * scale + shift:.{digits}f}" for value in t.degrees]


def W() -> Column:
    return lambda t: [f"{volts * amps:.4f}" for volts, amps in zip(t.volts, t.amps, strict=True)]


def mAh() -> Column:
    def column(t: Truth) -> list[str]:
        steps = np.diff(t.time_s, prepend=0.0) * t.amps / 3.6
        return [f"{value:.3f}" for value in np.cumsum(steps)]

    return column


def number(first: int = 1) -> Column:
    return lambda t: [str(row + first) for row in range(len(t.time_s))]


def same(word: str) -> Column:
    return lambda t: [word] * len(t.time_s)


def steps(length: int = 70) -> Column:
    """Times that begin again with each step of a programme."""
    return lambda t: [f"{t.time_s[row % length]:.0f}" for row in range(len(t.time_s))]


def autoranged(quantity: str) -> tuple[Column, Column]:
    """Readings and their units, as a meter that changes its range writes them."""

    def shown(t: Truth) -> list[tuple[str, str]]:
        mark = quantity
        return [
            (f"{x * 1000:.1f}", f"m{mark}") if abs(x) < 0.6 else (f"{x:.4f}", mark) for x in t.of(quantity)
        ]

    return (lambda t: [one for one, _ in shown(t)]), (lambda t: [unit for _, unit in shown(t)])
