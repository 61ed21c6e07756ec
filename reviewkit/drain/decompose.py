"""A state's log split into a base level and pulses, with the mean."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from reviewkit.drain import features, mean, pattern, pulse_detection, samples, settling
from reviewkit.drain.features import Features
from reviewkit.drain.mean import Mean
from reviewkit.drain.pattern import Pattern
from reviewkit.drain.pulse_detection import Detection
from reviewkit.drain.pulse_train import Train
from reviewkit.drain.samples import Samples
from reviewkit.drain.settling import Settled
from reviewkit.metrology.meter import Meter

_GAPPED_FROM = 0.95
"""A window shorter than this share of the row interval leaves gaps (chosen: a meter's own pause)."""
_MANY = 8
"""Alike charges of at least this many pulses bear out that windows leave no gaps (chosen)."""
_SHORT_ROWS = 3
"""Rows that a pulse touches at most on average, to be lost in part between windows (chosen)."""

Windows = Literal["gapless", "gaps", "assumed", "borne out", "contradicted"]


@dataclass(frozen=True)
class Decomposition:
    """What a state's log says.

    Parameters
    ----------
    settled : Settled
    samples : Samples
        The settled part.
    detection : Detection
    pattern : Pattern
    features : Features
    mean : Mean
    windows : {"gapless", "gaps", "assumed", "borne out", "contradicted"}
        Whether the meter's windows leave gaps: the first two as declared; else taken to leave none, which
        the pulses' alike charges bear out, or contradict.
    aperture_s : float or None [s]
        How long the meter looks for each row, as declared.
    resolution_A : float [A]
        One step of the range in use.
    """

    settled: Settled
    samples: Samples
    detection: Detection
    pattern: Pattern
    features: Features
    mean: Mean
    windows: Windows
    aperture_s: float | None
    resolution_A: float

    @property
    def kind(self) -> str:
        """What kind of current the rows show; "hidden" where they don't hold all of it."""
        hidden = self.detection.pulses and (self.windows in ("gaps", "contradicted") or self.mean.why)
        return "hidden" if hidden else self.pattern.kind

    @property
    def train(self) -> Train | None:
        """The regular train, where the rows bear one out."""
        return None if self.kind == "hidden" else self.pattern.train

    @property
    def drift_A(self) -> tuple[float, float] | None:
        """Low level at the begin and at the end [A], if it clearly moved."""
        course = self.detection.level_A
        start, end = float(course[0]), float(course[-1])
        least = 5 * self.resolution_A, 4 * self.detection.noise_A, 0.01 * abs(self.mean.rows_mean_A)
        return (start, end) if abs(end - start) > max(least) else None

    @property
    def highest_A(self) -> float:
        """Highest reading of the settled part [A]."""
        return float(self.samples.current_A.max())


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
    part = settling.settled(current_A, resolution_A=meter.resolution)
    one = samples.samples(current_A, from_s=-np.inf if part.from_start else part.start_s)
    if len(one) < 2:
        raise ValueError("the settled part of the log has fewer than two readings")
    what = pulse_detection.detection(one, resolution_A=meter.resolution)
    kind = pattern.recognised(one, what, resolution_A=meter.resolution)
    overloaded = one.overloads > 0 and missing_is_overload
    windows = _windows(one, what, kind, aperture_s, overloaded)
    gapped = windows in ("gaps", "contradicted")
    hidden = "gaps" if gapped else "overload" if overloaded else ""
    shape = features.features(one, what, kind, meter, hidden=hidden)
    average = mean.with_gaps(one, what, meter, aperture_s) if gapped else _mean(one, what, kind, meter)
    if overloaded:
        average = mean.with_overloads(one, average, meter)
    return Decomposition(part, one, what, kind, shape, average, windows, aperture_s, meter.resolution)


def _mean(one: Samples, what: Detection, kind: Pattern, meter: Meter) -> Mean:
    drifting = features.moved(what, meter, abs(one.mean_A))
    if kind.train is not None and not drifting and kind.kind in ("fixed", "decaying", "image"):
        return mean.over_cycles(one, kind.train, meter)
    return mean.over_rows(one, what, kind, meter)


def _windows(
    one: Samples, what: Detection, kind: Pattern, aperture_s: float | None, overloaded: bool
) -> Windows:
    if aperture_s is not None:
        return "gapless" if aperture_s >= _GAPPED_FROM * one.interval_s else "gaps"
    pulses = len(kind.charge_As)
    if overloaded or kind.kind in ("image", "wave", "few") or not pulses:
        return "assumed"
    short = float(np.mean(what.last - what.first + 1)) <= _SHORT_ROWS
    if not kind.alike and short:
        return "contradicted"
    return "borne out" if kind.alike and pulses >= _MANY else "assumed"
