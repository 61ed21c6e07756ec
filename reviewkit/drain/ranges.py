"""Whether a range was fit for a drain, which one to use instead, and how to connect it safely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.drain.words import rough
from reviewkit.metrology import formatting
from reviewkit.metrology.meter import Meter

LEAST_COUNTS = 20
"""A reading below this many counts of the last digit says little (the kit's own rule)."""
_HEADROOM = 1.2


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
    advice = _instead(value_A, highest_A, meter, ranges, notice_V, coarse) if coarse or drops else ""
    return Fitness(counts, coarse, burden, drops, advice)


def _instead(
    value_A: float, highest_A: float, meter: Meter, ranges: Sequence[Meter], notice_V: float, coarse: bool
) -> str:
    why = _coarse(value_A, meter) if coarse else _drop(meter, highest_A, notice_V)
    other = _better(value_A, highest_A, meter, ranges, notice_V)
    if other is not None:
        return f"{why} Read it on the {_scale(other)} range instead."
    finer = [one for one in ranges if one.resolution < meter.resolution and _passes(one, highest_A)]
    if coarse and finer and _burden_fits(finer[0], highest_A, notice_V):
        best = finer[0]
        return f"{why} Read it on the {_scale(best)} range, the finest that passes this current."
    return f"{why} {_none(value_A, highest_A, notice_V, coarse, bool(finer))}"


def _coarse(value_A: float, meter: Meter) -> str:
    count = round(abs(value_A) / meter.resolution)
    counts = "1 count" if count == 1 else f"{count} counts"
    return (
        f"The reading is {counts} of this range’s last digit "
        f"({rough(meter.resolution, 'A')}); below {LEAST_COUNTS} the meter can’t tell."
    )


def _drop(meter: Meter, highest_A: float, notice_V: float) -> str:
    drop = formatting.number(meter.series_ohm * abs(highest_A) * 1e3, 0)
    return (
        f"On this range meter and leads take {drop} mV from the supply at "
        f"{rough(highest_A, 'A')}, and the device may notice {notice_V * 1e3:.0f} mV."
    )


def _better(
    value_A: float, highest_A: float, meter: Meter, ranges: Sequence[Meter], notice_V: float
) -> Meter | None:
    """Return the finest range that passes the current, shows enough counts and drops little."""
    for one in sorted(ranges, key=lambda each: each.full_scale or float("inf")):
        enough = abs(value_A) / one.resolution >= LEAST_COUNTS
        if one != meter and enough and _passes(one, highest_A) and _burden_fits(one, highest_A, notice_V):
            return one
    return None


def _passes(one: Meter, highest_A: float) -> bool:
    return one.full_scale is None or one.full_scale >= _HEADROOM * abs(highest_A)


def _burden_fits(one: Meter, highest_A: float, notice_V: float) -> bool:
    return one.series_ohm * abs(highest_A) <= notice_V


def _none(value_A: float, highest_A: float, notice_V: float, coarse: bool, finer: bool) -> str:
    if abs(value_A) == 0 and coarse:
        return "The meter has no finer range that fits: all it says is an upper bound."
    step = rough(abs(value_A) / LEAST_COUNTS, "A")
    ohm = rough(notice_V / max(abs(highest_A), 1e-12), "ohm")
    blocked = "Its finer ranges drop too much" if finer else "The meter has no range for it"
    return (
        f"{blocked}: it takes a step of {step} or finer and at most {ohm} with leads, "
        "such as a shunt with a voltmeter across it."
    )


def _scale(one: Meter) -> str:
    return rough(one.full_scale, "A") if one.full_scale is not None else one.name


def connecting(ranges: Sequence[Meter]) -> tuple[str, ...]:
    """Return the steps that connect an ammeter to a sleeping device without harm to either.

    Parameters
    ----------
    ranges : sequence of Meter
        Of the meter in use; the highest is the one to begin with.
    """
    known = [one for one in ranges if one.full_scale is not None]
    highest = f", {_scale(max(known, key=lambda one: one.full_scale or 0.0))}" if known else ""
    return (
        "Check the leads: an ammeter’s jack is a short circuit, so never touch it across the cell. "
        "Mind polarity, and put a fuse into the cell’s lead.",
        f"Start on the highest range{highest}, in series between the cell and the device.",
        "Bridge the meter with a switch or a clip lead, then connect the cell: "
        "the inrush takes the bridge, not the meter’s fuse.",
        "Let the device fall asleep, open the bridge, and read.",
        "Close the bridge before you change the range, jack or leads, and open it afterwards: the device "
        "stays powered and doesn’t wake up.",
        "Go down one range at a time, and stop when the next one can’t pass the pulses or drops too much.",
        "Close the bridge before you press a button: a lamp that lights up draws amperes.",
        "When you are done, put the leads back into the voltage jacks.",
    )
