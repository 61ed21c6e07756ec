"""The time axis: h:mm for charges, min:s for minutes, plain seconds for pulses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from reviewkit.figures import theme

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
_STEPS_S = tuple(hours * HOUR for hours in (4, 6, 12, 24, 48, 72, 168, 336, 720, 2160))


@dataclass(frozen=True)
class Clock:
    """How a span of time is drawn along the x axis.

    Parameters
    ----------
    span_s : float [s]
        What the axis shows, from `start_s`.
    start_s : float [s]
    """

    span_s: float
    start_s: float = 0.0

    @property
    def in_seconds(self) -> bool:
        """Whether the axis counts plain seconds."""
        return self.span_s < 2 * MINUTE

    def x(self, time_s: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return times [s] as places on the axis; every x of the chart goes through here.

        Times of two minutes and more are drawn on plotly's calendar axis, which labels them as a clock;
        it counts milliseconds, and these are whole ones.
        """
        if self.in_seconds:
            return np.asarray(time_s, dtype=float)
        places = np.round(np.asarray(time_s, dtype=float) * 1000.0)
        # On a calendar axis a whole number of two or four digits would be read as a year.
        size = np.abs(places)
        year = ((size >= 10) & (size < 100)) | ((size >= 1000) & (size < 10_000))
        return np.where(year, places + 0.25, places)

    def at(self, time_s: float) -> float:
        """Return one time [s] as a place on the axis."""
        return float(self.x(time_s))

    @property
    def width(self) -> float:
        """Length of the axis, as `marks.phases` wants it."""
        return self.at(self.span_s)

    def axis(self, title: str) -> dict[str, Any]:
        """Return the axis's settings; the title gets the format: "time since plugged in, h:mm"."""
        ends = [self.at(self.start_s), self.at(self.start_s + self.span_s)]
        if self.in_seconds:
            return theme.axis(f"{title}, s", range=ends, nticks=7)
        if self.span_s < 12 * MINUTE:
            return theme.axis(f"{title}, min:s", type="date", range=ends, nticks=6, **_formats("%-M:%S"))
        if self.start_s + self.span_s < DAY:
            return theme.axis(
                f"{title}, h:mm", type="date", range=ends, nticks=6, **_formats("%-H:%M", "%-H:%M:%S")
            )
        return theme.axis(f"{title}, h:mm", type="date", range=ends, **self._long_ticks())

    def _long_ticks(self) -> dict[str, Any]:
        """Label hours beyond 24 as such, where a calendar would begin again at 0:00."""
        step = next((step for step in _STEPS_S if self.span_s / step <= 6), _STEPS_S[-1])
        first = np.ceil(self.start_s / step) * step
        ticks = np.arange(first, self.start_s + self.span_s + 1, step)
        return {
            "tickvals": [self.at(tick) for tick in ticks],
            "ticktext": [f"{int(tick // HOUR)}:{int(tick % HOUR // MINUTE):02d}" for tick in ticks],
            "hoverformat": "day %-d, %-H:%M",
        }


def _formats(ticks: str, hover: str = "") -> dict[str, str]:
    return {"tickformat": ticks, "hoverformat": hover or ticks}
