"""All states of a device: each with its figures, its range's fitness and what it means on the shelf."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from reviewkit import logs
from reviewkit.drain import plausibility, ranges, storage
from reviewkit.drain.decompose import Decomposition, decompose
from reviewkit.drain.inputs import DrainInputs, DrainState
from reviewkit.drain.mean import Mean
from reviewkit.drain.ranges import Fitness
from reviewkit.drain.storage import Days
from reviewkit.errors import InputError, LogError
from reviewkit.findings import dataset
from reviewkit.findings.dataset import Dataset
from reviewkit.logs import Log
from reviewkit.metrology import Measured
from reviewkit.metrology.meter import Meter

_MUCH = 0.1
"""A drain that changed by more than this share of itself is not taken to go on so (chosen)."""


@dataclass(frozen=True)
class StateDrain:
    """One state: what was read, what it holds, and what it means.

    Parameters
    ----------
    state : DrainState
    log : Log or None
        None for a single reading, or one that says nothing.
    split : Decomposition or None
        Likewise.
    mean : Mean
    mean_fit : Fitness
        Of the range, for the mean.
    base_fit : Fitness or None
        Of the range, for the base level.
    on_shelf, to_level, to_empty : Days
        To empty with the cell's own loss; to the level and to empty by the drain alone.
    fault : str
        Why the state was not measured; empty where it was.
    """

    state: DrainState
    log: Log | None
    split: Decomposition | None
    mean: Mean
    mean_fit: Fitness
    base_fit: Fitness | None
    on_shelf: Days
    to_level: Days
    to_empty: Days
    fault: str = ""

    @property
    def name(self) -> str:
        """The state's name."""
        return self.state.name

    @property
    def slug(self) -> str:
        """The name as findings' keys spell it."""
        return self.state.slug

    @property
    def inputs(self) -> tuple[str, ...]:
        """Files it was made from."""
        return () if self.log is None else (self.log.path,)

    @property
    def changing(self) -> bool:
        """Whether the drain moved so far during the log that it tells little of the time after it."""
        moved = None if self.split is None else self.split.drift_A
        return moved is not None and abs(moved[1] - moved[0]) > _MUCH * abs(self.mean.level_A)

    @property
    def can_tell(self) -> bool:
        """Whether the meter was fit for the mean and the rows hold all of it."""
        return self.mean_fit.fit and self.mean.value is not None and not self.fault


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
        raise KeyError(f"no state '{name}'; there are {', '.join(state.slug for state in self) or 'none'}")


@dataclass(frozen=True)
class Datasets:
    """The tables of all logged states; a notebook displays one after the other."""

    items: tuple[Dataset, ...]

    def _ipython_display_(self) -> None:
        from IPython.display import display

        for item in self.items:
            display(item)  # type: ignore[no-untyped-call]


def datasets(result: Drain) -> Datasets:
    """Return the logs as tables for others to use; current into the cell is positive, so drain is not."""
    return Datasets(
        tuple(
            dataset.merged(
                name=f"drain-{state.slug.replace('_', '-')}",
                title=f"Standby drain: {state.name}",
                current_A=-state.log.series,
                inputs=state.inputs,
            )
            for state in result
            if state.log is not None
        )
    )


def measure(bench: DrainInputs, *, folder: Path = Path()) -> Drain:
    """Return the drain of every state of the review file.

    A log that can't be read, or holds too little, costs its own state and no other: it says why.

    Parameters
    ----------
    bench : DrainInputs
    folder : Path
        The review folder.
    """
    return Drain(bench, tuple(_state(bench, state, folder) for state in bench.drain_states))


def _state(bench: DrainInputs, state: DrainState, folder: Path) -> StateDrain:
    try:
        return _measured(bench, state, folder)
    except InputError as fault:
        unknown = Mean(None, 0.0)
        unfit = Fitness(0.0, False, None, False)
        return StateDrain(state, None, None, unknown, unfit, None, Days(), Days(), Days(), fault.message)


def _measured(bench: DrainInputs, state: DrainState, folder: Path) -> StateDrain:
    meter = bench.meter(state)
    log = None if state.log is None else logs.read(state.log, "A", folder=folder, headings=bench.headings)
    for problem in () if log is None else plausibility.of_log(log, state, meter):
        raise problem
    split = None if log is None else _split(state, log, meter)
    mean = split.mean if split is not None else _reading(state.reading_A, meter)
    highest = abs(mean.level_A) if split is None else split.highest_A
    base = None if split is None or split.features.base.value is None else split.features.base.value.value
    capacity, own = bench.cell.rated_capacity_Ah, bench.drain_self_discharge_percent
    return StateDrain(
        state=state,
        log=log,
        split=split,
        mean=mean,
        mean_fit=_fit(bench, meter, mean.level_A, highest),
        base_fit=None if base is None else _fit(bench, meter, base, highest),
        on_shelf=storage.days(mean, capacity, own_percent=own),
        to_level=storage.days(mean, capacity, share=1 - bench.drain_level_percent / 100),
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
        remedy = "Log the state for longer, on a range that can show it."
        raise LogError(str(fault), file=log.path, remedy=remedy) from None


def _reading(value_A: float | None, meter: Meter) -> Mean:
    assert value_A is not None
    parts = (meter.component(value_A), *(() if meter.states_counts else (meter.step_component(),)))
    return Mean(Measured(value_A, "A", parts), value_A)


def _fit(bench: DrainInputs, meter: Meter, value_A: float, highest_A: float) -> Fitness:
    return ranges.fitness(
        value_A, highest_A, meter=meter, ranges=bench.ranges, notice_V=bench.drain_burden_limit_V
    )
