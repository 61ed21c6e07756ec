"""Findings of the charge section: labels, limits, verdicts and a plain sentence each."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from reviewkit.charge import sentences
from reviewkit.charge.analysis import ChargeResult, analyse_one, say
from reviewkit.charge.inputs import (
    COLD_START_V,
    afterwards_limit,
    charge_current_limit,
    precharge_limit,
    temperature_limit,
    termination_limit,
    voltage_limit,
)
from reviewkit.charge.limit_time import in_words
from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.regimes import UNEXPLAINED
from reviewkit.findings import Finding, Findings, displays, measured, not_tested, table_html
from reviewkit.findings.displays import Answer, Dataset, Datasets
from reviewkit.metrology.conformity import Limit, Verdict
from reviewkit.schema.blocks import Cell

LEAST_SHARE = 0.1
"""Shares nearer to each other than this [%] are not told apart in words: chosen, the last digit shown."""

LABELS = {
    "start_voltage": ("voltage before the charge", "V"),
    "precharge_current": ("precharge current", "A"),
    "precharge_end": ("end of precharge", "s"),
    "plateau_current": ("plateau current", "A"),
    "plateau_droop": ("change of current over the plateau", "%"),
    "knee_time": ("knee, from charge start", "s"),
    "knee_voltage": ("cell’s voltage at the knee", "V"),
    "hold_voltage": ("hold voltage at the cell", "V"),
    "peak_voltage": ("peak voltage at the cell", "V"),
    "settled_voltage_10min": ("voltage settled for 10 min", "V"),
    "settled_voltage_60min": ("voltage settled for 60 min", "V"),
    "termination_current": ("termination current", "A"),
    "termination_time": ("termination, from charge start", "s"),
    "terminates": ("charge ends", ""),
    "current_after": ("current after termination", "A"),
    "drawn_after": ("drawn from the cell after termination", "A"),
    "delivered": ("charge delivered", "A.h"),
    "delivered_energy": ("energy delivered into the cell", "W.h"),
    "delivered_before_knee": ("share delivered before the knee", "%"),
    "time_to_80": ("time to 80 % of the charge", "s"),
    "limit_adherence": ("time at one of the two limits", "%"),
    "interruptions": ("interruptions", ""),
    "top_ups": ("top-ups", ""),
    "transient_share": ("time that no usual account of a charge explains", "%"),
    "clock_offset": ("current log’s clock to voltage log’s", "s"),
}
"""Label and unit of each finding, in the order in which a reader should see them."""


def _dataset(record: ChargeRecord) -> Dataset:
    return displays.merged(
        name=f"charge-{record.label.replace('_', '-')}",
        title=f"Charge from the {record.source}" if record.source else "Charge",
        voltage_V=record.voltage_V,
        current_A=record.current_A,
        temperature_C=record.temperature_C,
        inputs=record.inputs,
    )


@dataclass(frozen=True)
class ChargeResults:
    """All runs of a review.

    Parameters
    ----------
    runs : tuple of ChargeResult
        Empty if none was logged.
    """

    runs: tuple[ChargeResult, ...] = ()

    @property
    def only(self) -> ChargeResult | None:
        """The single run, where there is just one."""
        return self.runs[0] if len(self.runs) == 1 else None

    def notes(self) -> LogNotes:
        """Return what the logs had to say for themselves."""
        return notes_of(run.record for run in self.runs)

    def datasets(self) -> Datasets:
        """Return each run's logs, on one clock, as a table for others to use."""
        return Datasets(tuple(_dataset(run.record) for run in self.runs))

    def findings(self) -> ChargeFindings:
        """Return every finding; a run's label in the second place of its keys.

        Notes
        -----
        Where there is one run, its findings are there under the short keys too.
        """
        if not self.runs:
            return ChargeFindings(
                tuple(
                    not_tested(f"charge.{name}", label, say("nothing_logged"), unit)
                    for name, (label, unit) in LABELS.items()
                )
            )
        if self.only:
            return keyed(of_run(self.only), self.only)
        return ChargeFindings(
            tuple(item for run in self.runs for item in under_label(of_run(run), run, name_run=True))
        )


@dataclass(frozen=True)
class ChargeFindings(Findings):
    """Findings of which a reader sees each once, though a single run's stand under two keys."""

    def _repr_mimebundle_(self, **more: Any) -> dict[str, Any]:
        bundle = super()._repr_mimebundle_(**more)
        keys = {item.key for item in self.items}
        shown = [item for item in self.items if item.key.count(".") == 1 or _short(item.key) not in keys]
        return {
            **bundle,
            "text/html": table_html(shown),
            "text/plain": "\n".join(f"{item.label}: {item.text}" for item in shown),
        }


def _short(key: str) -> str:
    """Return a key without the run's label: "charge.wall_adapter.delivered" → "charge.delivered"."""
    first, *_, last = key.split(".")
    return f"{first}.{last}"


def keyed(items: Sequence[Finding], run: ChargeResult) -> ChargeFindings:
    """Return a single run's findings under their short keys and, where the source has a name, its label."""
    named = under_label(items, run, name_run=False) if run.record.source else []
    return ChargeFindings((*items, *named))


def under_label(items: Sequence[Finding], run: ChargeResult, *, name_run: bool) -> list[Finding]:
    """Return findings with the run's label in the second place of their keys.

    Parameters
    ----------
    items : sequence of Finding
        Under short keys.
    name_run : bool
        Whether the reader needs the source's name to tell runs apart.
    """
    ending = f", {run.record.source or run.record.label}" if name_run else ""
    return [
        replace(
            item,
            key=f"charge.{run.record.label}.{item.key.removeprefix('charge.')}",
            label=item.label + ending,
        )
        for item in items
    ]


def of_run(run: ChargeResult) -> list[Finding]:
    """Return one run's findings under their short keys."""
    special = {
        "terminates": _terminates,
        "limit_adherence": _adherence,
        "interruptions": _interruptions,
        "top_ups": _top_ups,
        "drawn_after": _drawn_after,
        "transient_share": _transient,
    }
    found = []
    for name, (label, unit) in LABELS.items():
        make = special.get(name)
        found.append(make(run) if make else _one(run, name, label, unit))
    found += temperatures(run)
    return [replace(item, inputs=run.record.inputs) for item in found]


def _one(run: ChargeResult, name: str, label: str, unit: str) -> Finding:
    key, limit = f"charge.{name}", limit_of(run, name)
    quantity = run.get(name)
    if quantity is not None:
        item = measured(key, label, quantity, limit=limit, note=sentences.note(run, name))
        return guarded(run, name, item)
    if name in run.bounds:
        low, high = run.bounds[name]
        verdict = between(low, high, limit) if limit else None
        return Finding(
            key, label, None, unit, low=low, high=high, limit=limit, verdict=verdict, note=run.missing[name]
        )
    item = not_tested(key, label, run.missing.get(name, ""), unit, limit)
    return guarded(run, name, item)


def _terminates(run: ChargeResult) -> Finding:
    key, (label, _) = "charge.terminates", LABELS["terminates"]
    if run.phases is None:
        return not_tested(key, label, run.missing["terminates"])
    ends = {"terminated": True, "never": False}.get(run.phases.ending)
    if ends is None:
        return not_tested(key, label, run.missing["termination_time"])
    return Finding(key, label, ends, verdict="pass" if ends else "fail", note=sentences.ending(run))


def _adherence(run: ChargeResult) -> Finding:
    key, (label, unit) = "charge.limit_adherence", LABELS["limit_adherence"]
    if run.adherence is None:
        return not_tested(key, label, run.missing["limit_adherence"], unit)
    at_cell = run.adherence_at_cell
    low, high = run.adherence.low, run.adherence.high
    differs = at_cell is not None and abs(at_cell.share - run.adherence.share) >= LEAST_SHARE
    is_open = low is not None and high is not None and high - low >= LEAST_SHARE
    note = say(
        "adherence",
        rest=in_words(run.adherence),
        at_cell=at_cell.share if at_cell and differs else None,
        pulsed=run.phases is not None and run.phases.pulsed,
        between=(low, high) if is_open else None,
    )
    return Finding(key, label, run.adherence.share, unit, low=low, high=high, note=note)


def _interruptions(run: ChargeResult) -> Finding:
    key, (label, _) = "charge.interruptions", LABELS["interruptions"]
    if run.phases is None:
        return not_tested(key, label, run.missing["interruptions"])
    if run.phases.unresolved:
        return not_tested(key, label, say("unresolved"))
    if run.phases.counts_doubtful:
        return not_tested(key, label, say("pause_or_end"))
    count = run.phases.interruptions
    return Finding(key, label, count, note=sentences.pauses(run))


def _top_ups(run: ChargeResult) -> Finding:
    key, (label, _) = "charge.top_ups", LABELS["top_ups"]
    if run.phases is None or not run.phases.terminated:
        why = run.missing.get("current_after") or say("not_ended_in_log")
        return not_tested(key, label, why)
    if run.phases.counts_doubtful:
        return not_tested(key, label, say("pause_or_end"))
    return Finding(key, label, len(run.phases.top_ups), note=sentences.top_ups(run))


def _drawn_after(run: ChargeResult) -> Finding:
    """Return the draw from the cell as an amount of its own: a negative current is no small one."""
    key, (label, unit) = "charge.drawn_after", LABELS["drawn_after"]
    after = run.get("current_after")
    if after is None:
        return not_tested(key, label, run.missing["current_after"], unit)
    drawn = after.scaled(-1.0)
    if drawn.low > 0:
        return measured(key, label, drawn, note=sentences.drawn(run))
    return Finding(key, label, None, unit, high=max(drawn.high, 0.0), note=sentences.drawn(run))


def _transient(run: ChargeResult) -> Finding:
    key, (label, unit) = "charge.transient_share", LABELS["transient_share"]
    if run.phases is None:
        return not_tested(key, label, run.missing["transient_share"], unit)
    note = say("transient", most=f"{UNEXPLAINED:g}")
    return Finding(key, label, run.phases.transient_share, unit, note=note)


def limit_of(run: ChargeResult, name: str) -> Limit | None:
    """Return what a quantity is judged against, if anything.

    Parameters
    ----------
    name : str
        Last part of the finding's key.
    """
    capacity = run.cell.rated_capacity_Ah
    if name == "hold_voltage":
        return voltage_limit(run.cell, both_sides=True)
    if name == "peak_voltage" or name.startswith("settled_voltage"):
        return voltage_limit(run.cell, both_sides=False)
    if name == "plateau_current":
        return charge_current_limit(run.cell)
    if name == "termination_current":
        return termination_limit(run.cell)
    if name == "precharge_current":
        return precharge_limit(capacity)
    if name == "current_after":
        return afterwards_limit(capacity, run.delivered.total_Ah if run.delivered else None)
    return None


def between(low: float, high: float, limit: Limit) -> Verdict:
    """Return the verdict on a value of which only the bounds are known."""
    least = -math.inf if limit.low is None else limit.low
    most = math.inf if limit.high is None else limit.high
    if least <= low and high <= most:
        return "pass"
    return "fail" if high < least or low > most else "inconclusive"


def guarded(run: ChargeResult, name: str, item: Finding) -> Finding:
    """Return the finding with the verdict that a deeply discharged start asks for.

    A start below 2.5 V wants a precharge or a refusal: without a precharge the full current is the fault.
    """
    if name == "current_after" and item.verdict == "fail" and _may_be_inside(item):
        # A limit much narrower than the meter's doubt is missed by chance: that tells nothing.
        return replace(item, verdict="inconclusive")
    cold = started_cold(run)
    if name != "precharge_current" or not cold:
        return item
    if item.value is not None:
        return replace(item, note=f"{say('cold', below=cold, how='cautiously')} {item.note}")
    if run.phases is None:
        return replace(item, verdict="pass", note=say("cold", below=cold, how="refused"))
    return replace(item, verdict="fail", note=say("cold", below=cold, how="at once"))


def _may_be_inside(item: Finding) -> bool:
    limit = item.limit
    if limit is None or item.low is None or item.high is None:
        return False
    return between(item.low, item.high, limit) == "inconclusive"


def started_cold(run: ChargeResult) -> str:
    """Return "2.5 V" if the cell certainly stood below that before the charge, else nothing."""
    start = run.get("start_voltage")
    if start is None or start.high >= COLD_START_V:
        return ""
    return f"{COLD_START_V:g} V"


def temperatures(run: ChargeResult) -> list[Finding]:
    """Return the extremes of the cell's temperature while charging, where it was logged.

    The log's own accuracy is not declared, so the verdict is on what was shown.
    """
    series = run.record.temperature_C
    if series is None or run.phases is None:
        return []
    time = series.index.to_numpy(dtype=float)
    inside = run.phases.mask(time, "precharge", "constant current", "constant voltage", "top-up")
    shown = series.to_numpy(dtype=float)[inside]
    shown = shown[np.isfinite(shown)]
    if not len(shown):
        return []
    allowed = temperature_limit(run.cell)
    note = say("as_shown")
    found = []
    for name, label, value in (
        ("lowest_temperature", "lowest temperature while charging", float(shown.min())),
        ("highest_temperature", "highest temperature while charging", float(shown.max())),
    ):
        low, high = allowed.low, allowed.high
        outside = (low is not None and value < low) or (high is not None and value > high)
        found.append(
            Finding(
                f"charge.{name}",
                label,
                value,
                "degC",
                limit=allowed,
                verdict="fail" if outside else "pass",
                note=note,
            )
        )
    return found


@dataclass(frozen=True)
class LogNotes(Answer):
    """Sentences about the logs, which tell of rows and not of the device."""


def notes_of(records: Iterable[ChargeRecord]) -> LogNotes:
    """Return what to know of each run's logs: rows, clocks, gaps, faults."""
    lines = []
    for record in records:
        name = f"{record.source}: " if record.source else ""
        lines.append(
            f"{name}{len(record.voltage_V)} voltage readings, one each {record.voltage_interval_s:g} s; "
            f"{len(record.current_A)} current readings, one each {record.interval_s:g} s."
        )
        if record.clock_note:
            lines.append(f"{name}Clocks: {record.clock_note[:1].lower()}{record.clock_note[1:]}")
        lines += [f"{name}{note}" for note in record.notes]
    return LogNotes(tuple(lines or ["Nothing was logged."]), form="bullets" if lines else "paragraphs")


def analyse(records: ChargeRecord | Iterable[ChargeRecord], *, cell: Cell | None = None) -> ChargeResults:
    """Return what every run shows.

    Parameters
    ----------
    records : ChargeRecord or iterable of ChargeRecord
    cell : Cell or None
        For limits and C-rates.

    Examples
    --------
    >>> [run.phases.ending for run in analyse(records, cell=bench.cell).runs]
    ['terminated']
    """
    each = [records] if isinstance(records, ChargeRecord) else list(records)
    return ChargeResults(tuple(analyse_one(one, cell=cell) for one in each))
