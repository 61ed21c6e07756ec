"""What the ammeter in line does to the charge that it measures."""

from __future__ import annotations

import math

from reviewkit import wording
from reviewkit.answers import Answer
from reviewkit.bench_plan.charges import SLOPE_V, in_line, passing, per_ohm_s
from reviewkit.bench_plan.inputs import Session
from reviewkit.drain.words import rough
from reviewkit.instrument import Meter


def burden(session: Session) -> Answer:
    """Return what each range of the ammeter does to the charge.

    Parameters
    ----------
    session : Session

    Returns
    -------
    Answer
        One row per range that passes the current.
    """
    ranges = passing(session)
    amps = rough(session.charge_current_A, "A")
    if not ranges:
        return Answer((f"The ammeter has no range that passes {amps} with room to spare.",))
    best = in_line(session)
    told = [
        f"At {amps} the {best.label} with its leads takes "
        f"{rough(best.series_ohm * session.charge_current_A, 'V')}: by so much the cell is short of the "
        "charger’s set voltage when the current begins to fall."
    ]
    if session.cell.chemistry == "LFP":
        told.append("For an LFP cell no time is foretold: its voltage hardly rises until it is full.")
    else:
        told.append(f"The constant current ends {_span(_sooner_s(best, session))} sooner than without it.")
    told.append(
        "The charge section works out the charge without the rig; the less there is, the better it can."
    )
    columns = (
        "range",
        "with leads",
        "voltage taken",
        "constant current ends sooner by",
        "charge takes longer by",
    )
    return Answer(tuple(told), columns, tuple(_row(one, session) for one in ranges))


def _row(one: Meter, session: Session) -> tuple[str, ...]:
    volts = rough(one.series_ohm * session.charge_current_A, "V")
    foretold = session.cell.chemistry != "LFP"
    sooner = _sooner_s(one, session)
    later = math.log(session.charge_current_A / session.charge_stop_A) - 1
    times = (_span(sooner), _span((sooner[0] * later, sooner[1] * later))) if foretold else ("?", "?")
    return (
        rough(one.full_scale, "A") if one.full_scale else one.name,
        rough(one.series_ohm, "ohm"),
        volts,
        *times,
    )


def _sooner_s(one: Meter, session: Session) -> tuple[float, float]:
    """Return the least and the most by which the constant current ends sooner [s]."""
    return (
        one.series_ohm * per_ohm_s(session, SLOPE_V[1]),
        one.series_ohm * per_ohm_s(session, SLOPE_V[0]),
    )


def _span(ends_s: tuple[float, float]) -> str:
    low, high = sorted(end / 60 for end in ends_s)
    decimals = 1 if high < 10 else 0
    return f"{wording.number(low, decimals)} to {wording.number(high, decimals)}{wording.NO_BREAK}min"
