"""Invented readings of the two helmet lamps' voltage readouts, with the truth beside them."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any

MODES = {"nearest": ROUND_HALF_UP, "down": ROUND_FLOOR, "up": ROUND_CEILING}
_PLACES = {"nearest": Decimal("0.5"), "down": Decimal(1), "up": Decimal(0)}


@dataclass(frozen=True)
class Lamp:
    """A readout: gain about the middle of the working range, an offset, then a rounding rule.

    Parameters
    ----------
    rule : {"nearest", "down", "up"}
    offset_V, middle_V : Decimal [V]
    gain : Decimal [1]
    step_V : Decimal [V]
    warnings : tuple of (str, Decimal)
        Name of each warning, and the cell voltage below which it shows.
    """

    rule: str
    offset_V: Decimal
    middle_V: Decimal
    gain: Decimal = Decimal(1)
    step_V: Decimal = Decimal("0.1")
    warnings: tuple[tuple[str, Decimal], ...] = ()

    def shows(self, cell_V: Decimal) -> Decimal:
        """Return the value shown for a cell voltage [V]."""
        own = self.middle_V + self.gain * (cell_V - self.middle_V) + self.offset_V
        return (own / self.step_V).quantize(Decimal(1), MODES[self.rule]) * self.step_V

    def warns(self, cell_V: Decimal) -> str:
        """Return the warnings that show at a cell voltage."""
        return " + ".join(name for name, below in self.warnings if cell_V < below)

    def truth(self, *, misread: list[int]) -> dict[str, Any]:
        """Return what is true of the readout, under the names of the findings.

        The switching place is that at the middle of the working range; the largest error is taken over
        the steps that the range from 3.0 V to 4.2 V touches.
        """
        place = _PLACES[self.rule] * self.step_V - self.offset_V
        ends = [
            self.middle_V + (number * self.step_V + place - self.middle_V) / self.gain - number * self.step_V
            for number in (30, 41)
        ]
        return {
            "switching_place": float(place),
            "rule": self.rule,
            "offset": float(self.offset_V),
            "gain": float(self.gain),
            "largest_error": round(float(max(*ends, self.step_V - min(ends))), 9),
            "doubtful_rows": misread,
            "warnings": {name: float(below) for name, below in self.warnings},
        }


@dataclass(frozen=True)
class ReferenceMeter:
    """A voltmeter of ±(0.05 % + 2) and 1 mV that is off by a fixed share of what that allows."""

    share: Decimal

    def reads(self, cell_V: Decimal) -> Decimal:
        """Return what the meter shows for a cell voltage [V]."""
        error = self.share * (cell_V * Decimal("0.0005") + Decimal("0.0015"))
        return (cell_V + error).quantize(Decimal("0.001"), ROUND_HALF_UP)


METER = ReferenceMeter(Decimal("0.35"))
"""One bench, one meter: its error is the same for both lamps."""

ALDER = Lamp(
    "nearest",
    Decimal("0.004"),
    Decimal("3.6"),
    gain=Decimal("1.001"),
    warnings=(("half", Decimal("3.52")), ("empty", Decimal("3.13"))),
)
ALDER_CELLS = (
    "3.604",
    "3.556",
    "4.171",
    "4.137",
    "3.08",
    "3.053",
    "3.532",
    "3.47",
    "3.645",
    "4.147",
    "3.147",
    "3.046",
)

ALDER_LOAD_MA = 15
"""What Alder draws from its cell while it shows the voltage."""

BIRCH = Lamp("down", Decimal("0.003"), Decimal("3.6"), warnings=(("low", Decimal("3.28")),))
BIRCH_CELLS = ("4.183", "3.851", "3.402", "3.893", "3.59", "3.997", "3.213", "4.098", "3.302", "3.098")
BIRCH_MISREAD = 4
"""Which of Birch's readings, counted from 0, was written down as two steps too many."""


def write(folder: Path, known: dict[str, Any]) -> None:
    """Write the readings of one device into its folder and add what is true of them to `known`.

    Parameters
    ----------
    folder : Path
        The device's review folder; its name says which device.
    known : dict
        Gets the key ``readout``.
    """
    known["readout"] = {"alder": _alder, "birch": _birch}[folder.name](folder / "readout.csv")


def _alder(path: Path) -> dict[str, Any]:
    lines = ["reference (V),shown,load (mA),warning,remark"]
    for cell in map(Decimal, ALDER_CELLS):
        remark = "waited ten minutes after the charge" if cell > Decimal("4.15") else ""
        lines.append(
            f"{METER.reads(cell)},{ALDER.shows(cell):.1f},{ALDER_LOAD_MA},{ALDER.warns(cell)},{remark}"
        )
    _save(path, lines)
    return ALDER.truth(misread=[])


def _birch(path: Path) -> dict[str, Any]:
    """Birch blinks its digits, and its keeper writes a decimal comma."""
    lines = ["reference (V);shown;warning;remark"]
    for place, cell in enumerate(map(Decimal, BIRCH_CELLS)):
        shown = BIRCH.shows(cell) + (2 * BIRCH.step_V if place == BIRCH_MISREAD else 0)
        remark = "counted once, in bright sun" if place == BIRCH_MISREAD else ""
        reference = str(METER.reads(cell)).replace(".", ",")
        lines.append(f"{reference};{_blinks(shown)};{BIRCH.warns(cell)};{remark}")
    _save(path, lines)
    # The header is row 1, so the first reading is row 2.
    return BIRCH.truth(misread=[BIRCH_MISREAD + 2])


def _blinks(shown_V: Decimal) -> str:
    """Return a voltage as the lamp tells it: so many blinks for each digit."""
    counts = [f"{digit} blink{'' if digit == '1' else 's'}" for digit in f"{shown_V:.1f}".split(".")]
    return ", pause, ".join(counts)


def _save(path: Path, lines: list[str]) -> None:
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
