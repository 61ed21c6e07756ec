"""How long a charge takes to log, how often to read it, and what the ammeter in line does to it.

Near full a cell's resting voltage rises about linearly with charge, by `SLOPE_V` per rated capacity, and
behind the resistance R the current then falls with one time constant: τ = R / slope. So a further
resistance ΔR ends the constant current ΔR/slope sooner, and the charge (ΔR/slope)·(ln(I/I_end) − 1) later.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from reviewkit.charge.currents import TERMINATION_ROWS, TERMINATION_S
from reviewkit.findings.displays import Answer
from reviewkit.metrology import formatting
from reviewkit.metrology.formatting import rough
from reviewkit.metrology.meter import Meter
from reviewkit.planning.inputs import Session, minutes, volts

SLOPE_V = (0.8, 2.0)
"""Rise of the resting voltage near full, per rated capacity."""

TAPER_S = (300.0, 1200.0)
"""Time constant of the taper without a rig.

Both from simulated charges of five cells that charge to 4.1 V or 4.2 V, at 0.15 to 0.6 of their capacity an
hour (`tests/benchmarks/plan_times.py`). A cell's resistance falls as its capacity grows, so τ depends on
the size no more than the slope does.
"""

SPARE = 1.1
"""A cell may hold more than it is rated for, and a charger start at less than its plateau."""

HEADROOM = 1.2
"""How much more than the expected current a range has to pass."""

BEFORE_S, AFTER_S = 300.0, 3900.0
"""Quiet before the cable goes in; and after it is pulled, for the voltage settled for 60 min."""

CABLE_IN_S = 3600.0
"""How long the cable stays in after the charge has ended, so that a trickle or a top-up is seen."""


def taper_s(session: Session, series_ohm: float = 0.0) -> tuple[float, float]:
    """Return the taper's shortest and longest time constant behind a series resistance [s].

    Examples
    --------
    >>> taper_s(session)
    (300.0, 1200.0)
    """
    return (
        TAPER_S[0] + series_ohm * per_ohm_s(session, SLOPE_V[1]),
        TAPER_S[1] + series_ohm * per_ohm_s(session, SLOPE_V[0]),
    )


def per_ohm_s(session: Session, slope_V: float) -> float:
    """Return the time constant that each ohm in line adds to the taper [s/ohm]."""
    return 3600 * session.capacity_Ah / slope_V


def charge_time_s(session: Session, series_ohm: float = 0.0) -> tuple[float, float]:
    """Return the shortest and the longest time that a charge from empty is expected to take [s].

    Parameters
    ----------
    series_ohm : float [ohm]
        Of ammeter and leads.

    Notes
    -----
    Capacity over current, and for the taper τ·(ln(I/I_end) − 1 + I_end/I) more.

    Examples
    --------
    >>> [round(end / 3600, 1) for end in charge_time_s(session)]
    [6.1, 7.1]
    """
    ratio = session.charge_current_A / session.charge_stop_A
    share = math.log(ratio) - 1 + 1 / ratio
    least, most = taper_s(session, series_ohm)
    steady = 3600 * session.capacity_Ah / session.charge_current_A
    return steady + least * share, SPARE * steady + most * share


def charge_log_s(session: Session) -> float:
    """Return how long both meters are to log one charge, from before the cable goes in [s]."""
    return sum(length for _, length in _parts(session))


def _parts(session: Session) -> tuple[tuple[str, float], ...]:
    _, most = charge_time_s(session, in_line(session).series_ohm)
    return (
        ("before the cable goes in", BEFORE_S),
        ("charge from empty, allow", most),
        ("cable in after the charge has ended", CABLE_IN_S),
        ("after the cable is pulled", AFTER_S),
    )


def charge_log(session: Session) -> Answer:
    """Return how long a charge takes to log, and how often to read it.

    Examples
    --------
    >>> print(*charge_log(session).rows[2])
    cable in after the charge has ended 1 h 00 min
    """
    whole = charge_log_s(session)
    slow = TERMINATION_S / TERMINATION_ROWS
    told = (
        f"Allow {formatting.clock(whole)} for one charge at {rough(session.charge_current_A, 'A')} "
        "from empty. "
        "Look first that both meters stay on that long, and have the battery and the memory for it.",
        f"Read both meters every second if they can, every {slow:g} s at the slowest: the termination "
        f"current is read from the last {TERMINATION_ROWS} rows or {TERMINATION_S:g} s.",
        f"A row each second makes {formatting.number(whole, -3)} rows in each log.",
    )
    return Answer(
        told,
        ("part of the log", "time"),
        tuple((name, formatting.clock(span)) for name, span in _parts(session)),
    )


def in_line(session: Session) -> Meter:
    """Return the range of least resistance that passes the charge current with room to spare."""
    return min(passing(session) or session.ranges(), key=lambda one: one.series_ohm)


def passing(session: Session) -> tuple[Meter, ...]:
    """Return the ranges of the ammeter that pass the charge current with room to spare."""
    return tuple(one for one in session.ranges() if one.fits(HEADROOM * session.charge_current_A))


def burden(session: Session) -> Answer:
    """Return what each range of the ammeter does to the charge.

    Returns
    -------
    Answer
        One row per range that passes the current.

    Examples
    --------
    >>> print(*burden(session).rows[0][:3])
    ammeter 30 mΩ 15 mV
    """
    ranges = passing(session)
    if not ranges:
        amps = rough(session.charge_current_A, "A")
        return Answer((f"The ammeter has no range that passes {amps} with room to spare.",))
    columns = (
        "range",
        "with leads",
        "voltage taken",
        "constant current ends sooner by",
        "charge takes longer by",
    )
    return Answer(_told(session), columns, tuple(_row(one, session) for one in ranges))


def _told(session: Session) -> tuple[str, ...]:
    best, amps = in_line(session), rough(session.charge_current_A, "A")
    if not best.series_ohm:
        return (
            f"What the {best.label} takes is not known: declare its burden_ohm, or measure the voltage "
            f"across its jacks at {amps}.",
        )
    taken = volts(best.series_ohm * session.charge_current_A)
    if session.cell.chemistry == "LFP":
        time = "For an LFP cell no time is foretold: its voltage hardly rises until it is full."
    else:
        time = f"The constant current ends {minutes(_sooner_s(best, session))} sooner than without it."
    return (
        f"At {amps} the {best.label} with its leads takes {taken}: by so much the cell is short of the "
        "charger’s set voltage when the current begins to fall.",
        time,
        "The charge section works out the charge without the rig; the less rig there is, the better it can.",
    )


def _row(one: Meter, session: Session) -> tuple[str, ...]:
    name = rough(one.full_scale, "A") if one.full_scale else one.name
    if not one.series_ohm:
        return name, "not declared", "?", "?", "?"
    taken = volts(one.series_ohm * session.charge_current_A)
    if session.cell.chemistry == "LFP":
        return name, rough(one.series_ohm, "ohm"), taken, "?", "?"
    low, high = _sooner_s(one, session)
    later = math.log(session.charge_current_A / session.charge_stop_A) - 1
    times = minutes((low, high)), minutes((low * later, high * later))
    return name, rough(one.series_ohm, "ohm"), taken, *times


def _sooner_s(one: Meter, session: Session) -> tuple[float, float]:
    """Return the least and the most by which the constant current ends sooner [s]."""
    return (
        one.series_ohm * per_ohm_s(session, SLOPE_V[1]),
        one.series_ohm * per_ohm_s(session, SLOPE_V[0]),
    )


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
    meter : Meter
        The range in line.
    """

    bare: Foretold
    in_line: Foretold
    meter: Meter


def foretold(session: Session) -> WithAndWithout:
    """Return the expected charge from empty, with the ammeter in line and without it.

    Notes
    -----
    Both from the middle of what cells do, by ratio: a slope of 1.3 V per rated capacity, a taper of 10 min.
    The bare charge holds the rated capacity, the other one stops short of it by the charge that the set
    voltage no longer reaches.

    Examples
    --------
    >>> charge = foretold(session)
    >>> charge.in_line.knee_s < charge.bare.knee_s
    True
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
