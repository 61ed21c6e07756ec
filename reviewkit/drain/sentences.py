"""What the section says in words: per state, about storage, and in the findings' notes."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from reviewkit.drain import storage
from reviewkit.drain.decompose import Decomposition
from reviewkit.drain.inputs import DrainInputs
from reviewkit.drain.settle import SHORT_SHARE
from reviewkit.drain.state import StateDrain
from reviewkit.drain.train import ALONE_FROM_S
from reviewkit.drain.words import rough
from reviewkit.metrology import formatting

SINGLE = "a single reading holds no pulses; log the state for a minute or more"


def found(bench: DrainInputs, states: Iterable[StateDrain]) -> tuple[str, ...]:
    """Return one passage per state: mean, pulses, what is not resolved, the range."""
    said = tuple(f"{_capital(state.name)}: {_passage(bench, state)}" for state in states)
    return said or ("No state was measured.",)


def _passage(bench: DrainInputs, state: StateDrain) -> str:
    parts = [_drain(state), _pulses(state), settled(state), drift(state), _fit(state), _last(state)]
    return " ".join(part for part in (*parts, *_log(state)) if part)


def _log(state: StateDrain) -> Iterator[str]:
    """Give what reading the state's log came upon."""
    if state.log is not None:
        yield from (f"{state.log.path}: {sentence}" for sentence in state.log.report.sentences())


def mean_text(state: StateDrain) -> str:
    """Return the mean as a reader sees it, or its bounds."""
    if state.mean.value is not None:
        return state.mean.value.text
    return formatting.interval(state.mean.low, state.mean.high, "A") or "not known"


def _drain(state: StateDrain) -> str:
    if state.split is None:
        return f"one reading, {mean_text(state)}."
    if state.mean.value is None:
        rows = rough(state.mean.rows_mean_A, "A")
        return f"a mean drain of {mean_text(state)}: {state.mean.why}. The rows’ own mean is {rows}."
    return f"a mean drain of {mean_text(state)}."


def _pulses(state: StateDrain) -> str:
    if state.split is None or not state.split.seen.pulses:
        return ""
    shape = state.split.features
    if not shape.period.resolved:
        return f"Pulses stand out, but their period is not resolved: {shape.period.why}."
    assert shape.period.value is not None
    period = shape.period.value.text
    base = shape.base.value
    text = f"A pulse every {period}"
    if base is not None:
        text += f" on a base of {base.text}"
    if shape.width.value is not None and shape.height.value is not None:
        height = shape.height.value.text
        width = shape.width.value.text
        return f"{text}, {height} high and {width} wide."
    height = formatting.interval(shape.height.low, None, "A")
    width = formatting.interval(None, shape.width.high, "s")
    return f"{text}; height ({height}) and width ({width}) are not resolved: {shape.width.why}."


def shape(state: StateDrain) -> str:
    """Return what one log shows: mean, base and pulses."""
    said = " ".join(part for part in (_drain(state), _pulses(state)) if part)
    return _capital(said.removeprefix("a "))


def folded(state: StateDrain) -> str:
    """Return what the periods laid over one another show."""
    assert state.split is not None
    train = state.split.train
    assert train is not None
    if train.folded:
        return f"The period is not resolved: {state.split.features.period.why}."
    spread = 100 * float(train.charge_As.std() / train.charge_As.mean())
    text = f"{train.cycles} periods, one over the other: the pulses’ charges scatter by {spread:.1f} %."
    width = state.split.features.width
    if width.resolved:
        return (
            f"{text} The dotted line is the pulse as rows of {state.split.rows.interval_s:.3g} s average it."
        )
    return f"{text} Height and width are not resolved: {width.why}."


def settled(state: StateDrain) -> str:
    """Return where the settled part begins, if not with the first row."""
    if state.split is None or state.split.settled.from_start:
        return ""
    part = state.split.settled
    start = after(state)
    before = part.level_before_A
    text = f"The state’s figures come from the part after {start}"
    if before is not None:
        text += f"; before that the device drew {rough(before, 'A')} at its low level"
    text += "."
    if part.share < SHORT_SHARE:
        text += f" That is only {100 * part.share:.0f} % of the log: log it for longer."
    return text


def after(state: StateDrain) -> str:
    """Return how long after the log's first row the settled part begins."""
    assert state.split is not None
    assert state.log is not None
    start = state.split.settled.start_s - float(state.log.time_s[0])
    if start < 120:
        return formatting.quantity(float(round(start)), None, "s")
    return formatting.clock(start, with_seconds=True)


def drift(state: StateDrain) -> str:
    """Return how the low level moved, if it clearly did."""
    moved = None if state.split is None else state.split.drift_A
    if moved is None:
        return ""
    return (
        f"The low level went from {rough(moved[0], 'A')} to {rough(moved[1], 'A')} during the log: the mean "
        "is the log’s own, and a longer one may differ."
    )


def _fit(state: StateDrain) -> str:
    if not state.mean_fit.fit:
        return state.mean_fit.advice
    if state.base_fit is not None and not state.base_fit.fit:
        return f"For the base level: {state.base_fit.advice}"
    if state.mean_fit.burden_V is None:
        return "The meter’s burden on this range is not declared: whether the device noticed it is not known."
    if state.split is not None and state.split.seen.pulses and not state.split.features.height.resolved:
        drop = f"{1e3 * state.mean_fit.burden_V:.2g} mV"
        return (
            f"Meter and leads take {drop} from the supply at the highest row; at the pulses’ true height "
            "they take more."
        )
    return ""


def _last(state: StateDrain) -> str:
    if state.to_empty.value is None and state.to_empty.low is None:
        return ""
    return f"A full cell lasts {state.to_empty.text} by this drain alone."


def mean_note(state: StateDrain) -> str:
    """Return the note of a state's mean."""
    parts = [] if state.mean_fit.fit else [state.mean_fit.advice]
    if state.split is None:
        parts.append("One reading: what it shows of pulses is up to the display.")
    else:
        parts += [_how(state, state.split), settled(state), drift(state), state.split.windows]
    if _level(state) < 0:
        parts.append(
            "The readings are negative: the leads were the other way round, or current flowed into the cell. "
            "They are taken as they stand; 'sign: -1' in the log's entry turns them."
        )
    return " ".join(part for part in parts if part)


def _level(state: StateDrain) -> float:
    return state.mean.value.value if state.mean.value is not None else state.mean.rows_mean_A


def _how(state: StateDrain, split: Decomposition) -> str:
    if state.mean.value is None:
        return f"{_capital(state.mean.why)}."
    if state.mean.cycles:
        return f"Integrated over {state.mean.cycles} whole periods."
    return f"Mean over {formatting.quantity(split.rows.covered_s, None, 's')}."


def no_pulse(split: Decomposition) -> str:
    """Return why there is nothing to say about pulses."""
    step = rough(split.seen.threshold_A, "A")
    return f"no row stands {step} above the base; pulses that repeat faster than the rows would not show"


def period_note(split: Decomposition) -> str:
    """Return the assumption under which a period is one."""
    interval = split.rows.interval_s
    if interval <= ALONE_FROM_S:
        return ""
    return (
        f"Taking it that nothing repeats faster than every {2 * interval:.3g} s: rows {interval:.3g} s apart "
        "could show the image of a faster train."
    )


def no_days(bench: DrainInputs, state: StateDrain) -> str:
    """Return why days can't be told; empty where they can."""
    if bench.cell.rated_capacity_Ah is None:
        return "the cell's rated capacity (cell.rated_capacity_Ah) is missing"
    if state.to_empty.value is None and state.to_empty.low is None and state.to_empty.high is None:
        return "the readings don't show a drain out of the cell"
    return ""


def days_note(bench: DrainInputs, state: StateDrain) -> str:
    """Return what the days rest on."""
    capacity = bench.cell.rated_capacity_Ah or 0.0
    note = (
        f"The drain alone, from {rough(capacity, 'A.h')} rated capacity taken as exact; "
        "the cell’s own self-discharge comes on top."
    )
    if state.to_empty.low is not None and state.to_empty.low > storage.self_discharge_days(
        bench.drain_self_discharge_percent[0]
    ):
        note += " That is longer than the cell lasts by itself."
    return note if state.mean_fit.fit else f"{state.mean_fit.advice} {note}"


def advice(bench: DrainInputs, states: Sequence[StateDrain]) -> tuple[str, ...]:
    """Return what the drains mean for storage, then the usual cautions."""
    known = [state for state in states if state.mean.value is not None and state.mean_fit.fit]
    parts = [_yardstick(bench)] if bench.cell.rated_capacity_Ah else []
    parts += [_beside(bench, state) for state in ordered(known) if bench.cell.rated_capacity_Ah]
    parts += _gains(known)
    parts += [_unknown(state) for state in states if state not in known]
    return (*parts, *storage.CAUTIONS)


def ordered(states: Iterable[StateDrain]) -> list[StateDrain]:
    """Return the states by their drain, the highest first."""
    return sorted(states, key=_level, reverse=True)


def _yardstick(bench: DrainInputs) -> str:
    capacity = bench.cell.rated_capacity_Ah or 0.0
    low, high = (storage.self_discharge_A(rate, capacity) for rate in bench.drain_self_discharge_percent)
    slow, quick = (storage.self_discharge_days(rate) for rate in bench.drain_self_discharge_percent)
    return (
        f"The yardstick is {yardstick_words(bench)}. For this cell that is as much as a drain of "
        f"{rough(low, 'A')} to {rough(high, 'A')}; taken out of the device "
        f"it would last {_years(quick)} to {_years(slow)}."
    )


def yardstick_words(bench: DrainInputs) -> str:
    """Return the self-discharge that the drains are set beside, and where it comes from."""
    low, high = bench.drain_self_discharge_percent
    if (low, high) == (1.0, 3.0):
        return storage.SELF_DISCHARGE
    return f"a cell’s own self-discharge of {low:g} % to {high:g} % a month, as the review file declares it"


def _beside(bench: DrainInputs, state: StateDrain) -> str:
    capacity = bench.cell.rated_capacity_Ah or 0.0
    low, high = (storage.self_discharge_A(rate, capacity) for rate in bench.drain_self_discharge_percent)
    level = _level(state)
    days = f"{state.to_level.text} to {bench.drain_level_percent:g} %, {state.to_empty.text} to empty"
    if level > high:
        word = f"{level / high:.1f} times the quickest self-discharge or more"
    elif level < low:
        word = "less than the slowest self-discharge: the cell itself is what empties it"
    else:
        word = "about what the cell loses by itself"
    return f"{_capital(state.name)}: {days}. That is {word}."


def _gains(known: list[StateDrain]) -> list[str]:
    """Return what the least thirsty state gains over each other one."""
    if len(known) < 2:
        return []
    by_drain = ordered(known)
    best = by_drain[-1]
    worse = [state for state in by_drain[:-1] if _certainly_more(state, best)]
    if not worse:
        return ["The meter can’t tell which state drains least."]
    lost = formatting.listed(
        f"{rough(_level(state) - _level(best), 'A')} more as “{state.name}”" for state in worse
    )
    return [f"{_imperative(best, worse)}: the device draws {lost}."]


def _certainly_more(state: StateDrain, best: StateDrain) -> bool:
    from reviewkit.metrology import difference

    assert state.mean.value is not None
    assert best.mean.value is not None
    change = difference(state.mean.value, best.mean.value)
    return change.value > change.expanded


def _imperative(best: StateDrain, worse: list[StateDrain]) -> str:
    """Return what to do before storing it; only a fact where doing it would leave a cable in."""
    if _is_plugged(best.name):
        return f"It drains least as “{best.name}”, which is no way to store it"
    if re.search(r"(?<!not )\block(ed)?\b", best.name.casefold()):
        return "Lock it before you put it away"
    if all(_is_plugged(state.name) for state in worse):
        return "Pull the cable before you put it away"
    return f"Store it as “{best.name}”"


def _is_plugged(name: str) -> bool:
    """Whether a state's name says that the cable is in: "full, cable in", not "full, cable out"."""
    words = re.findall(r"[a-z]+", name.casefold())
    told = {"plugged", "plug", "cable", "charging", "charger"} & set(words)
    return bool(told) and not {"out", "off", "no", "not", "without", "pulled", "removed"} & set(words)


def _unknown(state: StateDrain) -> str:
    reason = state.mean_fit.advice or f"{state.mean.why}."
    return f"{_capital(state.name)}: the meter can’t tell. {reason}"


def _years(days: float) -> str:
    years = days / 365.25
    return f"{formatting.number(years, 1)} years" if years >= 1 else f"{formatting.number(days, 0)} days"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
