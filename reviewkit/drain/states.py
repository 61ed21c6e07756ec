"""All states of a device: figures, fitness of the range, how to connect, how long a full cell lasts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from reviewkit import logs
from reviewkit.drain.decompose import Decomposition, decompose
from reviewkit.drain.features import Mean
from reviewkit.drain.inputs import DrainInputs, DrainState, of_log
from reviewkit.errors import InputError, LogError
from reviewkit.findings import displays, sentences
from reviewkit.findings.displays import Answer, Dataset
from reviewkit.logs import Log
from reviewkit.metrology import Component, Measured, formatting
from reviewkit.metrology.formatting import rough
from reviewkit.metrology.meter import Meter

HOURS_PER_MONTH = 730.5
"""A twelfth of a year of 365.25 days."""
_CLEAR = 0.2
"""Relative uncertainty of the days up to which one ± says it all (chosen: at 0.2 the two ends of 1/x lie 4 %
apart from it)."""


@dataclass(frozen=True)
class Days:
    """How long a full cell lasts.

    Parameters
    ----------
    value : Measured or None [d]
        None where only a bound is known.
    low, high : float or None [d]
        95 % interval, or bounds; None: open.
    """

    value: Measured | None = None
    low: float | None = None
    high: float | None = None

    @property
    def symmetric(self) -> bool:
        """Whether one uncertainty says it all."""
        value = self.value
        return value is not None and value.expanded <= _CLEAR * abs(value.value)

    @property
    def known(self) -> bool:
        """Whether there is anything to tell."""
        return self.value is not None or self.low is not None or self.high is not None

    @property
    def text(self) -> str:
        """The days as a reader sees them."""
        if self.value is not None and self.symmetric:
            return self.value.text
        if self.value is not None and self.low is not None and self.high is not None:
            return formatting.bounded(self.value.value, self.low, self.high, "d")
        return formatting.interval(self.low, self.high, "d") or "not known"


def days(
    mean: Mean,
    capacity_Ah: float | None,
    *,
    share: float = 1.0,
    own_percent: tuple[float, float] | None = None,
) -> Days:
    """Return how long a full cell lasts until `share` of its rated capacity is gone.

    Parameters
    ----------
    capacity_Ah : float or None [A·h]
        Rated, taken as exact.
    share : float
        1 for all of it.
    own_percent : tuple of float or None [% a month]
        The cell's own loss, lower and higher; None: the device's drain alone.
    """
    if capacity_Ah is None or mean.bounds == (None, None):
        return Days()
    slow, quick = (self_discharge_A(rate, capacity_Ah) for rate in own_percent or (0.0, 0.0))
    hours = capacity_Ah * share
    least, most = mean.bounds
    if most is not None and most <= 0:
        return Days()
    low = None if most is None or most + quick <= 0 else hours / (most + quick) / 24
    # With the cell's own loss a drain below zero is none; by the drain alone it leaves the days open.
    least_A = max(least or 0.0, 0.0) + slow if own_percent else least
    high = None if least_A is None or least_A <= 0 else hours / least_A / 24
    if mean.value is None or least is None or least + slow <= 0:
        return Days(None, low, high)
    loss = Component("the cell's own loss", (quick - slow) / 2, "A", "rectangular")
    total = Measured(mean.value.value + (slow + quick) / 2, "A", mean.value.components)
    total = total.plus(loss) if own_percent else total
    value = hours / total.value / 24
    return Days(Measured(value, "d", total.scaled(-value / total.value).components), low, high)


def self_discharge_A(percent_per_month: float, capacity_Ah: float) -> float:
    """Return the current that would empty the cell as fast as it empties itself [A]."""
    return percent_per_month / 100 * capacity_Ah / HOURS_PER_MONTH


def self_discharge_days(percent_per_month: float, *, share: float = 1.0) -> float:
    """Return how long the cell alone takes to lose `share` of its capacity, at a constant rate [d]."""
    return share * 100 / percent_per_month * HOURS_PER_MONTH / 24


_MUCH = 0.1
"""A drain that changed by more than this share of itself is not taken to go on so (chosen)."""


@dataclass(frozen=True)
class StateDrain:
    """One state: what was read, what it holds, and what it means.

    Parameters
    ----------
    log : Log or None
        None for a single reading, or one that says nothing.
    split : Decomposition or None
        Likewise.
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
    """The drain of every state, in the order of the review file."""

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
    """Return the logs as tables for others to use; current into the cell is positive, so drain is not.

    Examples
    --------
    >>> datasets(drained).items  # a single reading is no log
    ()
    """
    return Datasets(
        tuple(
            displays.merged(
                name=f"drain-{state.slug.replace('_', '-')}",
                title=f"Standby drain: {state.name}",
                current_A=-state.log.series,
                inputs=state.inputs,
            )
            for state in result
            if state.log is not None
        )
    )


def analyse(bench: DrainInputs, *, folder: str | Path = "") -> Drain:
    """Return the drain of every state of the review file.

    A log that can't be read, or holds too little, costs its own state and no other: it says why.

    Parameters
    ----------
    bench : DrainInputs
    folder : str or Path
        Where logs and tables lie. Default: the current folder, in a notebook its own.

    Examples
    --------
    >>> result = analyse(drained.bench)
    >>> round(result.states[0].mean.value.value, 9)
    4.5e-05
    """
    path = Path(folder).expanduser()
    return Drain(bench, tuple(_state(bench, state, path) for state in bench.drain_states))


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
    for problem in () if log is None else of_log(log, state, meter):
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
        on_shelf=days(mean, capacity, own_percent=own),
        to_level=days(mean, capacity, share=1 - bench.drain_level_percent / 100),
        to_empty=days(mean, capacity),
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
    return fitness(value_A, highest_A, meter=meter, ranges=bench.ranges, notice_V=bench.drain_burden_limit_V)


LEAST_COUNTS = 20
"""A reading below this many counts of the last digit says little (chosen: one count is then 5 %)."""
_HEADROOM = 1.2
"""A range passes a current if its full scale is this many times as much (chosen: pulses vary)."""


@dataclass(frozen=True)
class Fitness:
    """What the range in use does to a reading.

    Parameters
    ----------
    counts : float
        The reading in counts of the range's last digit.
    coarse : bool
        Whether these are too few.
    burden_V : float or None [V]
        What the meter takes from the supply at the highest current; None where no burden is declared.
    drops : bool
        Whether that is more than the device may notice.
    advice : str
        What to use instead; empty where the range is fit.
    """

    counts: float
    coarse: bool
    burden_V: float | None
    drops: bool
    advice: str = ""

    @property
    def fit(self) -> bool:
        """Whether the reading stands."""
        return not (self.coarse or self.drops)


def fitness(
    value_A: float, highest_A: float, *, meter: Meter, ranges: Sequence[Meter] = (), notice_V: float = 0.05
) -> Fitness:
    """Return whether a range was fit for a reading.

    Parameters
    ----------
    value_A : float [A]
        The level that is judged.
    highest_A : float [A]
        The highest current that the range had to pass.
    meter : Meter
        The range in use.
    ranges : sequence of Meter
        All ranges of that meter.
    notice_V : float [V]
        Drop of the supply that the device may notice.
    """
    counts = abs(value_A) / meter.resolution
    coarse = counts < LEAST_COUNTS
    burden = meter.series_ohm * abs(highest_A) if meter.series_ohm > 0 else None
    drops = burden is not None and burden > notice_V
    if not (coarse or drops):
        return Fitness(counts, coarse, burden, drops)
    say = sentences.of("drain")
    why = (
        say("coarse", counts=round(counts), step=rough(meter.resolution, "A"), least=LEAST_COUNTS)
        if coarse
        else say(
            "drops",
            drop=formatting.number((burden or 0.0) * 1e3, 0),
            at=rough(highest_A, "A"),
            notice=f"{notice_V * 1e3:.0f}",
        )
    )
    return Fitness(
        counts, coarse, burden, drops, _instead(why, value_A, highest_A, meter, ranges, notice_V, coarse)
    )


def _instead(
    why: str,
    value_A: float,
    highest_A: float,
    meter: Meter,
    ranges: Sequence[Meter],
    notice_V: float,
    coarse: bool,
) -> str:
    """Return why a range was not fit, and what to use instead."""
    say = sentences.of("drain")
    fitting = [
        one
        for one in sorted(ranges, key=lambda each: each.full_scale or float("inf"))
        if _passes(one, highest_A) and one.series_ohm * abs(highest_A) <= notice_V
    ]
    enough = [one for one in fitting if one != meter and abs(value_A) / one.resolution >= LEAST_COUNTS]
    if enough:
        return say("instead", why=why, range=_scale(enough[0]), finest=False)
    finer = [one for one in ranges if one.resolution < meter.resolution and _passes(one, highest_A)]
    if coarse and finer and finer[0] in fitting:
        return say("instead", why=why, range=_scale(finer[0]), finest=True)
    return say(
        "no_range",
        why=why,
        zero=coarse and value_A == 0,
        finer=bool(finer),
        step=rough(abs(value_A) / LEAST_COUNTS, "A"),
        ohm=rough(notice_V / max(abs(highest_A), 1e-12), "ohm"),
    )


def _passes(one: Meter, highest_A: float) -> bool:
    return one.full_scale is None or one.full_scale >= _HEADROOM * abs(highest_A)


def _scale(one: Meter) -> str:
    return rough(one.full_scale, "A") if one.full_scale is not None else one.name


def connecting(ranges: Sequence[Meter]) -> Answer:
    """Return the steps that connect an ammeter to a sleeping device without harm to either.

    Parameters
    ----------
    ranges : sequence of Meter
        Of the meter in use; the highest is the one to begin with.

    Examples
    --------
    >>> connecting(drained.bench.ranges).sentences[1]
    'Start on the highest range, in series between the cell and the device.'
    """
    known = [one for one in ranges if one.full_scale is not None]
    highest = _scale(max(known, key=lambda one: one.full_scale or 0.0)) if known else ""
    steps = sentences.of("drain")("connecting", highest=highest).split(" | ")
    return Answer(tuple(steps), form="steps")
