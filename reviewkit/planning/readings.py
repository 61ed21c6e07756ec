"""Which cell voltages the voltage readout asks for."""

from __future__ import annotations

from reviewkit import readout
from reviewkit.findings.text_and_table import Answer
from reviewkit.metrology import formatting
from reviewkit.planning.inputs import Session
from reviewkit.planning.words import volts


def readings(session: Session) -> Answer:
    """Return the cell voltages to prepare for the readout.

    Parameters
    ----------
    session : Session

    Returns
    -------
    Answer
        One row per reading: how far to move the cell, what is left of the step afterwards.

    Examples
    --------
    >>> readings(session).columns
    ('', 'the cell', 'switching point known within')
    """
    plan = readout.plan(
        resolution_V=session.readout_resolution_V,
        range_V=session.readout_range_V,
        wanted_width_V=session.readout_wanted_width_V,
        meter=session.voltmeter.meter(),
    )
    wanted = volts(session.readout_wanted_width_V)
    floor = f"The voltmeter’s accuracy alone leaves {volts(plan.least_width_V)}."
    if plan.readings is None:
        return Answer(
            (
                f"This voltmeter can’t place the readout’s switching point within {wanted}. {floor}",
                "Take a better voltmeter, or ask for less: the review then says how wide the place is.",
            )
        )
    told = (
        f"{plan.readings} readings, one after the other, place the readout’s switching point within "
        f"{wanted}; no plan needs fewer. {floor}",
        "After each reading move the cell as the table says: up where the display showed the lower of the "
        "two values, down where it showed the upper.",
        f"To prepare all voltages beforehand: {formatting.listed(volts(one) for one in plan.all_at_once_V)}.",
    )
    moves = (f"set {volts(plan.first_V[0])}", *(f"move {volts(step)}" for step in plan.changes_V))
    rows = tuple(
        (f"reading {number}", move, volts(plan.resolution_V / 2**place + plan.least_width_V))
        for place, (number, move) in enumerate(enumerate(moves, 1))
    )
    return Answer(told, ("", "the cell", "switching point known within"), rows)
