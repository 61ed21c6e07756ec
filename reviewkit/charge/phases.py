"""Phases of a charge and the moments between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from reviewkit.charge.segments import Ending, Segments
from reviewkit.charge.series import FloatArray
from reviewkit.metrology import Measured

PhaseName = Literal[
    "before",
    "precharge",
    "constant current",
    "constant voltage",
    "terminated",
    "top-up",
    "interrupted",
]


@dataclass(frozen=True)
class Phase:
    """One stretch of the record.

    Parameters
    ----------
    name : str
    start_s, end_s : float [s]
        On the record's clock.
    """

    name: PhaseName
    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """Duration [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Phases:
    """A charge, cut into its phases. All times are on the record's clock.

    Parameters
    ----------
    spans : tuple of Phase
        In order, without holes, from the record's first row to its last.
    first_sample_s : float [s]
        Charge start by definition: the first row of the first sustained rise of current.
    start : Measured [s]
        The rise itself: half-way between that row and the one before.
    precharge_end : Measured or None [s]
        None if there was no precharge.
    knee : Measured or None [s]
        When the regulation point reached its set voltage; None if the log shows no constant-voltage phase.
    end : Measured [s]
        When the main charge stopped, or the log did.
    ending : {"terminated", "cable pulled", "log ended", "never"}
        How the main charge came to its end.
    plateau_A : float [A]
        Rough plateau, for scales; the finding is computed from the phase.
    set_V, series_ohm : float or None
        Rough set voltage [V] and series resistance [ohm] with which the knee was found.
    threshold_A : float [A]
        Current above which the cell counts as being charged.
    main : Segments
        The stretches of current that make the main charge, and the top-ups after it.
    knee_at_start : bool
        Whether the charge was at its voltage limit from its first reading on: the knee is then 0.
    """

    spans: tuple[Phase, ...]
    first_sample_s: float
    start: Measured
    precharge_end: Measured | None
    knee: Measured | None
    end: Measured
    ending: Ending
    plateau_A: float
    set_V: float | None
    series_ohm: float | None
    threshold_A: float
    main: Segments
    knee_at_start: bool = False

    def named(self, name: PhaseName) -> tuple[Phase, ...]:
        """Return the phases of that name."""
        return tuple(phase for phase in self.spans if phase.name == name)

    @property
    def sees_plateau(self) -> bool:
        """Whether the charge ever ran at its constant current."""
        return bool(self.named("constant current"))

    @property
    def plateau_start_s(self) -> float:
        """Where the constant current begins: the end of precharge, else the first sample [s]."""
        return self.precharge_end.value if self.precharge_end else self.first_sample_s

    @property
    def knee_s(self) -> float | None:
        """The knee on the record's clock [s]."""
        return self.knee.value if self.knee else None

    @property
    def end_s(self) -> float:
        """The end of the main charge on the record's clock [s]."""
        return self.end.value

    @property
    def terminated(self) -> bool:
        """Whether the current was cut off."""
        return self.ending == "terminated"

    def since_start(self, moment: Measured) -> Measured:
        """Return a moment as time since charge start [s], with the start's own doubt."""
        return Measured(
            moment.value - self.start.value,
            "s",
            moment.components + tuple(part.scaled(-1.0) for part in self.start.components),
        )

    def mask(self, time_s: FloatArray, *names: PhaseName) -> np.ndarray:
        """Return which of the times lie in phases of these names, shape of `time_s`."""
        inside = np.zeros(len(time_s), dtype=bool)
        for phase in self.spans:
            if phase.name in names:
                inside |= (time_s >= phase.start_s) & (time_s <= phase.end_s)
        return inside
