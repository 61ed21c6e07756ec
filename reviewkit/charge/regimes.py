"""What the charger does at each moment, read off the likeliest account of its log."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np

from reviewkit.charge import ending as endings
from reviewkit.charge import profile as profiles
from reviewkit.charge import segmentation, transition
from reviewkit.charge.ending import SAME_V, Ending
from reviewkit.charge.inputs import termination_limit
from reviewkit.charge.profile import Bins, Block, Profile
from reviewkit.charge.record import ChargeRecord, FloatArray
from reviewkit.charge.segmentation import HELD, PASSING, SLOPE, Account
from reviewkit.metrology import Measured
from reviewkit.schema.blocks import Cell

PhaseName = Literal[
    "before", "precharge", "constant current", "constant voltage", "terminated", "top-up", "interrupted"
]
Shape = Literal["", "soft start", "level", "slope", "pulses", "falling", "trickle", "unexplained"]

PRECHARGE_BELOW_V = 3.2
"""A low current counts as precharge only while the cell's voltage is below this; common practice is 3.0 V."""

PRECHARGE_SHARE, PRECHARGE_S = 0.6, 20.0
"""It is under this share of the plateau, for at least so long: chosen."""

SOFT_SHARE = 0.1
"""A start that rises by at least this share of the plateau is a soft one: chosen."""

SAME_A = 0.03
"""A current is the same as another within this share of it (METHODS: at its limit)."""

FALLEN, LEAST_LEVEL = 0.05, 0.1
"""A current that ends by more than this share below its level has fallen, unless it then stands for at least
so much of the charge: chosen, above any droop of a meter and below the smallest step that chargers make.
"""

LAST_SHARE = 5.0
"""A charge of C/2 that ends at C/10 ends at a fifth of its plateau: common practice, no source."""

UNEXPLAINED = 6.0
"""With more than this share [%] of the charge in passing the account does not fit the log.

In simulated charges that fit, the 95th percentile is 1.4 %; chosen four times that.
"""


@dataclass(frozen=True)
class Phase:
    """One stretch of the record.

    Parameters
    ----------
    start_s, end_s : float [s]
        On the record's clock.
    shape : str
        What the current does in it.
    level_A : float [A]
        Its mean; in pulses of the on-time.
    """

    name: PhaseName
    start_s: float
    end_s: float
    shape: Shape = ""
    level_A: float = float("nan")

    @property
    def length_s(self) -> float:
        """Duration [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Phases:
    """A charge, moment by moment. All times are on the record's clock.

    Parameters
    ----------
    spans : tuple of Phase
        In order, without holes, from the record's first row to its last; neighbours differ in name.
    regimes : tuple of Phase
        The same in finer pieces: one for each stretch over which the charger did one thing.
    start, end : Measured [s]
        When current began to flow; when the main charge stopped, or the log did.
    precharge_end, knee : Measured or None [s]
        The knee is when the regulation point reached its set voltage.
    ending : str
        How the main charge came to its end.
    profile, bins, account
        What they were read from.
    main : tuple of Block
        Stretches of the main charge; the pauses between them are interruptions.
    knee_at_start : bool
        Whether the charge was at its voltage limit from its first reading on: the knee is then 0.
    other_knees : tuple of (float, float) [s]
        Where else the log could have its knee.
    counts_doubtful : bool
        Whether a pause may have been an end, or an end a pause.
    transient_share : float [%]
        Share of the charge's time that the account does not explain.
    """

    spans: tuple[Phase, ...]
    regimes: tuple[Phase, ...]
    start: Measured
    end: Measured
    precharge_end: Measured | None
    knee: Measured | None
    ending: Ending
    profile: Profile
    bins: Bins
    account: Account
    main: tuple[Block, ...]
    top_ups: tuple[Block, ...]
    knee_at_start: bool = False
    other_knees: tuple[tuple[float, float], ...] = field(default=())
    counts_doubtful: bool = False
    transient_share: float = 0.0
    end_in_gap: bool = False

    def named(self, name: PhaseName) -> tuple[Phase, ...]:
        """Return the phases of that name."""
        return tuple(phase for phase in self.spans if phase.name == name)

    @property
    def set_V(self) -> float | None:
        """Set voltage of the account [V]; None if it shows no voltage limit."""
        return self.account.set_V

    @property
    def series_ohm(self) -> float | None:
        """Resistance between regulation point and cell of the account [ohm]."""
        return self.account.ohm

    @property
    def plateau_A(self) -> float:
        """Rough plateau, for scales; the finding is computed from the phase [A]."""
        return self.profile.level_A

    @property
    def threshold_A(self) -> float:
        """Current above which the cell counts as being charged [A]."""
        return self.profile.stop_A

    @property
    def first_sample_s(self) -> float:
        """Charge start by definition: the first row of the first sustained rise of current [s]."""
        return self.main[0].first_s

    @property
    def began_before(self) -> bool:
        """Whether current already flows in the log's first rows."""
        return self.main[0].first <= 1

    @property
    def interruptions(self) -> int:
        """Pauses and dips within the main charge."""
        inside = [one for one in self.profile.pauses_s if one[0] < self.main[-1].last_s]
        return len(self.main) - 1 + len(inside)

    @property
    def sees_plateau(self) -> bool:
        """Whether the charge ever ran at its constant current."""
        return bool(self.named("constant current")) and not self.knee_at_start

    @property
    def plateau_start_s(self) -> float:
        """Where the constant current begins: the end of precharge, else the first sample [s]."""
        return self.precharge_end.value if self.precharge_end else self.first_sample_s

    @property
    def knee_s(self) -> float | None:
        """The knee on the record's clock [s]."""
        return self.knee.value if self.knee else None

    @property
    def end_s(self) -> float:
        """The end of the main charge on the record's clock [s]."""
        return self.end.value

    @property
    def terminated(self) -> bool:
        """Whether the device cut the current off."""
        return self.ending == "terminated"

    @property
    def unfit(self) -> bool:
        """Whether the account leaves too much of the log unexplained to be read from."""
        return self.unexplained or self.fall_unread

    @property
    def unexplained(self) -> bool:
        """Whether no label fits too large a share of the charge."""
        return self.transient_share > UNEXPLAINED

    @cached_property
    def fall_unread(self) -> bool:
        """Whether the current falls towards its end, and no voltage limit shows that would explain it.

        Another charger's foldback looks like that as well: the log can't tell.
        """
        if self.account.ohm is not None or not self.regimes or self.unresolved:
            return False
        whole = sum(one.length_s for one in self.regimes)
        last, first = self.regimes[-1], self.regimes[0]
        long = [one.level_A for one in self.regimes if one.length_s >= LEAST_LEVEL * whole]
        level = max(long, default=first.level_A)
        stands = len(self.regimes) == 1 and first.shape != "slope"
        kept = last.shape == "level" and last.length_s > LEAST_LEVEL * whole
        inside = (self.bins.time_s >= last.start_s) & (self.bins.time_s <= last.end_s)
        end_A = float(self.bins.current_A[inside][-1]) if inside.any() else last.level_A
        return not stands and not kept and end_A < (1 - FALLEN) * level

    @cached_property
    def pulsed(self) -> bool:
        """Whether the current was switched on and off all the time for a part of the charge."""
        return bool(self.bins.pulsing.any())

    @property
    def unresolved(self) -> bool:
        """Whether the current is switched faster than the log's rows can show."""
        return self.pulsed and not self.profile.resolved

    def since_start(self, moment: Measured) -> Measured:
        """Return a moment as time since charge start [s], with the start's own doubt."""
        parts = tuple(part.scaled(-1.0) for part in self.start.components)
        return Measured(moment.value - self.start.value, "s", moment.components + parts)

    def mask(self, time_s: FloatArray, *names: PhaseName) -> np.ndarray:
        """Return which of the times lie in phases of these names, shape of `time_s`."""
        inside = np.zeros(len(time_s), dtype=bool)
        for phase in self.spans:
            if phase.name in names:
                inside |= (time_s >= phase.start_s) & (time_s <= phase.end_s)
        return inside


def find(record: ChargeRecord, *, cell: Cell | None = None) -> Phases | None:
    """Return what the charger does at each moment; None if no charge current ever flows.

    Parameters
    ----------
    cell : Cell or None
        For the current at which a charge is expected to end.
    """
    profile = profiles.of(record)
    if profile is None:
        return None
    bins = profiles.bins(record, profile)
    account = segmentation.account(bins, rig_ohm=record.ammeter.series_ohm)
    order = endings.order(record, profile, bins, account)
    main = profile.blocks[: order.main]
    precharge = _precharge(record, profile, bins, account, main[0])
    inside = bins.time_s <= main[-1].last_s
    knee = transition.find(
        record, profile, bins, account, main, from_s=precharge.value if precharge else None
    )
    regimes = _regimes(bins, account, inside, precharge, knee.moment.value if knee else None, profile.level_A)
    _, in_gap = endings.moment(record, profile, main[-1])
    # A charge that begins again by itself had ended, at whatever current.
    most_A = math.inf if order.top_ups else _last_expected(cell or Cell(), record, main, profile.level_A)
    ending = endings.how(record, profile, bins, account, main[-1], in_gap=in_gap, most_A=most_A)
    end, _ = endings.moment(record, profile, main[-1], ending)
    spans = _spans(
        record, regimes, main, order.top_ups, end.value if ending in ("never", "faded") else main[-1].last_s
    )
    return Phases(
        spans,
        regimes,
        endings.start(record, profile, main[0]),
        end,
        precharge,
        knee.moment if knee else None,
        ending,
        profile,
        bins,
        account,
        main,
        order.top_ups,
        knee_at_start=bool(knee and knee.from_start),
        other_knees=knee.others if knee else (),
        counts_doubtful=order.doubtful,
        transient_share=_unexplained(regimes),
        end_in_gap=in_gap,
    )


def _last_expected(cell: Cell, record: ChargeRecord, main: tuple[Block, ...], level_A: float) -> float:
    """Return the highest current at which a charge is expected to end [A]: as declared, else C/10.

    Where no capacity is declared, what the log delivers or a part of the plateau stands in for it.
    """
    limit = termination_limit(cell)
    if limit is not None and limit.high is not None:
        return limit.high
    delivered_Ah = sum(endings.charge_of(record, one) for one in main) / 3600
    return max(delivered_Ah / 10, level_A / LAST_SHARE)


def _precharge(
    record: ChargeRecord, profile: Profile, bins: Bins, account: Account, block: Block
) -> Measured | None:
    """Return the step from the precharge current up to the plateau, if the charge begins with one."""
    inside = slice(block.first, block.last + 1)
    time, current, voltage = record.time_s[inside], record.current[inside], record.voltage[inside]
    high = np.flatnonzero(current - profile.zero_A >= PRECHARGE_SHARE * profile.level_A)
    if not len(high) or time[high[0]] - time[0] < PRECHARGE_S:
        return None
    step = int(high[0])
    before = voltage[:step][np.isfinite(voltage[:step])]
    if not len(before) or float(np.median(before)) > PRECHARGE_BELOW_V:
        return None
    if account.stretches and account.stretches[0].kind == SLOPE and _rises(bins, account.stretches[0]):
        return None
    return endings.edge(record, block.first + step, "end of precharge")


def _rises(bins: Bins, stretch: segmentation.Stretch) -> bool:
    early, late = bins.current_A[stretch.first], bins.current_A[stretch.last]
    return bool(late > early * (1 + SOFT_SHARE))


def _regimes(
    bins: Bins,
    account: Account,
    inside: np.ndarray,
    precharge: Measured | None,
    knee_s: float | None,
    level_A: float,
) -> tuple[Phase, ...]:
    """Return each stretch of the main charge with its name, by the account's own boundaries."""
    found = []
    half = bins.span_s / 2
    soft = False
    for one in account.stretches:
        if not inside[one.first]:
            continue
        # A soft start follows a stop; a rise in mid-charge is none.
        soft = _rises(bins, one) and (
            soft or one.first == 0 or bins.group[one.first] != bins.group[one.first - 1]
        )
        rows = slice(one.first, one.last + 1)
        start, end = float((bins.time_s - half)[one.first]), float((bins.time_s + half)[one.last])
        mean = float(np.average(bins.current_A[rows], weights=bins.span_s[rows]))
        name, shape = _named(bins, account, one, precharge, knee_s, level_A, mean)
        shape = "soft start" if soft and shape == "slope" else shape
        found.append(Phase(name, start, end, shape, mean))
    return tuple(_at_moments(found, precharge.value if precharge else None, knee_s))


def _at_moments(found: list[Phase], precharge_s: float | None, knee_s: float | None) -> list[Phase]:
    """Return the regimes with the boundaries that are known finely set to these moments."""
    for moment, name in ((precharge_s, "constant current"), (knee_s, "constant voltage")):
        index = next((k for k, one in enumerate(found) if one.name == name), 0)
        if moment is None or index == 0:
            continue
        early, late = found[index - 1], found[index]
        if early.start_s < moment < late.end_s:
            found[index - 1], found[index] = replace(early, end_s=moment), replace(late, start_s=moment)
    return found


def _named(
    bins: Bins,
    account: Account,
    one: segmentation.Stretch,
    precharge: Measured | None,
    knee_s: float | None,
    level_A: float,
    mean_A: float,
) -> tuple[PhaseName, Shape]:
    middle = float(bins.time_s[(one.first + one.last) // 2])
    if precharge is not None and middle < precharge.value:
        return "precharge", "level"
    pulsing = bool(bins.pulsing[one.first : one.last + 1].mean() > 0.5)
    if knee_s is None or middle < knee_s:
        plain: Shape = "slope" if one.kind == SLOPE else "level"
        shape: Shape = "pulses" if pulsing else plain
        return "constant current", "unexplained" if one.kind == PASSING else shape
    unseen = not np.isfinite(bins.voltage_V[one.first : one.last + 1]).any()
    if one.kind == HELD or (unseen and one.kind == SLOPE):
        return "constant voltage", "pulses" if pulsing else "falling"
    if one.kind != PASSING and _at_limit(bins, account, one):
        return "constant voltage", "trickle"
    if one.kind != PASSING and abs(mean_A - level_A) < SAME_A * level_A:
        return "constant current", "pulses" if pulsing else "level"
    return "constant voltage", "unexplained"


def _at_limit(bins: Bins, account: Account, one: segmentation.Stretch) -> bool:
    """Whether the regulation point stands near its set voltage though the account has another name for it."""
    rows = slice(one.first, one.last + 1)
    off = bins.voltage_V[rows] + (account.ohm or 0.0) * bins.current_A[rows] - (account.set_V or np.inf)
    off = off[np.isfinite(off)]
    return len(off) > 0 and float(np.abs(np.median(off))) < SAME_V


def _unexplained(regimes: tuple[Phase, ...]) -> float:
    """Return the share of the charge's time that no regime explains [%]."""
    whole = sum(one.length_s for one in regimes)
    odd = sum(one.length_s for one in regimes if one.shape == "unexplained")
    return 100 * odd / whole if whole > 0 else 0.0


def _spans(
    record: ChargeRecord,
    regimes: tuple[Phase, ...],
    main: tuple[Block, ...],
    top_ups: tuple[Block, ...],
    end_s: float,
) -> tuple[Phase, ...]:
    """Return the phases in order: regimes of one name joined, with pauses and what came after."""
    cuts: list[tuple[float, PhaseName]] = [(float(record.time_s[0]), "before")]
    for number, block in enumerate(main):
        own = [
            one
            for one in regimes
            if block.first_s - 1e-6 <= (one.start_s + one.end_s) / 2 <= block.last_s + 1e-6
        ]
        names: list[tuple[float, PhaseName]] = [(one.start_s, one.name) for one in own]
        first_name = names[0][1] if names else cuts[-1][1]
        cuts.append((block.first_s, first_name))
        cuts += [(start, name) for start, name in names[1:] if block.first_s < start < block.last_s]
        last_s = max(block.last_s, end_s) if number == len(main) - 1 else block.last_s
        cuts.append((last_s, "terminated" if number == len(main) - 1 else "interrupted"))
    for again in top_ups:
        cuts += [(again.first_s, "top-up"), (again.last_s, "terminated")]
    joined: list[tuple[float, PhaseName]] = []
    for cut in cuts:
        if not joined or joined[-1][1] != cut[1]:
            joined.append(cut)
    ends = [moment for moment, _ in joined[1:]] + [float(record.time_s[-1])]
    return tuple(
        Phase(name, start, end) for (start, name), end in zip(joined, ends, strict=True) if end > start
    )
