"""A plan that knows what the review folder holds: the session's cell and meters, and what is left to do."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from reviewkit import charge, drain, planning, readout, ui_states
from reviewkit.bench_day import answers
from reviewkit.bench_day.entering import values
from reviewkit.errors import InputError
from reviewkit.findings import Finding
from reviewkit.findings.displays import Answer
from reviewkit.metrology import formatting
from reviewkit.planning import Session
from reviewkit.review.review_file import FILE
from reviewkit.ui_states.analysis import Assessment

_KNOWN = (
    *("cell", "voltmeter", "ammeter", "drain_ammeter"),
    *("readout_resolution_V", "readout_wanted_width_V", "readout_range_V"),
)
"""What a plan asks for and a review file may hold, under the same names."""

Left = tuple[str, str, str]
"""What to do, how long it takes, what it tells."""


def session(names: Mapping[str, Any] | None = None, /, *, folder: str | Path = "") -> Session:
    """Return the parameters of a plan; cell and meters from a review folder where one is named.

    Parameters
    ----------
    names : mapping, optional
        As `globals()` in a notebook gives them.
    folder : str or Path
        A review folder; "": none.

    Raises
    ------
    Faults
        Every fault in them at once.

    Examples
    --------
    >>> bench_day.session(planned, folder=birch).cell.label
    'test cell B'
    """
    told = dict(names or {})
    held = values(Path(folder)) if folder else {}
    for name in _KNOWN:
        if held.get(name):
            whole = isinstance(held[name], dict) and isinstance(told.get(name), dict)
            told[name] = {**told[name], **held[name]} if name == "cell" and whole else held[name]
    return planning.inputs(told)


def tonight(planned: Session | None = None, *, folder: str | Path = "") -> Answer:
    """Return what is left to do at the bench, section by section, with the time that it takes.

    Parameters
    ----------
    planned : Session, optional
        As `session` gives it; default: what the review folder tells.
    folder : str or Path
        The review folder; "": nothing is there yet.

    Examples
    --------
    >>> bench_day.tonight(session, folder=birch).rows[-1][0]
    'Try power lost in full'
    """
    path = Path(folder)
    held = values(path) if folder else {}
    rows: list[Left] = []
    if planned is None:
        try:
            planned = session(folder=folder)
        except InputError as fault:
            rows.append((answers.say("fill_in"), "", fault.message.replace("the parameter cell", FILE)))
    for section in (_readout, _charge, _drain, _ui_states):
        try:
            rows += section(planned, held, path)
        except InputError as fault:
            rows.append((answers.say("mend_first"), "", fault.message))
    if not rows:
        return Answer((answers.say("nothing_left"),))
    told = (answers.say("left", count=len(rows)),)
    if any(takes for _, takes, _ in rows):
        return Answer(told, ("to do", "takes", "for"), tuple(rows))
    return Answer(told, ("to do", "for"), tuple((what, why) for what, _, why in rows))


def _readout(planned: Session | None, held: Mapping[str, Any], folder: Path) -> Iterator[Left]:
    bench = readout.inputs(held)
    first = planning.readings(planned).sentences[0] if planned else answers.say("for_readout")
    if not bench.readout_table:
        yield answers.say("read_first"), "", first
        return
    try:
        result = readout.analyse(bench, folder)
    except InputError:
        yield answers.say("read_first"), "", first
        return
    fitted, wanted = result.fit, bench.readout_wanted_width_V
    if fitted is None or not fitted.consistent or fitted.readings_to(wanted) == 0:
        return
    yield answers.prepare_next(fitted, wanted), "", answers.say("for_width", wanted=wanted)


def _charge(planned: Session | None, held: Mapping[str, Any], folder: Path) -> Iterator[Left]:
    bench = charge.inputs(held)
    if not bench.charge_runs:
        whole = formatting.clock(planning.charge_log_s(planned)) if planned else ""
        rate = planning.charge_log(planned).sentences[1] if planned else answers.say("for_charge")
        yield answers.say("log_a_charge"), whole, rate
        return
    results = charge.analyse(charge.read(bench, folder=folder), cell=bench.cell)
    for number, run in enumerate(bench.charge_runs, start=1):
        if run.cable_out_s is None:
            yield answers.say("say_cable", number=number, source=run.source), "", answers.say("for_cable")
    yield from _untold(results.findings(), lambda item: "_60min" in item.key or "_10min" in item.key)


def _drain(planned: Session | None, held: Mapping[str, Any], folder: Path) -> Iterator[Left]:
    bench = drain.inputs(held)
    if not bench.drain_states:
        long = planning.drain_log(planned).sentences[0] if planned else answers.say("for_drain")
        yield answers.say("log_a_drain"), "", long
        return
    found = drain.findings(drain.analyse(bench, folder=folder))
    yield from _untold(found, lambda item: item.verdict == "inconclusive" or item.key.endswith(".mean"))


def _ui_states(_: Session | None, held: Mapping[str, Any], folder: Path) -> Iterator[Left]:
    result = ui_states.analyse(ui_states.inputs(held), folder=folder)
    if not isinstance(result, Assessment):
        yield answers.say("list_states"), "", answers.say("for_states")
        return
    for item in result.next_trials:
        yield answers.say("try_it", trial=item), "", answers.say("for_trial", trial=item)
    left = len(result.coverage.untested) - len(result.next_trials)
    if left > 0:
        yield answers.say("try_more", count=left), "", answers.say("for_coverage")


def _untold(found: Iterable[Finding], wanted: Callable[[Finding], bool]) -> Iterator[Left]:
    """Give what keeps findings from being told, once for all that it keeps."""
    kept: dict[str, list[str]] = {}
    for item in found:
        if item.verdict in ("not tested", "inconclusive") and wanted(item):
            kept.setdefault(_begin(item.note), []).append(item.label)
    for why, labels in kept.items():
        yield answers.say("untold", why=why), "", formatting.listed(dict.fromkeys(labels))


def _begin(note: str) -> str:
    """Return a note's first two sentences: what is amiss, and what to do about it."""
    return ". ".join(note.split(". ")[:2]).rstrip(".")
