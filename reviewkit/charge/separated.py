"""All runs of a review, told apart: rig, sources, other cells; and their findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from reviewkit.charge import resistance_findings
from reviewkit.charge.analysis import ChargeResult
from reviewkit.charge.findings import NOTHING_LOGGED, ChargeFindings, ChargeResults, keyed, under_label
from reviewkit.charge.inputs import ChargeInputs
from reviewkit.charge.port import PortMeters
from reviewkit.charge.separation import Separation, separate
from reviewkit.findings import Finding, not_tested


@dataclass(frozen=True)
class Separations:
    """What is the charger's, the bench's and the source's, for every run.

    Parameters
    ----------
    results : ChargeResults
    items : tuple of Separation
        One for each run.
    meters : PortMeters
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
                    not_tested(f"charge.{name}", label, NOTHING_LOGGED, unit)
                    for name, (label, unit) in resistance_findings.LABELS.items()
                )
            )
        alike = resistance_findings.end_alike(self.results.runs)
        per_run = [
            resistance_findings.of_run(run, apart, self.meters, alike=alike) for run, apart in self.runs
        ]
        together = resistance_findings.across(self.results.runs)
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
