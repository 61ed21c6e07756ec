"""A followed charge as lines of text, for a terminal or a pipe."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reviewkit.findings import sentences
from reviewkit.following.alarms import Alarm
from reviewkit.following.follower import Picture, State
from reviewkit.following.needs import moment
from reviewkit.metrology import formatting

say = sentences.of("follow")

_WIDE = 64
_BARS = "▁▂▃▄▅▆▇█"
_UNITS = {"voltage": "V", "current": "A", "temperature": "degC"}
_MARKS = {"there": "✓", "coming": "…", "to do": "▢", "lost": "✗"}


def lines(state: State, *, findings: bool = True) -> list[str]:
    """Return the whole state as lines.

    Parameters
    ----------
    state : State
    findings : bool
        Whether the list of what the review has so far is among them.

    Examples
    --------
    >>> state = opened(alder, folder).poll()
    >>> print(lines(state)[1].strip())
    cell 4.1800 V ± 0.0040 V · current −1.0 mA ± 2.9 mA · delivered 2.713 Ah ± 0.026 Ah
    """
    told = [f"{moment(state.at_s)}  {say('regime', name=state.regime, shape=state.shape)}"]
    if state.since_s is not None and state.regime:
        told[0] += f", {say('since', moment=moment(state.since_s), half_s=state.since_half_s)}"
    told += [f"  {line}" for line in (*_readings(state), *_coming(state))]
    told += [f"  {_spark(one)}" for one in state.pictures]
    told += [f"  {line}" for line in _logs(state)]
    if state.problem:
        told.append(f"  {state.problem}")
    told += [line for one in state.alarms for line in alarm(one)]
    if findings and state.findings:
        told += ["", *_findings(state)]
    return [*told, "", say("safety")]


def _readings(state: State) -> Iterator[str]:
    shown = [("cell", state.voltage), ("current", state.current), ("delivered", state.delivered)]
    known = [f"{name} {one.text}" for name, one in shown if one is not None]
    if known:
        yield " · ".join(known)


def _coming(state: State) -> Iterator[str]:
    for what, span in (("knee", state.knee), ("end", state.end)):
        if span is not None:
            low, high = (max(0.0, one - state.at_s) for one in span)
            left = f"{formatting.clock(low)} to {formatting.clock(high)}"
            yield say("coming", what=what, low=moment(span[0]), high=moment(span[1]), left=left)


def _logs(state: State) -> Iterator[str]:
    for log in state.logs:
        quiet = None if log.heard_s is None else state.at_s - log.heard_s
        yield say(
            "log_line", about=log.key, path=log.path, standing=log.standing, told=log.told, rows=log.rows,
            interval_s=log.interval_s, unit=log.unit, clock=log.clock, heading=log.heading, quiet_s=quiet,
            event=log.event,
        )  # fmt: skip


def alarm(one: Alarm) -> list[str]:
    """Return an alarm as two lines: what is the matter, and what to do."""
    mark = "!!" if one.urgent else "!"
    return [f"{mark} {moment(one.since_s)}  {one.says}", f"   → {one.do}"]


def _findings(state: State) -> Iterator[str]:
    section = ""
    for one in state.findings:
        if one.need.section != section:
            section = one.need.section
            yield section
        names = ", ".join(name.replace("_", " ") for name in one.need.finds)
        yield f"  {_MARKS[one.state]} {names}: {one.says}"


def _spark(one: Picture) -> str:
    """Return the course of a log in one line, with its extremes."""
    known = np.isfinite(one.values)
    if not known.any():
        return f"{one.key}: no readings"
    edges = np.linspace(one.time_s[0], one.time_s[-1] + 1e-9, _WIDE + 1)
    at = np.clip(np.searchsorted(edges, one.time_s[known], side="right") - 1, 0, _WIDE - 1)
    count = np.bincount(at, minlength=_WIDE)
    mean = np.bincount(at, one.values[known], _WIDE) / np.maximum(count, 1)
    low, high = float(one.values[known].min()), float(one.values[known].max())
    bars = "".join(
        _BARS[round((value - low) / (high - low) * 7) if high > low else 0] if filled else " "
        for value, filled in zip(mean, count, strict=True)
    )
    ends = " to ".join(formatting.quantity(edge, None, _UNITS[one.key]) for edge in (low, high))
    return f"{bars} {one.key} {ends}"
