"""One charge, analysed: its phases and every quantity that the log supports."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from reviewkit.charge import currents, delivered, ending, limit_time, regimes, voltages
from reviewkit.charge.delivered import Delivered
from reviewkit.charge.limit_time import Adherence
from reviewkit.charge.record import ChargeRecord, FloatArray
from reviewkit.charge.regimes import Phases
from reviewkit.charge.series_resistance import correlation_length
from reviewkit.findings import sentences
from reviewkit.metrology import COVERAGE, Component, Measured, formatting
from reviewkit.schema.blocks import Cell

say = sentences.of("charge")

CLOCK_RATE = 5e-5
"""Half-width of a logger's clock rate error; common practice for a quartz, no source."""


@dataclass(frozen=True)
class ChargeResult:
    """What one charge showed.

    Parameters
    ----------
    phases : Phases or None
        None if no charge current ever flowed.
    quantities : mapping of str to Measured
        By the last part of a finding's key: ``plateau_current``.
    missing : mapping of str to str
        Why a quantity could not be had, in a sentence.
    adherence, adherence_at_cell : Adherence or None
        Time at a limit, judged at the regulation point and at the cell.
    extrapolated : frozenset of str
        Quantities that lie beyond the log's end.
    bounds : mapping of str to (float, float)
        Between which values a quantity lies of which the log tells no more.
    """

    record: ChargeRecord
    cell: Cell
    phases: Phases | None
    delivered: Delivered | None
    quantities: Mapping[str, Measured]
    missing: Mapping[str, str]
    adherence: Adherence | None = None
    adherence_at_cell: Adherence | None = None
    extrapolated: frozenset[str] = frozenset()
    bounds: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def get(self, name: str) -> Measured | None:
        """Return a quantity, or None if the log does not support it."""
        return self.quantities.get(name)


def analyse_one(record: ChargeRecord, *, cell: Cell | None = None) -> ChargeResult:
    """Return what one charge shows.

    Parameters
    ----------
    record : ChargeRecord
    cell : Cell or None
        For limits and C-rates.

    Examples
    --------
    >>> print(analyse_one(records[0]).get("plateau_current").text)
    0.7973 A ± 0.0068 A
    """
    cell = cell or Cell()
    cut = regimes.find(record, cell=cell)
    if cut is None:
        start = voltages.start(record, None)
        return ChargeResult(record, cell, None, None, {"start_voltage": start}, _NothingFlows())
    record = checked(record, cut)
    amounts = delivered.integrate(record, cut)
    found, missing, extrapolated = _quantities(record, cut, amounts)
    plateau = found.get("plateau_current")
    level = plateau.value if plateau else math.nan
    held = found.get("hold_voltage")
    return ChargeResult(
        record,
        cell,
        cut,
        amounts,
        found,
        missing,
        adherence=limit_time.at_limits(
            record.thinned, cut, plateau_A=level, set_V=cut.set_V, series_ohm=cut.series_ohm or 0.0
        ),
        adherence_at_cell=limit_time.at_limits(
            record.thinned, cut, plateau_A=level, set_V=held.value if held else None, series_ohm=0.0
        ),
        extrapolated=extrapolated,
        bounds=_bounds(record, cut),
    )


def _bounds(record: ChargeRecord, cut: Phases) -> dict[str, tuple[float, float]]:
    """Return the bounds of a cut-off that lies in a gap of the log."""
    if not (cut.terminated and cut.end_in_gap):
        return {}
    ended, level = cut.since_start(cut.end), currents.termination_bounds(record, cut)
    half = max(ended.expanded, (cut.main[-1].after_s - cut.main[-1].last_s) / 2)
    found = {"termination_time": (ended.value - half, ended.value + half)}
    return found | ({"termination_current": level} if level else {})


class _NothingFlows(dict[str, str]):
    """One reason for every quantity."""

    def __missing__(self, name: str) -> str:
        return say("nothing_flows")

    def get(self, name: str, default: str | None = None) -> str:  # type: ignore[override]
        return self[name]


def _quantities(
    record: ChargeRecord, cut: Phases, amounts: Delivered
) -> tuple[dict[str, Measured], dict[str, str], frozenset[str]]:
    thinned = record.thinned
    found: dict[str, Measured | None] = {
        "start_voltage": voltages.start(thinned, cut),
        "precharge_current": currents.level(thinned, cut, "precharge", "precharge current"),
        "precharge_end": _since(cut, cut.precharge_end),
        "plateau_current": currents.level(thinned, cut, "constant current", "plateau current"),
        "plateau_droop": currents.droop(thinned, cut),
        "knee_time": _since(cut, cut.knee),
        "knee_voltage": voltages.at_knee(thinned, cut),
        "hold_voltage": voltages.hold(thinned, cut),
        "peak_voltage": voltages.peak(thinned, cut),
        "termination_current": currents.termination(record, cut),
        "termination_time": _since(cut, cut.end) if cut.terminated and not cut.end_in_gap else None,
        "current_after": currents.after(thinned, cut),
        "delivered": delivered.charge(amounts),
        "delivered_energy": _energy(thinned, cut, amounts),
        "delivered_before_knee": delivered.before_knee(amounts),
        "time_to_80": _clocked(delivered.time_to(amounts, 0.8)) if cut.terminated else None,
        "clock_offset": record.clock_offset,
    }
    late = set()
    for minutes in (10, 60):
        name = f"settled_voltage_{minutes}min"
        found[name], beyond = voltages.settled(thinned, cut, minutes)
        if beyond:
            late.add(name)
    if cut.unfit:
        found |= dict.fromkeys(NEED_AN_ACCOUNT)
    if cut.unexplained:
        found |= {"termination_current": None}
    if cut.unresolved:
        found |= dict.fromkeys(NEED_ROWS)
    known = {name: value for name, value in found.items() if value is not None}
    reasons = _reasons(record, cut)
    missing = {name: reasons[name] for name in (*found, "limit_adherence") if name not in known}
    return known, missing, frozenset(late)


def _since(cut: Phases, moment: Measured | None) -> Measured | None:
    """Return a moment as time since charge start, with the clock's rate in its budget."""
    if moment is None:
        return None
    if cut.knee is moment and cut.knee_at_start:
        return Measured(0.0, "s", cut.start.components)
    return _clocked(cut.since_start(moment))


def _clocked(span: Measured) -> Measured:
    rate = Component("rate of the logger’s clock", CLOCK_RATE, "1", "rectangular", span.value)
    return span.plus(rate) if span.value else span


def _energy(record: ChargeRecord, cut: Phases, amounts: Delivered) -> Measured | None:
    return delivered.energy(amounts) if delivered.covered(record, cut) > 0.98 else None


NEED_AN_ACCOUNT = (
    "plateau_current",
    "plateau_droop",
    "knee_time",
    "knee_voltage",
    "hold_voltage",
    "delivered_before_knee",
)
"""What is not read from a log that the account leaves unexplained."""

NEED_ROWS = (
    "plateau_current",
    "plateau_droop",
    "knee_voltage",
    "hold_voltage",
    "delivered_before_knee",
    "termination_current",
)
"""What is not read from a log whose rows are too far apart for its pulses."""


def _reasons(record: ChargeRecord, cut: Phases) -> dict[str, str]:
    """Return why each quantity may be missing from this charge."""
    no_limit = _no_limit(cut)
    ran_on = "terminated" if cut.terminated else cut.ending
    ended = formatting.clock(cut.since_start(cut.end).value)
    unended = say("not_ended", ending=ran_on, end=ended, in_gap=cut.end_in_gap)
    unread = no_limit if cut.knee is None or cut.unfit else say("few_voltage_rows")
    in_gap = cut.end_in_gap and cut.terminated
    never_flat = no_limit if cut.unfit else say("unresolved") if cut.unresolved else say("no_plateau")
    after = say("log_ends_soon") if cut.terminated else unended
    cut_off = say("end_in_gap") if in_gap else unended
    return {
        "limit_adherence": no_limit if cut.unfit or cut.unresolved else say("too_short"),
        **dict.fromkeys(("precharge_current", "precharge_end"), say("no_precharge")),
        **dict.fromkeys(("plateau_current", "plateau_droop"), never_flat),
        **dict.fromkeys(("knee_time", "delivered_before_knee"), no_limit),
        **dict.fromkeys(("knee_voltage", "hold_voltage"), unread),
        "termination_current": no_limit if cut.terminated and not in_gap else cut_off,
        "termination_time": cut_off,
        **dict.fromkeys(("current_after", "settled_voltage_10min", "settled_voltage_60min"), after),
        "time_to_80": unended,
        "delivered_energy": say("voltage_not_covering"),
        "clock_offset": say("one_clock"),
        **dict.fromkeys(("start_voltage", "peak_voltage"), say("no_reading", log="voltage")),
        "delivered": say("no_reading", log="current"),
    }


def _no_limit(cut: Phases) -> str:
    if cut.unresolved:
        return say("unresolved")
    if cut.fall_unread:
        return say("fall_unread")
    if cut.unfit:
        return say("unexplained", share=cut.transient_share)
    return say("no_voltage_limit", ending=cut.ending)


_REACH_S = 900.0
_LEAST_ROWS = 40
_BENT_S = 45.0
"""Smaller moves may come from the bend of the cell's own curve; from simulated charges."""

_CLEAR = 9.0
"""Log-likelihood, doubled, by which another offset must be better: three standard deviations."""


def checked(record: ChargeRecord, phases: Phases) -> ChargeRecord:
    """Return the record, its clock offset doubted where the logs' own knee contradicts it.

    Notes
    -----
    A charger reaches its voltage limit at one moment: V + R·I rises until the current bends and is level from
    then on. With the two logs apart, V + R·I has a bump there. Where it clearly fits better with the current
    moved, the offset is taken to be wrong by up to so much.
    """
    offset = record.clock_offset
    if offset is not None and phases.unresolved:
        hidden = ending.longest_pause(record, phases.profile, phases.main[-1])
        part = Component("clock offset: pulses between the rows", hidden, "s", "rectangular")
        return replace(record, clock_offset=offset.plus(part)) if hidden else record
    if offset is None or not record.clock_is_declared or phases.knee is None or phases.knee_at_start:
        return record
    found = _moved(record, phases)
    if found is None:
        return record
    size = (abs(found[0]) + found[1]) / COVERAGE
    part = Component("clock offset: against the knee that both logs show", size, "s", "rectangular")
    note = say("offset_contradicted", moved=formatting.quantity(found[0], found[1], "s"))
    return replace(record, clock_offset=offset.plus(part), clock_note=f"{record.clock_note} {note}".strip())


def _moved(record: ChargeRecord, phases: Phases) -> tuple[float, float] | None:
    """Return by how much the current log has to move, and how well that is known [s]; None if it fits."""
    assert phases.knee is not None
    assert record.clock_offset is not None
    knee_s = phases.knee.value
    reach = min(_REACH_S, 0.5 * (phases.end_s - knee_s), 0.8 * (knee_s - phases.plateau_start_s))
    time = record.voltage_V.index.to_numpy(dtype=float)
    near = np.abs(time - knee_s) <= reach
    if near.sum() < _LEAST_ROWS:
        return None
    time, volts = time[near], record.voltage_V.to_numpy(dtype=float)[near]
    moves = np.linspace(-1.0, 1.0, 201) * reach / 3
    left = [_left(record, time, volts, knee_s, reach, float(move)) for move in moves]
    losses = np.array([float(one @ one) for one in left])
    best = int(np.argmin(losses))
    floor = record.voltmeter.resolution**2 / 12
    variance = max(losses[best] / (len(time) - 5), floor) * correlation_length(left[best])
    likely = np.exp(-0.5 * (losses - losses[best]) / variance)
    likely /= likely.sum()
    middle = float(likely @ moves)
    spread = 2 * math.sqrt(float(likely @ (moves - middle) ** 2))
    clear = (losses[len(moves) // 2] - losses[best]) / variance > _CLEAR and abs(moves[best]) < moves[-1]
    known = record.clock_offset.expanded + spread
    return (middle, spread) if clear and abs(middle) > max(known, _BENT_S) else None


def _left(
    record: ChargeRecord, time: FloatArray, volts: FloatArray, knee_s: float, reach_s: float, move_s: float
) -> FloatArray:
    """Return what is left of V where R·I, moved, and a rise that ends with the current's bend explain it."""
    current = np.interp(time - move_s, record.time_s, record.current)
    since = (time - knee_s - move_s) / reach_s
    rising = np.minimum(since, 0.0)
    design = np.column_stack([np.ones_like(time), rising, rising**2, current])
    solution = np.linalg.lstsq(design, volts, rcond=None)[0]
    return np.asarray(volts - design @ solution, dtype=np.float64)
