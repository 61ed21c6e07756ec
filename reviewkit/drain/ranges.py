"""Whether a range was fit for a drain, which one to use instead, and how to connect it safely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.findings import sentences
from reviewkit.findings.displays import Answer
from reviewkit.metrology import formatting
from reviewkit.metrology.formatting import rough
from reviewkit.metrology.meter import Meter

LEAST_COUNTS = 20
"""A reading below this many counts of the last digit says little (chosen: one count is then 5 %)."""
_HEADROOM = 1.2
"""A range passes a current if its full scale is this many times as much (chosen: pulses vary)."""


@dataclass(frozen=True)
class Fitness:
    """What the range in use does to a reading.

    Parameters
    ----------
    counts : float
        The reading in counts of the range's last digit.
    coarse : bool
        Whether these are too few.
    burden_V : float or None [V]
        What the meter takes from the supply at the highest current; None where no burden is declared.
    drops : bool
        Whether that is more than the device may notice.
    advice : str
        What to use instead; empty where the range is fit.
    """

    counts: float
    coarse: bool
    burden_V: float | None
    drops: bool
    advice: str = ""

    @property
    def fit(self) -> bool:
        """Whether the reading stands."""
        return not (self.coarse or self.drops)


def fitness(
    value_A: float, highest_A: float, *, meter: Meter, ranges: Sequence[Meter] = (), notice_V: float = 0.05
) -> Fitness:
    """Return whether a range was fit for a reading.

    Parameters
    ----------
    value_A : float [A]
        The level that is judged.
    highest_A : float [A]
        The highest current that the range had to pass.
    meter : Meter
        The range in use.
    ranges : sequence of Meter
        All ranges of that meter.
    notice_V : float [V]
        Drop of the supply that the device may notice.
    """
    counts = abs(value_A) / meter.resolution
    coarse = counts < LEAST_COUNTS
    burden = meter.series_ohm * abs(highest_A) if meter.series_ohm > 0 else None
    drops = burden is not None and burden > notice_V
    if not (coarse or drops):
        return Fitness(counts, coarse, burden, drops)
    say = sentences.of("drain")
    why = (
        say("coarse", counts=round(counts), step=rough(meter.resolution, "A"), least=LEAST_COUNTS)
        if coarse
        else say(
            "drops",
            drop=formatting.number((burden or 0.0) * 1e3, 0),
            at=rough(highest_A, "A"),
            notice=f"{notice_V * 1e3:.0f}",
        )
    )
    return Fitness(
        counts, coarse, burden, drops, _instead(why, value_A, highest_A, meter, ranges, notice_V, coarse)
    )


def _instead(
    why: str,
    value_A: float,
    highest_A: float,
    meter: Meter,
    ranges: Sequence[Meter],
    notice_V: float,
    coarse: bool,
) -> str:
    """Return why a range was not fit, and what to use instead."""
    say = sentences.of("drain")
    fitting = [
        one
        for one in sorted(ranges, key=lambda each: each.full_scale or float("inf"))
        if _passes(one, highest_A) and one.series_ohm * abs(highest_A) <= notice_V
    ]
    enough = [one for one in fitting if one != meter and abs(value_A) / one.resolution >= LEAST_COUNTS]
    if enough:
        return say("instead", why=why, range=_scale(enough[0]), finest=False)
    finer = [one for one in ranges if one.resolution < meter.resolution and _passes(one, highest_A)]
    if coarse and finer and finer[0] in fitting:
        return say("instead", why=why, range=_scale(finer[0]), finest=True)
    return say(
        "no_range",
        why=why,
        zero=coarse and value_A == 0,
        finer=bool(finer),
        step=rough(abs(value_A) / LEAST_COUNTS, "A"),
        ohm=rough(notice_V / max(abs(highest_A), 1e-12), "ohm"),
    )


def _passes(one: Meter, highest_A: float) -> bool:
    return one.full_scale is None or one.full_scale >= _HEADROOM * abs(highest_A)


def _scale(one: Meter) -> str:
    return rough(one.full_scale, "A") if one.full_scale is not None else one.name


def connecting(ranges: Sequence[Meter]) -> Answer:
    """Return the steps that connect an ammeter to a sleeping device without harm to either.

    Parameters
    ----------
    ranges : sequence of Meter
        Of the meter in use; the highest is the one to begin with.

    Examples
    --------
    >>> connecting(drained.bench.ranges).sentences[1]
    'Start on the highest range, in series between the cell and the device.'
    """
    known = [one for one in ranges if one.full_scale is not None]
    highest = _scale(max(known, key=lambda one: one.full_scale or 0.0)) if known else ""
    steps = sentences.of("drain")("connecting", highest=highest).split(" | ")
    return Answer(tuple(steps), steps=True)
