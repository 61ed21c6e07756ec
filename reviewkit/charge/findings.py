"""Findings of the charge section: labels, limits, verdicts and a plain sentence each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from reviewkit.charge import judged, notes, sentences
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.limit_time import in_words
from reviewkit.charge.notes import LogNotes
from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.regimes import UNEXPLAINED
from reviewkit.findings import Finding, Findings, dataset, measured, not_tested, table_html
from reviewkit.findings.dataset import Dataset, Datasets

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

NOTHING_LOGGED = (
    "No charge was logged: name a voltage log and a current log under `charge_runs` in the review file."
)


def _dataset(record: ChargeRecord) -> Dataset:
    return dataset.merged(
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
        return notes.of(run.record for run in self.runs)

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
                    not_tested(f"charge.{name}", label, NOTHING_LOGGED, unit)
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
    run : ChargeResult
    name_run : bool
        Whether the reader needs the source's name to tell runs apart.
    """
    ending = f", {run.record.source or run.record.label}" if name_run else ""
    return [
        replace(
            item,
            key=item.key.replace("charge.", f"charge.{run.record.label}.", 1),
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
    found += judged.temperature(run)
    return [replace(item, inputs=run.record.inputs) for item in found]


def _one(run: ChargeResult, name: str, label: str, unit: str) -> Finding:
    key, limit = f"charge.{name}", judged.limit(run, name)
    quantity = run.get(name)
    if quantity is not None:
        item = measured(key, label, quantity, limit=limit, note=sentences.note(run, name))
        return judged.guarded(run, name, item)
    if name in run.bounds:
        low, high = run.bounds[name]
        verdict = judged.between(low, high, limit) if limit else None
        return Finding(
            key, label, None, unit, low=low, high=high, limit=limit, verdict=verdict, note=run.missing[name]
        )
    item = not_tested(key, label, run.missing.get(name, ""), unit, limit)
    return judged.guarded(run, name, item)


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
        return not_tested(key, label, "The charge is too short to say.", unit)
    at_cell = run.adherence_at_cell
    note = (
        "Share of the charging time with the current within 3 % of its plateau or the regulation point "
        f"within 10 mV of its set voltage. {in_words(run.adherence)}"
    )
    if at_cell is not None and abs(at_cell.share - run.adherence.share) >= 0.1:
        note += f" With the voltage at the cell in place of the regulation point it is {at_cell.share:.1f} %."
    if run.phases is not None and run.phases.pulsed:
        note += " The current is switched on and off: it is judged while it is on."
    low, high = run.adherence.low, run.adherence.high
    if low is not None and high is not None and high - low >= 0.1:
        note += f" The readings’ noise and steps leave {low:.1f} % to {high:.1f} % open."
    return Finding(key, label, run.adherence.share, unit, low=low, high=high, note=note)


def _interruptions(run: ChargeResult) -> Finding:
    key, (label, _) = "charge.interruptions", LABELS["interruptions"]
    if run.phases is None:
        return not_tested(key, label, run.missing["interruptions"])
    if run.phases.counts_doubtful:
        return not_tested(key, label, sentences.say("pause_or_end"))
    count = run.phases.interruptions
    return Finding(key, label, count, note=sentences.pauses(run))


def _top_ups(run: ChargeResult) -> Finding:
    key, (label, _) = "charge.top_ups", LABELS["top_ups"]
    if run.phases is None or not run.phases.terminated:
        why = run.missing.get("current_after") or "The charge did not end within the log."
        return not_tested(key, label, why)
    if run.phases.counts_doubtful:
        return not_tested(key, label, sentences.say("pause_or_end"))
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
    note = sentences.say("transient", most=f"{UNEXPLAINED:g}")
    return Finding(key, label, run.phases.transient_share, unit, note=note)
