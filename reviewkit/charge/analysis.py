"""One charge, analysed: its phases and every quantity that the log supports."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from reviewkit.charge import clock_check, currents, delivered, limit_time, regimes, voltages
from reviewkit.charge.delivered import Delivered
from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.regimes import Phases
from reviewkit.charge.shapes import Adherence
from reviewkit.metrology import Component, Measured
from reviewkit.schema.blocks import Cell

CLOCK_RATE = 5e-5
"""Half-width of a logger's clock rate error; common practice for a quartz, no source."""


@dataclass(frozen=True)
class ChargeResult:
    """What one charge showed.

    Parameters
    ----------
    record : ChargeRecord
    cell : Cell
    phases : Phases or None
        None if no charge current ever flowed.
    delivered : Delivered or None
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
    """
    cell = cell or Cell()
    cut = regimes.find(record)
    if cut is None:
        start = voltages.start(record, None)
        return ChargeResult(record, cell, None, None, {"start_voltage": start}, _NothingFlows())
    record = clock_check.checked(record, cut)
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
        return "No charge current flows in this log."

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
    known = {name: value for name, value in found.items() if value is not None}
    reasons = _reasons(record, cut)
    return known, {name: reasons[name] for name in found if name not in known}, frozenset(late)


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


def _reasons(record: ChargeRecord, cut: Phases) -> dict[str, str]:
    """Return why each quantity may be missing from this charge."""
    never_flat = "The charge was at its voltage limit from its first reading on: it never saw its plateau."
    unresolved = "The current is switched on and off faster than the log's rows can show."
    no_hold = _no_hold(cut)
    ran_on = {
        "cable pulled": "The cable was pulled before the charge had ended.",
        "terminated": "The log has too few readings there.",
        "never": "The current was never cut off.",
        "faded": "The current faded to less than the meter can tell from none; no cut-off shows.",
        "undecided": (
            "The current stopped, but the log can’t tell who stopped it: say when the cable was pulled "
            "(`cable_out_s`)."
        ),
    }.get(cut.ending, "The charge still ran when the log ended.")
    unread = no_hold if cut.knee is None or cut.unfit else "The voltage log has too few readings there."
    in_gap = "The cut-off lies in a gap of the log."
    none_below = "There was no precharge: the charge began with its full current."
    short = "The log ends too soon after the charge." if cut.terminated else ran_on
    flat = unresolved if cut.pulsed and not cut.profile.resolved else never_flat
    return {
        "precharge_current": none_below,
        "precharge_end": none_below,
        "plateau_current": no_hold if cut.unfit else flat,
        "plateau_droop": no_hold if cut.unfit else flat,
        "knee_time": no_hold,
        "knee_voltage": unread,
        "hold_voltage": unread,
        "delivered_before_knee": no_hold,
        "termination_current": in_gap if cut.end_in_gap and cut.terminated else ran_on,
        "termination_time": in_gap if cut.end_in_gap and cut.terminated else ran_on,
        "current_after": short,
        "time_to_80": ran_on,
        "settled_voltage_10min": short,
        "settled_voltage_60min": short,
        "delivered_energy": "The voltage log does not cover the charge.",
        "clock_offset": "Voltage and current come from one clock.",
        "start_voltage": "The voltage log has no reading there.",
        "peak_voltage": "The voltage log has no reading there.",
        "delivered": "The current log has no reading there.",
    }


def _no_hold(cut: Phases) -> str:
    if cut.unfit:
        return f"The log can’t tell: no usual account fits {cut.transient_share:.0f} % of the charge."
    return "The charge shows no constant-voltage phase: it " + {
        "log ended": "still ran when the log ended.",
        "never": "never stopped.",
        "faded": "faded away.",
    }.get(cut.ending, "stopped out of its constant current.")
