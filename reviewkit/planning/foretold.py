"""The expected charge, drawn ahead: constant current, then a taper with one time constant."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from reviewkit.metrology.meter import Meter
from reviewkit.planning.charges import SLOPE_V, TAPER_S, in_line, per_ohm_s
from reviewkit.planning.inputs import Session

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Foretold:
    """A charge as it is expected.

    Parameters
    ----------
    time_s, current_A : array, shape (n,)
        From charge start.
    knee_s, end_s : float [s]
        Where the current begins to fall, and where the charge ends.
    """

    time_s: FloatArray
    current_A: FloatArray
    knee_s: float
    end_s: float


@dataclass(frozen=True)
class WithAndWithout:
    """The same charge with the ammeter in line and without it.

    Parameters
    ----------
    bare, in_line : Foretold
    meter : Meter
        The range in line.
    """

    bare: Foretold
    in_line: Foretold
    meter: Meter


def foretold(session: Session) -> WithAndWithout:
    """Return the expected charge from empty, with the ammeter in line and without it.

    Parameters
    ----------
    session : Session

    Notes
    -----
    Both from the middle of what cells do, by ratio: a slope of 1.3 V per rated capacity, a taper of 10 min.
    The bare charge holds the rated capacity, the other one stops short of it by the charge that the set
    voltage no longer reaches.
    """
    slope_V, own_s = math.sqrt(SLOPE_V[0] * SLOPE_V[1]), math.sqrt(TAPER_S[0] * TAPER_S[1])
    meter = in_line(session)
    sooner_s = meter.series_ohm * per_ohm_s(session, slope_V)
    share = session.charge_stop_A / session.charge_current_A
    knee_s = max(0.0, 3600 * session.capacity_Ah / session.charge_current_A - own_s * (1 - share))
    return WithAndWithout(
        bare=_charge(session, knee_s, own_s),
        in_line=_charge(session, max(0.0, knee_s - sooner_s), own_s + sooner_s),
        meter=meter,
    )


def _charge(session: Session, knee_s: float, taper_s: float) -> Foretold:
    high, low = session.charge_current_A, session.charge_stop_A
    end_s = knee_s + taper_s * math.log(high / low)
    late = np.linspace(0.0, end_s - knee_s, 200)
    time = np.concatenate([[0.0], knee_s + late, [end_s]])
    current = np.concatenate([[high], high * np.exp(-late / taper_s), [0.0]])
    return Foretold(time, current, knee_s, end_s)
