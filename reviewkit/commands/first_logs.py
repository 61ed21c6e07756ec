"""Loose logs, before there is a review: what each holds, which belong to one charge, what to write."""

from __future__ import annotations

import difflib
import filecmp
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from reviewkit.errors import Faults, InputError
from reviewkit.logs import Log, Sight, look
from reviewkit.logs.look import facts, svg
from reviewkit.review import strict_yaml

LOGS = "logs"


def look_at(*paths: str | Path) -> tuple[tuple[Sight, ...], tuple[InputError, ...]]:
    """Return what files hold and how they would be read, and the faults of those that show nothing.

    Parameters
    ----------
    paths : str or pathlib.Path
        Files of meters and loggers, anywhere.

    Examples
    --------
    >>> (seen,), faults = look_at(birch / "logs" / "drain-standby.csv")
    >>> seen.columns[1]
    '2  Current (µA): 27.0, 170.0, 27.0  [current in µA]'
    """
    sights: list[Sight] = []
    faults: list[InputError] = []
    for path in paths:
        try:
            sights.append(look(path))
        except InputError as fault:
            faults.append(fault)
    return tuple(sights), tuple(faults)


def pictures(paths: Iterable[Path]) -> str:
    """Return HTML that shows what each file holds, with its course as a small picture."""
    sights, _ = look_at(*paths)
    return "".join(
        f"<figure style='margin:1em 0'><figcaption>{escape(sight.path)}: {escape(one.what)}. "
        f"{escape('. '.join(facts(one)))}.</figcaption>{svg(one.log)}</figure>"
        for sight in sights
        for one in sight.seen
        if one.log is not None
    )


@dataclass(frozen=True)
class Connected:
    """What has been made of some logs.

    Parameters
    ----------
    lines : mapping of str to tuple of tuple of str
        By key of the review file: the lines of each entry under it.
    told : tuple of str
        A sentence for each log: what it was taken for, or what stands in the way.
    """

    lines: Mapping[str, tuple[tuple[str, ...], ...]]
    told: tuple[str, ...]


def places(folder: Path, logs: Sequence[Path]) -> dict[Path, str]:
    """Return where in a review folder each log is to lie, relative to it.

    Raises
    ------
    Faults
        If one is missing, or its place is taken by another file.
    """
    found: dict[Path, str] = {}
    faults: list[InputError] = []
    for log in logs:
        inside = log.resolve().is_relative_to(folder.resolve())
        name = log.resolve().relative_to(folder.resolve()).as_posix() if inside else f"{LOGS}/{log.name}"
        if not log.is_file():
            faults.append(InputError("no such file", file=str(log)))
        elif name in found.values() or _is_taken(folder / name, log):
            problem = f"'{name}' in the review folder is another file already"
            faults.append(InputError(problem, file=str(log), remedy="Rename one of the two."))
        found[log] = name
    if faults:
        raise Faults(faults)
    return found


def _is_taken(path: Path, log: Path) -> bool:
    return path.exists() and not filecmp.cmp(path, log, shallow=False)


def copied(folder: Path, where: Mapping[Path, str]) -> None:
    """Copy the logs to where they are to lie; the originals stay as they are."""
    for log, name in where.items():
        if not (folder / name).exists():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(log, folder / name)


@dataclass(frozen=True)
class _Entry:
    """One quantity of one file: under which key it goes, what is written there, when it was logged."""

    key: str
    text: str
    file: str
    log: Log

    def nearness(self, other: _Entry) -> tuple[bool, float, float]:
        """Return how well two go together: one file, hours in common by their clocks, likeness of names."""
        alike = difflib.SequenceMatcher(None, self.file, other.file).ratio()
        return self.file == other.file, _common_h(self.log, other.log), alike


def _common_h(first: Log, second: Log) -> float:
    if first.started is None or second.started is None:
        return 0.0
    apart_s = (second.started - first.started).total_seconds()
    start, end = (
        max(first.time_s[0], apart_s + second.time_s[0]),
        min(first.time_s[-1], apart_s + second.time_s[-1]),
    )
    return round(max(float(end - start), 0.0) / 3600, 1)


def connected(folder: Path, names: Iterable[str]) -> Connected:
    """Return the lines that connect a review folder's logs, and what each was taken for.

    Parameters
    ----------
    folder : pathlib.Path
    names : iterable of str
        Relative to it.
    """
    entries: list[_Entry] = []
    told: list[str] = []
    for name in names:
        try:
            sight = look(folder / name)
        except InputError as fault:
            told.append(f"{name}: not understood. {fault.message}")
            continue
        entries += _entries(name, sight)
        told += [f"{name}: {line}" for line in _told(sight)]
    charge, drains = ([one for one in entries if (one.key == "log") == drain] for drain in (False, True))
    lines: dict[str, tuple[tuple[str, ...], ...]] = {}
    if charge:
        lines["charge_runs"] = tuple(_charges(charge))
    if drains:
        lines["drain_states"] = tuple((_state(one),) for one in drains)
    return Connected(lines, tuple(told))


def _entries(name: str, sight: Sight) -> Iterator[_Entry]:
    # A meter at the device's port logs that port's voltage and current side by side.
    at_port = any(one.key == "source_voltage" for one in sight.seen)
    for one in sight.seen:
        if one.log is not None:
            key = "source_current" if one.key == "current" and at_port else one.key
            # The bare path: that readings which look impossible are right is for a person to say.
            yield _Entry(key, strict_yaml.dump(name), name, one.log)


def _told(sight: Sight) -> Iterator[str]:
    if not sight.seen:
        yield "no voltage, current or temperature was found in it"
    for one in sight.seen:
        yield f"{one.what}? {one.why[0]}" if one.sure == "asks" else f"{one.what} ({one.sure})"


def _state(one: _Entry) -> str:
    name = strict_yaml.dump(Path(one.file).stem.replace("-", " ").replace("_", " "))
    return f"  - {{name: {name}, log: {one.text}}}"


_ORDER = ("voltage", "current", "source_voltage", "source_current", "temperature")


def _charges(entries: Sequence[_Entry]) -> Iterator[tuple[str, ...]]:
    """Walk the lines of each charge: to each current log goes what lies nearest to it."""
    firsts = [one for one in entries if one.key == "current"] or [
        one for one in entries if one.key == entries[0].key
    ]
    runs = {id(one): [one] for one in firsts}
    left = [one for one in entries if id(one) not in runs]
    pairs = sorted(
        ((one.nearness(first), one, first) for one in left for first in firsts),
        key=lambda pair: pair[0],
        reverse=True,
    )
    placed: set[int] = set()
    for _, one, first in pairs:
        run = runs[id(first)]
        if id(one) not in placed and one.key not in {item.key for item in run}:
            placed.add(id(one))
            run.append(one)
    for run in runs.values():
        yield _charge(run)


def _charge(run: Sequence[_Entry]) -> tuple[str, ...]:
    """Return the lines of one charge: to be filled in where one of its two logs is missing."""
    missing = [key for key in ("voltage", "current") if key not in {one.key for one in run}]
    lines = [f"{one.key}: {one.text}" for one in sorted(run, key=lambda item: _ORDER.index(item.key))]
    lines += [f"{key}: logs/{key}.csv   ## this log was not found" for key in missing]
    mark = "#" if missing else ""
    return tuple(f"{mark}{'    ' if index else '  - '}{line}" for index, line in enumerate(lines))
