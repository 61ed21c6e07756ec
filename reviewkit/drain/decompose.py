"""A state's log split into a base level and pulses, with the mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from reviewkit.drain import features, mean, rows, seen, settle, train
from reviewkit.drain.features import Features
from reviewkit.drain.mean import Mean
from reviewkit.drain.rows import Rows
from reviewkit.drain.seen import Seen
from reviewkit.drain.settle import Settled
from reviewkit.drain.train import Train
from reviewkit.metrology.meter import Meter

_GAPPED_FROM = 0.95
"""A window shorter than this share of the row interval leaves gaps."""
_ALIKE = 0.25
"""Relative scatter of the pulses' charges up to which the rows themselves speak for gapless windows."""
_MANY = 8
_SHORT = 2
"""Rows that a pulse touches at most on average, to be lost in part between windows."""


@dataclass(frozen=True)
class Decomposition:
    """What a state's log says.

    Parameters
    ----------
    settled : Settled
    rows : Rows
        The settled part.
    seen : Seen
    train : Train or None
        The regular train, where the rows bear one out.
    features : Features
    mean : Mean
    gapless : bool
        Whether the windows leave no gaps, as declared or assumed.
    windows : str
        Who says so: a sentence for the reader.
    resolution_A : float [A]
        One step of the range in use.
    contradicted : bool
        Whether the pulses' charges speak against gapless windows that nobody declared.
    """

    settled: Settled
    rows: Rows
    seen: Seen
    train: Train | None
    features: Features
    mean: Mean
    gapless: bool
    windows: str
    resolution_A: float
    contradicted: bool = False

    @property
    def drift_A(self) -> tuple[float, float] | None:
        """Low level at the begin and at the end [A], if it clearly moved."""
        course = rows.lower_envelope(self.rows)
        start, end = float(course[0]), float(course[-1])
        least = max(5 * self.resolution_A, 4 * self.seen.noise_A, 0.01 * abs(self.mean.rows_mean_A))
        return (start, end) if abs(end - start) > least else None

    @property
    def highest_A(self) -> float:
        """Highest reading of the settled part [A]."""
        return float(self.rows.current_A.max())


def decompose(
    current_A: pd.Series[float],
    *,
    meter: Meter,
    aperture_s: float | None = None,
    missing_is_overload: bool = True,
) -> Decomposition:
    """Return base, pulses and mean of one state's log.

    Parameters
    ----------
    current_A : pandas.Series [A]
        Index: elapsed seconds, increasing, stamped when a row's window ends. NaN marks overload.
        Drain out of the cell is positive.
    meter : Meter
        The range in use.
    aperture_s : float or None [s]
        How long the meter looks for each row. None: not declared; the windows are then taken as gapless,
        and the result says so.
    missing_is_overload : bool
        Whether a NaN hides a current beyond the range; else it is a gap.

    Returns
    -------
    Decomposition

    Raises
    ------
    ValueError
        If the log has fewer than two rows, times that don't increase, or no reading in its settled part.
    """
    part = settle.settled(current_A, resolution_A=meter.resolution)
    one = rows.rows(current_A, from_s=-np.inf if part.from_start else part.start_s)
    if len(one) < 2:
        raise ValueError("the settled part of the log has fewer than two readings")
    what = seen.seen(one, resolution_A=meter.resolution)
    found = train.find(one, what)
    gapless = aperture_s is None or aperture_s >= _GAPPED_FROM * one.interval_s
    contradicted = aperture_s is None and not one.overloads and _unlike(one, what, found)
    overloaded = one.overloads > 0 and missing_is_overload
    shape = _features(one, what, found, meter, gapless and not contradicted, overloaded)
    average = _mean(one, what, found, meter, aperture_s if not gapless else None, contradicted)
    if overloaded:
        average = mean.with_overloads(one, average, meter)
    words = _windows(aperture_s, gapless, found, contradicted)
    return Decomposition(
        part, one, what, found, shape, average, gapless, words, meter.resolution, contradicted
    )


def _features(one: Rows, what: Seen, found: Train | None, meter: Meter, whole: bool, lost: bool) -> Features:
    if not what.pulses:
        return (features.dipping if what.dips else features.steady)(one, what, meter)
    if not whole:
        return features.irregular(one, what, meter, "the meter’s windows leave gaps")
    if lost:
        return features.irregular(one, what, meter, "overloaded rows hide part of the pulses")
    if found is None:
        few = what.pulses < train.LEAST_PULSES
        many = "one pulse" if what.pulses == 1 else f"{what.pulses} pulses"
        why = (
            f"the log holds {many}; a period needs at least three"
            if few
            else "the pulses don’t come at a regular beat that the rows can show"
        )
        return features.irregular(one, what, meter, why)
    return features.regular(one, what, found, meter)


def _mean(
    one: Rows, what: Seen, found: Train | None, meter: Meter, gap_aperture_s: float | None, contradicted: bool
) -> Mean:
    if gap_aperture_s is not None:
        return mean.with_gaps(one, what, meter, gap_aperture_s)
    if contradicted:
        return mean.with_gaps(one, what, meter, 0.0)
    if found is None:
        return mean.over_rows(one, what, meter)
    return mean.over_cycles(one, found, meter)


def _unlike(one: Rows, what: Seen, found: Train | None) -> bool:
    """Return whether short pulses come so unevenly that the windows may well have gaps."""
    if found is None:
        high = int(np.sum(what.above_A > what.threshold_A))
        return what.pulses >= train.LEAST_PULSES and high <= _SHORT * what.pulses
    if found.folded or found.cycles < _MANY or found.extent_s > 3 * one.interval_s:
        return False
    noise = 3 * what.noise_A * one.interval_s / float(np.mean(found.charge_As))
    return float(found.charge_As.std() / found.charge_As.mean()) > _ALIKE + noise


def _windows(aperture_s: float | None, gapless: bool, found: Train | None, contradicted: bool) -> str:
    if not gapless:
        return f"The meter looks for {aperture_s:.3g} s of each row, as declared: its windows leave gaps."
    if aperture_s is not None:
        return "The meter’s windows leave no gaps, as declared."
    if contradicted:
        return (
            "How long the meter looks for each row is not declared, and short pulses come so unevenly that "
            "its windows may leave gaps."
        )
    text = "How long the meter looks for each row is not declared; its windows are taken to leave no gaps"
    if found is not None and found.cycles >= _MANY and not found.folded:
        return f"{text}, which the {found.cycles} pulses’ like charges bear out."
    return f"{text}."
