"""What a drain asks of the ammeter, the readout of the cell voltages, and the states of patience."""

from __future__ import annotations

from reviewkit import drain, readout
from reviewkit.drain.features import LEAST_WIDTH_ROWS
from reviewkit.findings.displays import Answer
from reviewkit.findings.sentences import CAUTIONS
from reviewkit.metrology import conformity, formatting
from reviewkit.metrology.formatting import rough
from reviewkit.metrology.meter import Meter
from reviewkit.planning.charges import HEADROOM
from reviewkit.planning.inputs import Session, volts

LEAST_CYCLES = 30
"""Cycles of a blink to log, so that the mean does not hang on the one at the end (the kit's own rule)."""

LEAST_LOG_S = 1800.0
"""Time to log, so that a device that falls asleep late is seen to (the kit's own rule)."""


def drain_ranges(session: Session) -> Answer:
    """Return what each range of the ammeter would make of the expected drain.

    Returns
    -------
    Answer
        One row per range: counts, the accuracy there, the voltage that it takes.

    Examples
    --------
    >>> drain_ranges(session).rows[0][-1]
    'no: too few counts'
    """
    found = [(one, _fitness(one, session)) for one in session.drain_ranges()]
    good = [one for one, fitness in found if fitness.fit and one.fits(HEADROOM * session.drain_highest_A)]
    mean, most = rough(session.drain_mean_A, "A"), rough(session.drain_highest_A, "A")
    if good:
        told = f"Read a drain of {mean} with pulses up to {most} on the {_scale(good[0])} range."
    else:
        step = rough(session.drain_mean_A / 20, "A")
        ohm = rough(session.drain_notice_V / session.drain_highest_A, "ohm")
        told = (
            f"No range does for a drain of {mean} with pulses up to {most}: it takes a step of {step} or "
            f"finer and at most {ohm} with leads, such as a shunt with a voltmeter across it."
        )
    columns = ("range", "counts", "accuracy there", "taken from the supply", "fit")
    return Answer((told,), columns, tuple(_row(one, fitness, session) for one, fitness in found))


def _fitness(one: Meter, session: Session) -> drain.Fitness:
    return drain.fitness(
        session.drain_mean_A, session.drain_highest_A, meter=one, notice_V=session.drain_notice_V
    )


def _row(one: Meter, fitness: drain.Fitness, session: Session) -> tuple[str, ...]:
    doubt = one.half_width(session.drain_mean_A) / session.drain_mean_A
    why = [
        text
        for text, holds in (
            ("too few counts", fitness.coarse),
            ("takes too much", fitness.drops),
            ("can’t pass the pulses", not one.fits(HEADROOM * session.drain_highest_A)),
        )
        if holds
    ]
    return (
        _scale(one),
        formatting.number(fitness.counts, 0),
        _percent(doubt),
        "not declared" if fitness.burden_V is None else volts(fitness.burden_V),
        f"no: {formatting.listed(why)}" if why else "yes",
    )


def _percent(doubt: float) -> str:
    if doubt >= 1:
        return f"none: over ±{formatting.THIN}100{formatting.THIN}%"
    return f"±{formatting.THIN}{formatting.number(100 * doubt, 0 if doubt > 0.1 else 1)}{formatting.THIN}%"


def _scale(one: Meter) -> str:
    return one.name if one.full_scale is None else rough(one.full_scale, "A")


def drain_log(session: Session) -> Answer:
    """Return how often to read a drain, and for how long.

    Examples
    --------
    >>> print(drain_log(session).sentences[0])
    Log each state for 30 min at least, from the moment the device is left alone.
    """
    pulse_s, period_s = session.drain_pulse_s, session.drain_period_s
    long_s = max(LEAST_LOG_S, LEAST_CYCLES * (period_s or 0.0))
    told = [
        f"Log each state for {formatting.clock(long_s)} at least, from the moment the device is left alone."
    ]
    if pulse_s is None:
        told.append("A blink’s width needs two rows inside it; without them the mean may still be right.")
    else:
        told.append(
            f"A pulse of {rough(pulse_s, 's')} needs a row each {rough(pulse_s / LEAST_WIDTH_ROWS, 's')} or "
            "more often for its width and height; a slower log still gives the mean, if its windows leave no "
            "gaps."
        )
    if period_s is not None:
        told.append(
            f"Don’t read once each {rough(period_s, 's')}: a meter in step with the pulses sees them always "
            "or never."
        )
    return Answer(tuple(told))


def connecting(session: Session) -> Answer:
    """Return how to put the ammeter in series without waking or harming the device.

    Examples
    --------
    >>> connecting(session).sentences[3]
    'Let the device fall asleep, open the bridge, and read.'
    """
    return drain.connecting(session.drain_ranges())


def readings(session: Session) -> Answer:
    """Return the cell voltages to prepare for the readout.

    Returns
    -------
    Answer
        One row per pair of readings, near both ends of the range, so that a gain shows: how far to move
        the cell, what is left of the step afterwards.

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
        gain=True,
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
        f"{plan.readings} readings, half of them near each end of the range, place the readout’s switching "
        f"point within {wanted}, whatever its gain. {floor} Where the gain is known to be 1, those near one "
        "end are enough, and no plan needs fewer.",
        "After each pair move both cell voltages as the table says, each by itself: up where the display "
        "showed the lower of the two values, down where it showed the upper.",
        f"To prepare all voltages beforehand: {formatting.listed(volts(one) for one in plan.all_at_once_V)}.",
    )
    ends = formatting.listed(volts(one) for one in plan.first_V)
    moves = (f"set {ends}", *(f"move each {volts(step)}" for step in plan.changes_V))
    rows = tuple(
        (
            f"readings {2 * number - 1} and {2 * number}",
            move,
            volts(plan.resolution_V / 2 ** (number - 1) + plan.least_width_V),
        )
        for number, move in enumerate(moves, 1)
    )
    return Answer(told, ("", "the cell", "switching point known within"), rows)


def trials(session: Session) -> Answer:
    """Return how many trials without the event prove how rare it is.

    Examples
    --------
    >>> trials(session).rows
    (('10\u202f%', '29'), ('5\u202f%', '59'), ('1\u202f%', '299'))
    """
    rows = tuple(
        (f"{bound:g}{formatting.THIN}%", formatting.number(conformity.trials_needed(bound / 100), 0))
        for bound in session.trials_bound_percent
    )
    told = (
        "Something that was never seen has been shown to be rare, not to be impossible: the bound is "
        "one-sided, at 95 % confidence, and about 3 over the number of trials.",
        "One trial in which it does happen changes the question; report both counts.",
    )
    return Answer(told, ("to say it happens in less than", "try this often, and see it never"), rows)


def cautions() -> Answer:
    """Return what to mind before anything is connected.

    Examples
    --------
    >>> cautions().sentences[0][:23]
    'A lithium-ion cell that'
    """
    return Answer(CAUTIONS)
