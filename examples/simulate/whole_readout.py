"""Random voltage readouts for whole simulated reviews, and the readings that are taken of them."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any

import numpy as np

from simulate.readout import Lamp

TABLE = "readout.csv"
LOW_V, HIGH_V = 3.0, 4.2
GAIN_BOUND_PERCENT = 1.0


@dataclass(frozen=True)
class DrawnReadout:
    """A readout and the readings beside a reference meter.

    Parameters
    ----------
    lamp : Lamp
    cells_V : tuple of Decimal [V]
    percent, counts : Decimal [%], [1]
        The reference's statement; its display has a step of 1 mV.
    error_share : Decimal
        −1 … 1. No reading leaves the statement: half a count of it is the display's rounding.
    misread : int or None
        A reading, counted from 0, that was written down as two steps too many.
    """

    lamp: Lamp
    cells_V: tuple[Decimal, ...]
    percent: Decimal
    counts: Decimal
    error_share: Decimal
    misread: int | None

    def reads(self, cell_V: Decimal) -> Decimal:
        """Return what the reference shows for a cell voltage [V]."""
        step = Decimal("0.001")
        error = self.error_share * (cell_V * self.percent / 100 + (self.counts - Decimal("0.5")) * step)
        return (cell_V + error).quantize(step, ROUND_HALF_UP)

    def write(self, folder: Path) -> None:
        """Write the table of readings into a review folder."""
        lines = ["reference (V),shown,warning"]
        for place, cell in enumerate(self.cells_V):
            shown = self.lamp.shows(cell) + (2 * self.lamp.step_V if place == self.misread else 0)
            lines.append(f"{self.reads(cell)},{shown:.1f},{self.lamp.warns(cell)}")
        (folder / TABLE).write_text("\n".join(lines) + "\n", encoding="utf-8")

    def review(self) -> dict[str, Any]:
        """Return the review file's keys."""
        return {
            "readout_table": TABLE,
            "readout_resolution_V": 0.1,
            "readout_gain_bound_percent": GAIN_BOUND_PERCENT,
            "readout_range_V": [LOW_V, HIGH_V],
            "readout_voltmeter": {
                "name": "reference",
                "accuracy": f"±({self.percent} % + {self.counts})",
                "resolution": "1 mV",
            },
        }

    def known(self) -> dict[str, Any]:
        """Return what is true, under the names of the findings."""
        said = self.lamp.truth(misread=[])
        place, step = said["switching_place"], float(self.lamp.step_V)
        return {
            "switching_place": place,
            "offset_if_nearest": step / 2 - place,
            "offset_if_down": step - place,
            "offset_if_up": -place,
            "gain": said["gain"],
            "largest_error": said["largest_error"],
            "warning.low": said["warnings"]["low"],
        }


def draw_readout(rng: np.random.Generator) -> DrawnReadout:
    """Return a random readout of 0.1 V, read at random voltages."""
    lamp = Lamp(
        str(rng.choice(["nearest", "down", "up"])),
        _decimal(rng.uniform(-0.025, 0.025), 4),
        Decimal("3.6"),
        gain=1 + _decimal(rng.uniform(-0.01, 0.01), 4) * int(rng.integers(2)),
        warnings=(("low", _decimal(rng.uniform(3.1, 3.5), 3)),),
    )
    count = int(rng.integers(6, 15))
    percent, counts = (("0.05", "2"), ("0.5", "2"), ("0.1", "3"))[int(rng.integers(3))]
    return DrawnReadout(
        lamp,
        tuple(_decimal(rng.uniform(LOW_V, HIGH_V), 4) for _ in range(count)),
        Decimal(percent),
        Decimal(counts),
        _decimal(rng.uniform(-1.0, 1.0), 6),
        int(rng.integers(count)) if rng.random() < 0.15 else None,
    )


def _decimal(value: float, digits: int) -> Decimal:
    return Decimal(f"{value:.{digits}f}")
