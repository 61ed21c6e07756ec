"""One's own meters: what is declared, which review uses what, what is missing."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError, gathered
from reviewkit.metrology import meter as one_range
from reviewkit.metrology import units
from reviewkit.metrology.meter import Meter
from reviewkit.review import review_file
from reviewkit.schema import dates, instruments
from reviewkit.schema.instruments import FILE

_DEEPEST = 3
"""How many folders below the one named reviews are looked for (chosen)."""
_PERIOD = re.compile(
    r"(?P<number>\d+)\s*(?:-\s*)?(?P<unit>y|year|yr|jahr|an|año|mo|month|monat|mois|mes|d|day|tag|jour|día)",
    re.IGNORECASE,
)
_DAYS = {"y": 365, "a": 365, "m": 30, "d": 1, "t": 1, "j": 1}
"""Days of a period by its unit's first letter; a year begins with y, J(ahr), a(n), a(ño)."""


@dataclass
class Declared:
    """One meter of one file.

    Parameters
    ----------
    file : str
        As it is called from the folder looked at.
    facts : list of str
        Serial, last check.
    ranges : list of str
        A line for each: how its accuracy was understood.
    used : list of str
        Which review has it under which key.
    missing : list of str
        What is not declared, and by whom it is needed.
    """

    name: str
    file: str
    facts: list[str] = field(default_factory=list)
    ranges: list[str] = field(default_factory=list)
    used: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)

    def lines(self) -> Iterator[str]:
        """Walk it as lines of text."""
        yield f"  {', '.join([self.name, *self.facts])}"
        yield from (f"    {line}" for line in self.ranges)
        yield f"    used by {'; '.join(self.used)}" if self.used else "    used by no review below here"
        yield from (f"    missing: {line}" for line in self.missing)


@dataclass(frozen=True)
class Instruments:
    """The meters that reviews may name, and the reviews.

    Parameters
    ----------
    meters : tuple of Declared
        The nearest file's first.
    others : tuple of str
        Meters that reviews write out themselves, and names that can't be put in: a sentence each.
    """

    meters: tuple[Declared, ...]
    others: tuple[str, ...]

    def __str__(self) -> str:
        lines: list[str] = []
        for file in dict.fromkeys(meter.file for meter in self.meters):
            lines += [file, *(line for meter in self.meters if meter.file == file for line in meter.lines())]
        return "\n".join([*lines, *self.others]) or f"There is no {FILE} in this folder or above it."


def instruments_of(folder: str | Path = Path()) -> Instruments:
    """Return the meters declared for a folder, which review below it uses what, and what is missing.

    Parameters
    ----------
    folder : str or pathlib.Path
        A review folder, or one that holds several.

    Raises
    ------
    InputError
        If it does not exist, or a file of meters can't be read.

    Examples
    --------
    >>> print(reviewkit.commands.instruments_of("examples/alder").others[0])
    alder writes out its voltmeter, 'bench voltmeter'.
    """
    target = Path(folder)
    if not target.is_dir():
        raise InputError("no such folder", file=str(folder))
    files = {path: _from(target, path) for path in instruments.paths(target)}
    reviews = list(_reviews(target))
    for review in reviews:
        # One review may have a nearer file of its own.
        own = (path for path in instruments.paths(review) if path not in files)
        files = {path: _from(target, path) for path in own} | files
    told = {path: instruments.read(path, called=name) for path, name in files.items()}
    meters = {
        (path, name): _declared(name, files[path], block)
        for path, declared in told.items()
        for name, block in declared.items()
    }
    others: list[str] = []
    for review in reviews:
        others += _of_review(review, target, meters)
    return Instruments(tuple(meters.values()), tuple(others))


def _from(folder: Path, path: Path) -> str:
    return Path(os.path.relpath(path, folder.resolve())).as_posix()


def _reviews(path: Path) -> Iterator[Path]:
    """Walk the review folders: this one, or those below it."""
    if (path / review_file.FILE).is_file():
        yield path
        return
    for above, folders, names in os.walk(path):
        deep = len(Path(above).relative_to(path).parts)
        folders[:] = sorted(name for name in folders if not name.startswith(".") and deep < _DEEPEST)
        if review_file.FILE in names:
            folders[:] = []
            yield Path(above)


def _declared(name: str, file: str, block: Mapping[str, Any]) -> Declared:
    found = Declared(name, file)
    checked = str(block.get("last_check") or "")
    found.facts += [f"serial {block['serial']}"] if block.get("serial") else []
    found.facts += [f"last check {dates.iso(checked)}"] if checked else ["no last check declared"]
    faults: list[InputError] = []
    for one in _every_range(block):
        with gathered(faults):
            unit = instruments.unit_of(one, file=file, name=name)
            found.ranges.append(_range_told(one, unit))
    found.missing += [fault.problem for fault in faults]
    return found


def _every_range(block: Mapping[str, Any]) -> list[dict[str, Any]]:
    own = {key: value for key, value in block.items() if key != "ranges"}
    return [{**own, **one} for one in block.get("ranges") or [{}] if isinstance(one, dict)]


def _called(one: Mapping[str, Any], unit: str) -> str:
    scale = one.get("full_scale")
    return f"{scale} range" if scale is not None else "volts" if unit == "V" else "amperes"


def _range_told(one: Mapping[str, Any], unit: str) -> str:
    read = _read(one, unit)
    understood = read.accuracy.words(unit) if isinstance(read, Meter) else read
    return f"{_called(one, unit)}: {understood}"


def _read(one: Mapping[str, Any], unit: str) -> Meter | str:
    """Return a range as the kit reads it, or why it can't."""
    try:
        return one_range.meter({key: value for key, value in one.items() if key != "name"}, unit)
    except ValueError as fault:
        return str(fault)


def _of_review(folder: Path, target: Path, meters: Mapping[tuple[Path, str], Declared]) -> Iterator[str]:
    """Note at each meter that a review uses it, and what it lacks for that; walk what is no such meter's."""
    called = folder.resolve().name if folder == target else folder.relative_to(target).as_posix()
    faults: list[InputError] = []
    found = review_file.written(folder, faults)
    for key, block in found.values.items():
        unit = instruments.unit_read(key)
        if unit and key not in found.meters.named and isinstance(block, dict) and block:
            yield f"{called} writes out its {key}, '{block.get('name') or 'without a name'}'."
        if not unit or key not in found.meters.named or not isinstance(block, dict):
            continue
        nearest = next(path for path in instruments.paths(folder) if (path, block["name"]) in meters)
        meter = meters[nearest, block["name"]]
        meter.used.append(f"{called}: {key}")
        known = {problem.partition(" (")[0] for problem in meter.missing}
        meter.missing += [line for line in _lacking(block, unit, called, found.values) if line not in known]
    yield from (f"{called}: {fault.message}" for fault in faults)


def _lacking(block: Mapping[str, Any], unit: str, called: str, values: Mapping[str, Any]) -> Iterator[str]:
    """Walk what a meter in use does not declare; of its check's age only what follows from what it does."""
    told = str(block.get("last_check") or "")
    checked = dates.day_of(told)
    if not told:
        yield f"when it was last checked ({called} uses it)"
    for one in _every_range(block):
        read = _read(one, unit)
        if isinstance(read, str):
            yield f"{_called(one, unit)}: {read} ({called} uses it)"
        elif checked and (days := _holds_for(read)):
            day = (
                dates.day_of(str((values.get("review") or {}).get("date") or "")) or datetime.now(UTC).date()
            )
            if day - checked > timedelta(days=days):
                yield (
                    f"a check: the {_called(one, unit)}'s accuracy is stated for {days} days, and on {day} "
                    f"({called}) the last check was {(day - checked).days} days ago"
                )


def _holds_for(read: Meter) -> int | None:
    """Return for how many days after a check an accuracy is stated; None where it does not say."""
    found = _PERIOD.search(read.accuracy.remark)
    if not found:
        return None
    unit = found["unit"].lower()
    years = unit in ("y", "year", "yr", "jahr", "an", "año")
    return int(found["number"]) * (365 if years else _DAYS[unit[0]])


_USUAL = {"V": 5.0, "A": 1.0}
"""What a range is to show at a charge's cell, or in its line (chosen): the smallest such is offered first."""


def offered(folder: Path) -> dict[str, list[str]]:
    """Return by unit how a review file may name the meters declared for a folder; the likely ones first.

    Parameters
    ----------
    folder : pathlib.Path
        It need not exist yet.

    Raises
    ------
    InputError
        If a file of meters can't be read.
    """
    found: dict[str, list[tuple[bool, float, str]]] = {}
    for path in instruments.paths(folder):
        for name, block in instruments.read(path).items():
            several = bool((block.get("ranges") or [])[1:])
            for one in _every_range(block):
                with suppress(InputError, ValueError):
                    unit = instruments.unit_of(one, file=FILE, name=name)
                    scale = units.to_unit(one["full_scale"], unit) if several else _USUAL[unit]
                    told = f"{name}, {one['full_scale']} range" if several else name
                    found.setdefault(unit, []).append((scale < _USUAL[unit], scale, told))
    return {unit: list(dict.fromkeys(told for *_, told in sorted(ways))) for unit, ways in found.items()}
