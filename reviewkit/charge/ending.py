"""How a charge begins, pauses and comes to its end, and who may have ended it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from reviewkit.charge.profile import Bins, Block, Profile, fades
from reviewkit.charge.record import ChargeRecord, FloatArray
from reviewkit.charge.segmentation import HELD, PASSING, Account
from reviewkit.charge.statistics import line, of_some_size
from reviewkit.metrology import Component, Measured

Ending = Literal["terminated", "cable pulled", "log ended", "never", "undecided", "faded"]

SAME_STOP = 1.12
"""A charger stops at the same current each time, within this factor: chosen, well over a meter's own
error.
"""

OTHER_STOP = 1.3
"""From this factor on two stops are certainly not the same: chosen; between the two the log can't tell."""

AS_MUCH = 0.8
"""What flows on after an end with less than this share of the current there is a trickle, no charge:
chosen.
"""

BY_HAND_S = 60.0
"""A cable's time is noted by hand: within this, or two rows, it is the same event: common practice, no
source.
"""

STEADY_S, STEADY_SHARE = 1800.0, 0.03
"""A current that falls by less than this share in so long is steady: a taper of any cell falls by a
fifth: chosen.
"""

SLOW_SHARE = 0.15
"""A current that falls by less than this share in so long may fall for hours: nothing shows that it was near
its end. Any cell's taper falls by more (time constants of a quarter to half an hour): chosen.
"""

FLICKER = 3.0
"""Pulses below so many times the current that counts as one are lost in what the display flickers: chosen."""

HELD_LONG = 0.9
"""The charger has to have been at its voltage limit for this share of that hour, too: chosen, as its rows."""

TRICKLE_S = 3600.0
"""A trickle is one from so long without falling on: chosen, a usual taper's time constant is half of it."""

MID_TAPER = 1.5
"""A current that stops this many times above the highest at which a charge is expected to end (C/10, or as
declared) may have been a cable pulled: chosen, so that a charger that ends at C/10 of a cell declared a third
too large still ends it.
"""

SAME_V = 0.010
"""The regulation point is at its set voltage within this (METHODS: at its limit) [V]."""

PARTIAL = 0.93
"""A first or last row below this share of what its neighbours say averages over the edge: chosen."""

_ROWS, _MOST_SOFT, _LAST_BINS = 6, 60, 4


@dataclass(frozen=True)
class Order:
    """How many of the stretches make the main charge, and which came after its end.

    Parameters
    ----------
    doubtful : bool
        Whether another count is about as likely.
    """

    main: int
    top_ups: tuple[Block, ...]
    doubtful: bool = False


def edge(record: ChargeRecord, row: int, name: str) -> Measured:
    """Return the moment of a step up that shows between two rows, the second given.

    A row that averages over the step may stand between two levels on either side.
    """
    rows, last = record.current, len(record.current) - 1
    late = min(row + 1, last) if rows[row] < PARTIAL * rows[min(row + 1, last)] else row
    before = rows[max(row - 6, 0) : max(row - 1, 1)]
    partial = rows[row - 1] > np.median(before) + max(
        6 * record.noise_A, 0.05 * abs(rows[row] - np.median(before))
    )
    early = max(row - 2, 0) if partial else row - 1
    return _between(record, float(record.time_s[early]), float(record.time_s[late]), name)


def start(record: ChargeRecord, profile: Profile, block: Block) -> Measured:
    """Return when current began to flow [s]: between the last row without and the first with all of it."""
    late, row = block.first_s, max(block.first - 1, 0)
    none = profile.zero_A + max(1.5 * record.noise_A, 0.6 * record.ammeter.resolution)
    # A soft start is under way before it counts as one.
    while row > max(0, block.first - 1 - _MOST_SOFT) and record.current[row] > none:
        row -= 1
    before = float(record.time_s[row])
    some = record.current[block.first : block.first + 4]
    if len(some) == 4 and some[0] < PARTIAL * some[1] and abs(some[2] - some[1]) < 0.3 * (some[1] - some[0]):
        late = float(record.time_s[block.first + 1])
    return _between(record, before, late, "charge start")


def moment(
    record: ChargeRecord, profile: Profile, block: Block, ending: Ending | None = None
) -> tuple[Measured, bool]:
    """Return when a stretch stopped [s], and whether that lies in a gap of the log.

    A charge that never ends, or has faded away unseen, goes on until the cable is pulled or the log ends.

    Notes
    -----
    A row that averages over the cut-off stands between the current before and none. Its stamp may be that
    of its begin or of its end: the cut-off then lies between the whole row before it and the empty row after.
    """
    early = block.last_s
    if ending in ("never", "faded"):
        out = record.cable_out_s
        last = float(record.time_s[-1])
        if out is not None and out < last:
            return Measured(
                out, "s", (Component("end of charge: noted by hand", BY_HAND_S, "s", "rectangular"),)
            ), False
        return _between(record, last, last, "end of charge"), False
    if _last_is_partial(record, block):
        early = float(record.time_s[block.last - 1])
    gap = record.gap_after(block.last_s)
    end = _between(record, early, block.after_s, "end of charge")
    missed = longest_pause(record, profile, block)
    if not profile.resolved and missed:
        end = end.plus(Component("end of charge: pulses between the rows", missed, "s", "rectangular"))
    return end, gap is not None


def longest_pause(record: ChargeRecord, profile: Profile, block: Block) -> float:
    """Return how long a stretch's rows show no current at most, beyond their interval [s].

    Pulses faster than the rows hide an edge by as much: a row with current is only the next that met one.
    """
    time = record.time_s[block.first : block.last + 1]
    flows = time[record.current[block.first : block.last + 1] > profile.stop_A]
    return max(float(np.diff(flows).max() - np.median(np.diff(time))), 0.0) if len(flows) > 1 else 0.0


def _last_is_partial(record: ChargeRecord, block: Block) -> bool:
    rows = record.current[max(block.first, block.last - _ROWS) : block.last + 1]
    time = record.time_s[max(block.first, block.last - _ROWS) : block.last + 1]
    if len(rows) < 4:
        return False
    expected = line(time[:-1], rows[:-1])
    ahead = expected.at(float(time[-1]))
    doubt = 4 * expected.standard_at(float(time[-1]), record.noise_A) + 3 * record.noise_A
    return bool(ahead - rows[-1] > max(doubt, (1 - PARTIAL) * ahead))


def whole_rows(record: ChargeRecord, block: Block) -> int:
    """Return the last row of a stretch that does not average over its end."""
    return block.last - 1 if _last_is_partial(record, block) else block.last


def _between(record: ChargeRecord, early_s: float, late_s: float, name: str) -> Measured:
    """Return a moment that lies between two rows."""
    parts = [Component(f"{name}: between two rows", (late_s - early_s) / 2, "s", "rectangular")]
    if record.stamp_s:
        parts.append(stamp(record, name))
    return Measured((early_s + late_s) / 2, "s", of_some_size(parts))


def stamp(record: ChargeRecord, name: str) -> Component:
    """Return the doubt of one cut-off time stamp; the mean lag is the same for all and drops out."""
    return Component(f"{name}: time stamps cut off", record.stamp_s / 2, "s", "rectangular")


def _last_level(record: ChargeRecord, profile: Profile, block: Block) -> float:
    """Return the current just before a stretch stops [A]; of pulses the larger rows tell."""
    if not profile.pulsing[block.last]:
        return stop_A(record, profile, block)
    recent = record.current[max(block.first, block.last - 30) : block.last + 1]
    return float(np.quantile(recent, 0.9)) - profile.zero_A


def stop_A(record: ChargeRecord, profile: Profile, block: Block) -> float:
    """Return the current just before a stretch stops [A], above the ammeter's zero."""
    last = whole_rows(record, block)
    rows = np.arange(max(block.first, last - 30), last + 1)
    rows = rows[profile.on[rows] | ~profile.pulsing[rows]]
    recent = record.current[rows[-5:]] if len(rows) else record.current[block.last : block.last + 1]
    return float(np.median(recent)) - profile.zero_A


def order(record: ChargeRecord, profile: Profile, bins: Bins, account: Account) -> Order:
    """Return which stretches make the main charge.

    Notes
    -----
    A charger stops at the same current each time. The first stop at the voltage limit from which the charge
    begins anew and then stops at that same current was its end; stops at other currents were interruptions.
    """
    blocks = profile.blocks
    if len(blocks) == 1:
        return Order(1, ())
    stops = np.array([stop_A(record, profile, one) for one in blocks])
    held = [_at_limit(bins, account, one) for one in blocks]
    grown = np.cumsum([charge_of(record, one) for one in blocks])
    noise = 3 * record.noise_A + record.ammeter.resolution
    doubtful = False
    for index, block in enumerate(blocks[:-1]):
        later = [k for k in range(index + 1, len(blocks)) if _tops_up(record, blocks[k], stops[index])]
        if not held[index] or grown[index] < grown[-1] / 2 or fades(record, (block.first, block.last)):
            continue
        if not later:
            return Order(index + 1, (), doubtful)
        ends = [stops[k] for k in later if blocks[k].last < len(record.current) - 1]
        # Of a stop within a gap only the current before the gap is known: it may have fallen on.
        in_gap = record.gap_after(block.last_s) is not None
        verdict = _same(min([stops[index], *ends]) if in_gap else stops[index], ends, noise)
        if verdict == "same":
            return Order(index + 1, tuple(blocks[k] for k in later), doubtful)
        doubtful |= verdict == "doubtful"
    return Order(len(blocks), (), doubtful)


def _same(stop: float, ends: list[float], noise: float) -> str:
    """Return whether later stretches end at the current of a stop: "same", "other" or "doubtful"."""
    if not ends:
        return "doubtful"
    lowest = min(ends)
    if stop <= SAME_STOP * lowest + noise:
        return "same"
    return "other" if stop > OTHER_STOP * lowest + 2 * noise else "doubtful"


def _tops_up(record: ChargeRecord, block: Block, stop: float) -> bool:
    return float(np.quantile(record.current[block.first : block.last + 1], 0.95)) > AS_MUCH * stop


def charge_of(record: ChargeRecord, block: Block) -> float:
    """Return the charge that a stretch carries [A.s]."""
    rows = slice(block.first, block.last + 1)
    return float(np.trapezoid(record.current[rows], record.time_s[rows]))


def _at_limit(bins: Bins, account: Account, block: Block) -> bool:
    """Whether a stretch stops at the voltage limit: its last bins say so, or V + R·I there does."""
    inside = (bins.time_s >= block.first_s) & (bins.time_s <= block.last_s)
    own = account.kinds(len(bins))[inside]
    known = own[own != PASSING]
    if (known[-_LAST_BINS:] == HELD).any():
        return True
    if account.ohm is None or account.set_V is None:
        return False
    # The end of a long taper may be called a level or a slope: it stands at the limit all the same.
    off = (bins.voltage_V + account.ohm * bins.current_A)[inside] - account.set_V
    off = off[np.isfinite(off)][-_LAST_BINS:]
    return len(off) > 0 and float(np.median(np.abs(off))) < SAME_V


def how(
    record: ChargeRecord,
    profile: Profile,
    bins: Bins,
    account: Account,
    block: Block,
    *,
    in_gap: bool,
    most_A: float,
) -> Ending:
    """Return how the main charge came to its end, as far as its last stretch tells.

    Parameters
    ----------
    block : Block
        The main charge's last stretch.
    in_gap : bool
        Whether its end lies in a gap.
    most_A : float [A]
        The highest current at which a charge is expected to end.
    """
    stop = _last_level(record, profile, block)
    if stop < FLICKER * (profile.stop_A - profile.zero_A) and profile.pulsing[block.last]:
        return "faded"
    # A limit that has only just been reached makes the hour before it, at constant current, no trickle.
    reached = bool(
        (account.kinds(len(bins))[bins.time_s <= block.last_s - HELD_LONG * TRICKLE_S] == HELD).any()
    )
    trickle = reached and is_trickle(record, profile, block)
    ran_on = block.last >= len(record.current) - 1
    pulled = record.cable_out_s
    near = max(BY_HAND_S, 2 * record.interval_s)
    if ran_on or fades(record, (block.first, block.last)):
        out = pulled is not None and abs(pulled - block.last_s) < near
        return "never" if trickle else "faded" if not ran_on else "cable pulled" if out else "log ended"
    if pulled is not None and block.last_s - near < pulled < block.after_s + near:
        if in_gap:
            return "undecided"
        return "never" if trickle else "cable pulled"
    if pulled is not None and pulled >= block.after_s + near:
        return "terminated"
    # Nobody says when the cable was pulled: a current that is steady or still high may be that.
    early = stop > MID_TAPER * most_A
    return "undecided" if early or pulled is not None or _steady(record, profile, block) else "terminated"


def _steady(record: ChargeRecord, profile: Profile, block: Block) -> bool:
    time, amps = _last_rows(record, profile, block, STEADY_S)
    if len(time) < _ROWS:
        return False
    fitted = line(time, amps)
    level = max(fitted.middle - profile.zero_A, record.ammeter.resolution)
    fall = -fitted.slope * STEADY_S
    doubt = 2 * fitted.standard_at(float(time[-1]), record.noise_A) * STEADY_S / max(np.ptp(time) / 2, 1.0)
    return bool(fall < SLOW_SHARE * level or (fall < doubt and doubt < 0.3 * level))


def is_trickle(record: ChargeRecord, profile: Profile, block: Block) -> bool:
    """Whether the current has stopped falling for an hour, above what the meter may show for none."""
    time, amps = _last_rows(record, profile, block, TRICKLE_S)
    if len(time) < 2 * _ROWS or np.ptp(time) < HELD_LONG * TRICKLE_S:
        return False
    fitted = line(time, amps)
    level = fitted.middle - profile.zero_A
    doubt = record.ammeter.half_width(0.0) + record.noise_A
    slope_doubt = 2 * max(fitted.residual, record.noise_A) * np.sqrt(fitted.thin / fitted.spread_s2)
    fall, open_A = -fitted.slope * TRICKLE_S, slope_doubt * TRICKLE_S
    return bool(fitted.middle > doubt and level > doubt and fall + open_A < 2 * STEADY_SHARE * level)


def _last_rows(
    record: ChargeRecord, profile: Profile, block: Block, length_s: float
) -> tuple[FloatArray, FloatArray]:
    last = whole_rows(record, block)
    first = max(block.first, int(np.searchsorted(record.time_s, record.time_s[last] - length_s)))
    rows = np.arange(first, last + 1)
    rows = rows[profile.on[rows] | ~profile.pulsing[rows]]
    return record.time_s[rows], record.current[rows]
