"""How one log's clock is put on another's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from reviewkit.metrology import Measured


@dataclass(frozen=True)
class Alignment:
    """How the current log's clock is put on the voltage log's.

    Parameters
    ----------
    offset : Measured [s]
        Add to what the current meter's clock showed to get what the voltage meter's showed, at
        `at_s`. Where both logs have dates or times of day these are the clocks, else seconds
        counted by the logs.
    shift_s : float [s]
        The same between the logs' indices (`time_s`): add to the current log's.
    rate : Measured or None [1]
        Relative difference of the clocks' rates, where the log is long enough to show one: add
        ``rate · (time − at_s)`` as well.
    at_s : float [s]
        Time, on the current log's index, at which `offset` holds.
    steps_used : int
    how : {"steps", "declared", "stamps"}
    note : str
        For the reader.
    """

    offset: Measured
    shift_s: float
    rate: Measured | None
    at_s: float
    steps_used: int
    how: Literal["steps", "declared", "stamps"]
    note: str

    @property
    def shift(self) -> Measured:
        """What to add to the current log's index to get the voltage log's, at `at_s` [s]."""
        return Measured(self.shift_s, "s", self.offset.components)

    def on_voltage_clock(self, time_s: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return times of the current log as times of the voltage log, both as their index has them.

        Parameters
        ----------
        time_s : array of float [s]
        """
        own = np.asarray(time_s, dtype=float)
        if self.rate is None:
            return np.asarray(own + self.shift_s)
        return np.asarray(own + self.shift_s + self.rate.value * (own - self.at_s))
