"""What the ammeter in line does to the charge that it measures."""

from __future__ import annotations

import math

from reviewkit.findings.text_and_table import Answer
from reviewkit.metrology.formatting import rough
from reviewkit.metrology.meter import Meter
from reviewkit.planning.charges import SLOPE_V, in_line, passing, per_ohm_s
from reviewkit.planning.inputs import Session
from reviewkit.planning.words import minutes, volts


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
