"""All states of a device: each with its figures, its range's fitness and what it means on the shelf."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from reviewkit import logs
from reviewkit.drain import doubts, ranges, sentences, storage
from reviewkit.drain.decompose import Decomposition, decompose
from reviewkit.drain.findings import all_findings
from reviewkit.drain.inputs import DrainInputs, DrainState
from reviewkit.drain.mean import Mean
from reviewkit.drain.ranges import Fitness
from reviewkit.drain.state import StateDrain
from reviewkit.drain.words import Words
from reviewkit.errors import LogError
from reviewkit.findings import Findings, dataset
from reviewkit.findings.dataset import Dataset
from reviewkit.logs import Log
from reviewkit.metrology import Measured
from reviewkit.metrology.meter import Meter


@dataclass(frozen=True)
class Datasets:
    """The tables of all logged states; a notebook displays one after the other."""

    items: tuple[Dataset, ...]

    def _ipython_display_(self) -> None:
        from IPython.display import display

        for item in self.items:
            display(item)  # type: ignore[no-untyped-call]


@dataclass(frozen=True)
class Drain:
    """The drain of every state, in the order of the review file.

    Parameters
    ----------
    bench : DrainInputs
    states : tuple of StateDrain
    """

    bench: DrainInputs
    states: tuple[StateDrain, ...]

    def __iter__(self) -> Iterator[StateDrain]:
        return iter(self.states)

    def __getitem__(self, name: str) -> StateDrain:
        for state in self.states:
            if name in (state.name, state.slug):
                return state
        raise KeyError(name)

    def sentences(self) -> Words:
        """Return what was found, a sentence or two for each state."""
        return Words(sentences.found(self.bench, self.states))

    def advice(self) -> Words:
        """Return what it means for storage, with the usual cautions."""
        return Words(sentences.advice(self.bench, self.states))

    def connecting(self) -> Words:
        """Return the steps that connect the meter safely."""
        return Words(ranges.connecting(self.bench.ranges), numbered=True)

    def datasets(self) -> Datasets:
        """Return the logs as tables for others to use; current into the cell is positive, so drain is not."""
        return Datasets(
            tuple(
                dataset.merged(
                    name=f"drain-{state.slug.replace('_', '-')}",
                    title=f"Standby drain: {state.name}",
                    current_A=-state.log.series,
                    inputs=state.inputs,
                )
                for state in self.states
                if state.log is not None
            )
        )

    def findings(self) -> Findings:
        """Return the section's findings."""
        return all_findings(self.bench, self.states)


def measure(bench: DrainInputs, *, folder: Path = Path()) -> Drain:
    """Return the drain of every state of the review file.

    Parameters
    ----------
    bench : DrainInputs
    folder : Path
        The review folder.

    Raises
    ------
    InputError
        If a log cannot be read, or holds too little.
    """
    return Drain(bench, tuple(_state(bench, state, folder) for state in bench.drain_states))


def _state(bench: DrainInputs, state: DrainState, folder: Path) -> StateDrain:
    meter = bench.meter(state)
    log = None if state.log is None else logs.read(state.log, "A", folder=folder)
    for fault in () if log is None else doubts.of_log(log, state, meter):
        raise fault
    split = None if log is None else _split(state, log, meter)
    mean = _reading(state.reading_A or 0.0, meter) if split is None else split.mean
    level = mean.value.value if mean.value is not None else mean.rows_mean_A
    highest = abs(level) if split is None else split.highest_A
    base = None if split is None or split.features.base.value is None else split.features.base.value.value
    capacity = bench.cell.rated_capacity_Ah
    share = 1 - bench.drain_level_percent / 100
    return StateDrain(
        state=state,
        meter=meter,
        log=log,
        split=split,
        mean=mean,
        mean_fit=_fit(bench, meter, level, highest),
        base_fit=None if base is None else _fit(bench, meter, base, highest),
        to_level=storage.days(mean, capacity, share=share),
        to_empty=storage.days(mean, capacity),
    )


def _split(state: DrainState, log: Log, meter: Meter) -> Decomposition:
    try:
        return decompose(
            log.series,
            meter=meter,
            aperture_s=state.looks_for_s,
            missing_is_overload=log.report.overloads > 0,
        )
    except ValueError as fault:
        raise LogError(
            str(fault), file=log.path, remedy="Log the state for longer, on a range that can show it."
        ) from None


def _reading(value_A: float, meter: Meter) -> Mean:
    parts = (meter.component(value_A), *(() if meter.states_counts else (meter.step_component(),)))
    return Mean(Measured(value_A, "A", parts), value_A)


def _fit(bench: DrainInputs, meter: Meter, value_A: float, highest_A: float) -> Fitness:
    return ranges.fitness(
        value_A, highest_A, meter=meter, ranges=bench.ranges, notice_V=bench.drain_burden_limit_V
    )
