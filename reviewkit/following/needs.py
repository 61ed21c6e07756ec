"""Have I enough? For each finding of the review: there, coming and when, or lost unless something is done.

What a finding needs is declared by its section, under `needs` of its metadata; nothing here knows a finding.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from reviewkit.charge.regimes import Phases
from reviewkit.findings import sentences
from reviewkit.following.observed import Observed
from reviewkit.following.state import Standing
from reviewkit.metrology import formatting

say = sentences.of("follow")

After = Literal["", "before", "start", "plateau", "knee", "end", "out"]
Wall = tuple[float, float]


@dataclass(frozen=True)
class Need:
    """What some findings of a section need.

    Parameters
    ----------
    section : str
        Its title.
    finds : tuple of str
        The findings, by the last part of their keys.
    after : {"before", "start", "plateau", "knee", "end", "out", ""}
        What has to happen: quiet before the cable goes in, current, its plateau, its fall, its end, the cable
        out; "" where no log of a charge is asked for.
    for_s : float [s]
        For how long the logs have to go on from there.
    every_s : float [s]
        The longest time between rows that tells it; 0: any.
    logs : tuple of str
        The logs it is read from, by the run's keys.
    declared : str
        Of others: the parameter that names readings or a table of them.
    do : str
        What to do, in an imperative sentence.
    """

    section: str
    finds: tuple[str, ...]
    after: After = ""
    for_s: float = 0.0
    every_s: float = 0.0
    logs: tuple[str, ...] = ("voltage", "current")
    declared: str = ""
    do: str = ""


@dataclass(frozen=True)
class Have:
    """How it stands with what some findings need.

    Parameters
    ----------
    state : {"there", "coming", "to do", "lost"}
        "to do" depends on a hand: a cable pulled, a table filled in.
    from_s, until_s : float or None [s]
        Between which moments it will be there, by this computer's clock.
    says : str
        The same in a sentence.
    """

    need: Need
    state: Literal["there", "coming", "to do", "lost"]
    says: str
    from_s: float | None = None
    until_s: float | None = None


def moment(wall_s: float) -> str:
    """Return a moment of this computer's clock as people here read it: "02:10"."""
    return f"{datetime.fromtimestamp(wall_s):%H:%M}"


def have(
    needs: Iterable[Need],
    standing: Standing | None,
    logs: Mapping[str, Observed],
    *,
    filled: Collection[str] = (),
    silent: Collection[str] = (),
    cable_out_s: float | None = None,
) -> tuple[Have, ...]:
    """Return for each need whether it is there, coming, or lost unless.

    Parameters
    ----------
    standing : Standing or None
        None: no rows yet.
    filled : collection of str
        Parameters under which there are readings.
    silent : collection of str
        Logs that no longer grow.
    cable_out_s : float or None [s]
        When the cable was pulled, by this computer's clock.
    """
    return tuple(_one(need, standing, logs, filled, silent, cable_out_s) for need in needs)


def _one(
    need: Need,
    standing: Standing | None,
    logs: Mapping[str, Observed],
    filled: Collection[str],
    silent: Collection[str],
    cable_out_s: float | None,
) -> Have:
    if not need.after:
        there = need.declared in filled
        return _said(need, "there" if there else "to do")
    if absent := [name for name in need.logs if name not in logs]:
        return _said(need, "to do", missing=formatting.listed(absent))
    slow = [
        logs[name].interval_s for name in need.logs if need.every_s and logs[name].interval_s > need.every_s
    ]
    if slow and not _is_over(need, standing):
        return _said(need, "lost", slow_s=max(slow))
    span = _span(need, standing, logs, cable_out_s)
    if span is None:
        return _said(need, "lost" if _is_missed(need, standing) else "to do")
    last_s = min((logs[name].heard_s or 0.0) for name in need.logs)
    if span[1] <= last_s and span[0] == span[1]:
        return _said(need, "there")
    if quiet := [name for name in need.logs if name in silent]:
        return _said(need, "lost", silent=formatting.listed(quiet), span=span)
    return _said(need, "coming", span=span)


def _said(
    need: Need,
    state: Literal["there", "coming", "to do", "lost"],
    *,
    span: Wall | None = None,
    slow_s: float = 0.0,
    silent: str = "",
    missing: str = "",
) -> Have:
    text = say(
        "have", state=state, do=need.do, span=span and tuple(map(moment, span)), slow_s=slow_s,
        every_s=need.every_s, silent=silent, missing=missing,
    )  # fmt: skip
    return Have(need, state, text, *(span or (None, None)))


def _span(
    need: Need, standing: Standing | None, logs: Mapping[str, Observed], cable_out_s: float | None
) -> Wall | None:
    """Return between which moments it will be whole; None where that can't be told, or is missed."""
    log = logs["voltage"] if "voltage" in logs else next(iter(logs.values()))
    phases = standing.phases if standing else None
    if need.after == "out":
        return None if cable_out_s is None else (cable_out_s + need.for_s,) * 2
    if need.after == "before":
        return _before(need, phases, log)
    moments = _moments(need.after, standing, phases)
    if moments is None:
        return None
    low, high = moments
    if need.after == "plateau" and phases is not None:
        ended = phases.knee_s if phases.knee_s is not None else None
        if ended is not None and ended - low < need.for_s:
            return None
    return log.wall_s(low + need.for_s), log.wall_s(high + need.for_s)


def _before(need: Need, phases: Phases | None, log: Observed) -> Wall | None:
    if not log.rows.count:
        return None
    first = float(log.rows.time_s[0])
    if phases is not None and phases.first_sample_s - first < need.for_s:
        return None
    return (log.wall_s(first + need.for_s),) * 2


def _moments(after: After, standing: Standing | None, phases: Phases | None) -> Wall | None:
    """Return when something happened, on the record's clock, or between when and when it is foretold."""
    if standing is None or phases is None:
        return None
    start = phases.first_sample_s
    if after == "start":
        return (start,) * 2
    if after == "plateau":
        found = phases.named("constant current")
        return (found[0].start_s,) * 2 if found else None
    coming = standing.forecast
    if after == "knee":
        if phases.knee_s is not None:
            return (phases.knee_s,) * 2
        foretold = coming.knee if coming else None
    else:
        if phases.terminated:
            return (phases.end_s,) * 2
        foretold = coming.end if coming else None
    return None if foretold is None else (start + foretold.low_s, start + foretold.high_s)


def _is_over(need: Need, standing: Standing | None) -> bool:
    """Whether what a need waits for has happened already, whatever the rate is now."""
    phases = standing.phases if standing else None
    return phases is not None and (phases.terminated or need.after in ("before", "start"))


def _is_missed(need: Need, standing: Standing | None) -> bool:
    phases = standing.phases if standing else None
    if phases is None:
        return False
    return need.after in ("before", "plateau") and (
        phases.knee_s is not None or (need.after == "before" and bool(phases.main))
    )
