"""All runs of a review, told apart: rig, sources, other cells; and their findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from reviewkit.charge import sentences, sources
from reviewkit.charge.analysis import ChargeResult, say
from reviewkit.charge.burden_correction import Separation, separate
from reviewkit.charge.findings import ChargeFindings, ChargeResults, keyed, under_label
from reviewkit.charge.inputs import ChargeInputs, source_limit
from reviewkit.charge.sources import PortMeters
from reviewkit.findings import Finding, measured, not_tested
from reviewkit.metrology import Measured, difference, formatting


@dataclass(frozen=True)
class Separations:
    """What is the charger's, the bench's and the source's, for every run.

    Parameters
    ----------
    items : tuple of Separation
        One for each run.
    """

    results: ChargeResults
    items: tuple[Separation, ...]
    meters: PortMeters = field(default_factory=PortMeters)

    @property
    def runs(self) -> tuple[tuple[ChargeResult, Separation], ...]:
        """Each run with what was told apart in it."""
        return tuple(zip(self.results.runs, self.items, strict=True))

    def findings(self) -> ChargeFindings:
        """Return every finding; a run's label in the second place of its keys where there are several."""
        if not self.runs:
            return ChargeFindings(
                tuple(
                    not_tested(f"charge.{name}", label, say("nothing_logged"), unit)
                    for name, (label, unit) in LABELS.items()
                )
            )
        alike = end_alike(self.results.runs)
        per_run = [of_run(run, apart, self.meters, alike=alike) for run, apart in self.runs]
        together = across(self.results.runs)
        if self.results.only:
            return ChargeFindings((*keyed(per_run[0], self.results.only).items, *together))
        labelled: list[Finding] = []
        for run, items in zip(self.results.runs, per_run, strict=True):
            labelled += under_label(items, run, name_run=True)
        return ChargeFindings((*labelled, *together))


def separate_all(results: ChargeResults, inputs: ChargeInputs) -> Separations:
    """Return what is the charger's and what is the bench's in every run.

    Parameters
    ----------
    results : ChargeResults
    inputs : ChargeInputs
        For the meters on the source's side and the capacities that readers have.

    Examples
    --------
    >>> separated = separate_all(analyse(records, cell=bench.cell), bench)
    >>> [round(apart.regulation.set_voltage.value, 2) for apart in separated.items]
    [4.2]
    """
    capacities: Sequence[float] = inputs.reader_capacities_Ah
    return Separations(
        results,
        tuple(separate(run, capacities_Ah=capacities) for run in results.runs),
        PortMeters(
            inputs.source_voltmeter.meter() if inputs.source_voltmeter else None,
            inputs.source_ammeter.meter() if inputs.source_ammeter else None,
        ),
    )


LABELS = {
    "set_voltage": ("set voltage at the regulation point", "V"),
    "series_resistance": ("series resistance, charger to cell", "ohm"),
    "device_resistance": ("series resistance of the device", "ohm"),
    "time_without_rig": ("charging time without the ammeter and leads", "s"),
    "other_cells": ("charging time for cells of other capacities", ""),
    "ended_by": ("who ends the charge", ""),
    "drawn_from_source": ("current drawn from the source", "A"),
    "efficiency": ("energy into the cell over energy from the port", "%"),
}
"""Label and unit of each finding of a run, in the order in which a reader should see them."""

COMPARED = {
    "plateau_current": "plateau current",
    "hold_voltage": "hold voltage",
    "termination_current": "termination current",
    "termination_time": "time to the end",
}
"""What is compared between sources."""


def of_run(
    run: ChargeResult, apart: Separation, meters: PortMeters, *, alike: bool | None = None
) -> list[Finding]:
    """Return what one run says about rig, source and other cells, under short keys.

    `alike` says whether all sources end the charge alike; None with a single one.
    """
    found = [
        *_regulation(run, apart),
        _without_rig(run, apart),
        _other_cells(apart),
        _ended_by(run, alike),
        _drawn(run, meters),
        _efficiency(run, meters),
    ]
    return [replace(item, inputs=run.record.inputs) for item in found]


def _regulation(run: ChargeResult, apart: Separation) -> list[Finding]:
    rows = ("set_voltage", "series_resistance", "device_resistance")
    known = apart.regulation
    values: Mapping[str, Measured | None] = {
        "set_voltage": known.set_voltage if known else None,
        "series_resistance": known.series_resistance if known else None,
        "device_resistance": apart.device_ohm,
    }
    declared = formatting.quantity(apart.rig_ohm, None, "ohm")
    notes = {
        "set_voltage": say("set_voltage"),
        "series_resistance": say(
            "series_resistance",
            drop=sentences.full_drop(run, known.series_resistance) if known else "",
            negative=known is not None and known.series_resistance.high < 0,
        ),
        "device_resistance": say(
            "device_resistance",
            declared=declared,
            negative=apart.device_ohm is not None and apart.device_ohm.high < 0,
        ),
    }
    found = []
    for name in rows:
        value, (label, unit) = values[name], LABELS[name]
        why = apart.reasons.get("device" if name == "device_resistance" else "regulation", "")
        key = f"charge.{name}"
        found.append(
            measured(key, label, value, note=notes[name]) if value else not_tested(key, label, why, unit)
        )
    return found


def _without_rig(run: ChargeResult, apart: Separation) -> Finding:
    key, (label, _) = "charge.time_without_rig", LABELS["time_without_rig"]
    if apart.effect is None or not apart.rig_ohm:
        return not_tested(key, label, apart.reasons.get("effect", ""), "s")
    logged = run.get("termination_time")
    longer = difference(logged, apart.effect.duration_s) if logged is not None else None
    note = say(
        "without_rig",
        knee=apart.effect.knee_s.text,
        logged=longer is not None,
        longer=longer.text if longer is not None and abs(longer.value) > longer.expanded else "",
    )
    return measured(key, label, apart.effect.duration_s, note=note)


def _other_cells(apart: Separation) -> Finding:
    key, (label, _) = "charge.other_cells", LABELS["other_cells"]
    if not apart.others:
        return not_tested(key, label, apart.reasons.get("others") or say("no_capacities"))
    rows = [
        {
            "capacity_Ah": one.capacity_Ah,
            "full_s": round(one.full_s.value),
            "full_uncertainty_s": round(one.full_s.expanded),
            "to_80_s": round(one.to_80_s.value),
            "to_80_uncertainty_s": round(one.to_80_s.expanded),
            "trusted": one.trusted,
        }
        for one in apart.others
    ]
    trusted = [one for one in apart.others if one.trusted]
    ends = [(f"{one.capacity_Ah:g}", one.full_s.text) for one in (*trusted[:1], *trusted[-1:])]
    note = say("other_cells", ends=ends)
    return Finding(key, label, rows, note=note)


def _ended_by(run: ChargeResult, same_on_all: bool | None) -> Finding:
    key, (label, _) = "charge.ended_by", LABELS["ended_by"]
    if run.phases is None:
        return not_tested(key, label, say("nothing_flows"))
    declared = run.record.run.source_controls_charge if run.record.run else None
    ending = sources.who_ends(run.phases.terminated, declared, sources.source_stays(run), same_on_all)
    return Finding(key, label, ending.by, note=say("ended_by", evidence=ending.evidence))


def _drawn(run: ChargeResult, meters: PortMeters) -> Finding:
    key, (label, _) = "charge.drawn_from_source", LABELS["drawn_from_source"]
    declared = run.record.run
    limit = source_limit(declared.source_kind, declared.source_limit_A) if declared else None
    value = sources.drawn(run, meters)
    if value is None:
        return not_tested(key, label, say("source_not_logged", whole=False), "A", limit)
    if value.components:
        return measured(key, label, value, limit=limit, note=say("drawn_from_source", accuracy=True))
    note = say("drawn_from_source", accuracy=False)
    return Finding(key, label, value.value, "A", limit=limit, note=note)


def _efficiency(run: ChargeResult, meters: PortMeters) -> Finding:
    key, (label, _) = "charge.efficiency", LABELS["efficiency"]
    value = sources.efficiency(run, meters)
    if value is None:
        return not_tested(key, label, say("source_not_logged", whole=True), "%")
    declared = bool(meters.voltmeter and meters.ammeter)
    note = say("efficiency", accuracy=declared)
    if declared:
        return measured(key, label, value, note=note)
    return Finding(key, label, value.value, "%", note=note)


def across(runs: Sequence[ChargeResult]) -> list[Finding]:
    """Return what only several sources together can say."""
    key, label = "charge.same_on_all_sources", "the same charge on all sources"
    if len(runs) < 2:
        return [not_tested(key, label, say("one_source"))]
    rows = compare(runs)
    if not rows:
        return [not_tested(key, label, say("nothing_common"))]
    differing = sources.named_pairs(rows)
    compared = sorted({row.quantity for row in rows})
    note = say("same_on_all", count=len(rows), compared=compared, differing=differing)
    inputs = tuple(path for run in runs for path in run.record.inputs)
    return [Finding(key, label, not differing, note=note, inputs=inputs)]


def compare(runs: Sequence[ChargeResult]) -> tuple[sources.SameOrNot, ...]:
    """Return each compared quantity, source against source."""
    return sources.compare(
        {
            label: {
                run.record.source or run.record.label: value
                for run in runs
                if (value := run.get(name)) is not None
            }
            for name, label in COMPARED.items()
        }
    )


def end_alike(runs: Sequence[ChargeResult]) -> bool | None:
    """Return whether all sources end the charge alike; None where there is nothing to compare."""
    ends = [row for row in compare(runs) if row.quantity in ("termination current", "hold voltage")]
    return all(row.same for row in ends) if ends else None
