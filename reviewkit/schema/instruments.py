"""One's own meters, declared once in `instruments.yaml`, and put in where a review names one of them.

The file lies beside the reviews, or anywhere above them: a key for each meter, under it the keys of a meter
block. A meter that reads volts and amperes has ranges of both; a range's unit is that of its full scale.
"""

from __future__ import annotations

import difflib
import hashlib
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from reviewkit.errors import Faults, InputError, ReviewFileError, gathered
from reviewkit.metrology import units
from reviewkit.schema import plain_yaml, quantities
from reviewkit.schema.blocks import MeterBlock

FILE = "instruments.yaml"
SCHEMA = 1
"""The newest spelling of the file that is known here; a file that says none is of this one."""
_KEY = re.compile(r"(?:.+_)?(?P<kind>voltmeter|ammeter)")
_UNITS = {"voltmeter": "V", "ammeter": "A"}
_OF_OTHERS = {"V": ("burden_ohm", "leads_ohm"), "A": ("input_ohm",)}
"""What says nothing of a meter while it reads this unit."""
_WITH_RANGE = re.compile(r"(?P<name>.+?)\s*,\s*(?P<scale>[\d.,]+\s*[^\s\d,]*[VA])(?:\s+range)?\s*")
_ENDS_WITH_UNIT = re.compile(r"[\d.\s][^\s\d]{0,2}?(?P<unit>[VA])\s*$")

Values = Mapping[str, Any]


class InstrumentError(ReviewFileError):
    """A meter that a review names can't be put in: it isn't declared, or two files declare it differently."""


def unit_read(key: str) -> str:
    """Return what the meter under a key of the review file reads, "V" or "A"; empty where none stands."""
    found = _KEY.fullmatch(key)
    return _UNITS[found["kind"]] if found else ""


def paths(folder: Path, *, above: bool = True) -> tuple[Path, ...]:
    """Return the files that declare meters for a review folder, the nearest first.

    Parameters
    ----------
    above : bool
        Whether to look in the folders above it too.
    """
    return tuple(folder_above for folder_above in places(folder, above=above) if _is_there(folder_above))


def _is_there(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:
        return False


def places(folder: Path, *, above: bool = True) -> Iterator[Path]:
    """Walk where the meters of a review folder may be declared, the nearest first."""
    start = folder.resolve()
    yield from (at / FILE for at in ([start, *start.parents] if above else [start]))


def read(path: Path, *, called: str = FILE) -> dict[str, Any]:
    """Return the meters of one file, as written, by name.

    Parameters
    ----------
    called : str
        The file, for messages.

    Raises
    ------
    InputError
        If it can't be read, is written for a newer kit, or an entry is no block.
    """
    try:
        with path.open("rb") as stream:
            raw = stream.read(plain_yaml.MAX_BYTES + 1)
    except OSError as failure:
        raise InputError(f"the file cannot be read ({failure.strerror})", file=called) from None
    declared = plain_yaml.parse(raw, called)
    quantities.known_schema(declared.pop("schema", SCHEMA), SCHEMA, file=called)
    for name, block in declared.items():
        if not isinstance(block, dict):
            raise InputError(
                "a meter is a block of keys",
                file=called,
                place=name,
                expected="such as {accuracy: '±(0.5 % + 2)', resolution: 1 mV, full_scale: 6 V}",
            )
    return declared


@dataclass(frozen=True)
class Used:
    """The meters that a review has by name.

    Parameters
    ----------
    named : mapping of str to str
        By key of the review file: what stands there.
    text : str
        An `instruments.yaml` that holds them and nothing else; the same for the same content.
    above : bool
        Whether they may be declared above the review's folder.
    """

    named: Mapping[str, str]
    text: str = ""
    above: bool = True

    def __bool__(self) -> bool:
        return bool(self.named)

    def again(self, folder: Path) -> str:
        """Return the text as the files have it now; what can't be read any more, as nothing."""
        _, now = put_in(self.named, folder, [], above=self.above)
        return now.text

    def places_now(self, folder: Path) -> dict[str, str]:
        """Return every place where they may be declared, with the SHA-256 of what lies there."""
        return {
            str(path): hashlib.sha256(path.read_bytes()).hexdigest() if _is_there(path) else ""
            for path in (places(folder, above=self.above) if self else ())
        }


NONE = Used({})


def put_in(
    values: Values, folder: Path, faults: list[InputError], *, above: bool = True
) -> tuple[dict[str, Any], Used]:
    """Return a review's values with each meter that stands there by name written out, and those meters.

    Parameters
    ----------
    values : mapping
        By key of the review file. "bench A" or "bench A, 6 V range" is a meter by name.
    folder : pathlib.Path
        The review's.
    faults : list of InputError
        Added to; what can't be put in stays as it is.
    above : bool
        Whether a file above the folder counts: not for a review that has brought its meters along.
    """
    named = {
        key: value
        for key, value in values.items()
        if isinstance(value, str) and value.strip() and unit_read(key)
    }
    if not named:
        return dict(values), NONE
    owned: _Instruments | None = None
    with gathered(faults):
        owned = _Instruments.at(folder, above=above)
    done = dict(values)
    taken: dict[str, list[Values]] = {}
    for key, written in named.items() if owned else ():
        with gathered(faults):
            name, blocks = owned.found(written, key) if owned else ("", [])
            done[key] = owned.written_out(name, blocks, unit_read(key)) if owned else written
            taken.setdefault(name, []).extend(block for block in blocks if block not in taken.get(name, []))
    return done, Used(named, owned.copy(taken) if owned else "", above)


def expanded(values: Values, folder: Path = Path()) -> dict[str, Any]:
    """Return a parameter cell's values with the meters that stand there by name written out.

    Parameters
    ----------
    folder : pathlib.Path
        The review's; by default where the notebook runs.

    Raises
    ------
    Faults
        One for each name that can't be put in.
    """
    faults: list[InputError] = []
    done, _ = put_in(values, folder, faults)
    if faults:
        raise Faults(faults)
    return done


@dataclass(frozen=True)
class _Instruments:
    """What the files on the way up declare.

    Parameters
    ----------
    files : tuple of (str, mapping)
        Each as it is called in messages, with its meters; the nearest first.
    """

    files: tuple[tuple[str, Values], ...]

    @classmethod
    def at(cls, folder: Path, *, above: bool) -> _Instruments:
        called = [(os.path.relpath(path, folder.resolve()), path) for path in paths(folder, above=above)]
        return cls(tuple((Path(name).as_posix(), read(path, called=name)) for name, path in called))

    def found(self, written: str, key: str) -> tuple[str, list[Values]]:
        """Return a meter's name and the ranges that are meant, each with what the meter says of all.

        Raises
        ------
        InputError
        """
        name, scale = written.strip(), ""
        if not self._declaring(name) and (split := _WITH_RANGE.fullmatch(name)):
            name, scale = split["name"], split["scale"]
        files = self._declaring(name)
        if not files:
            raise self._unknown(name, key)
        _agreeing(name, key, files)
        called, block = files[0]
        return name, list(ranges_of(block, unit_read(key), scale, file=called, name=name))

    def _declaring(self, name: str) -> list[tuple[str, Values]]:
        return [(called, meters[name]) for called, meters in self.files if name in meters]

    def _unknown(self, name: str, key: str) -> InputError:
        if not self.files:
            return InstrumentError(
                f"'{name}' is a meter by name, and there is no {FILE} in the review's folder or above it",
                file="review.yaml",
                place=key,
                remedy="Write the meter out here, {accuracy: …, resolution: …}, or declare it there.",
            )
        known = sorted({known for _, meters in self.files for known in meters})
        near = difflib.get_close_matches(name, known, n=3, cutoff=0.4) or known[:8]
        there = " and ".join(called for called, _ in self.files)
        return InstrumentError(
            f"no meter '{name}' is declared in {there}",
            file="review.yaml",
            place=key,
            expected=" or ".join(f"'{one}'" for one in near),
        )

    def written_out(self, name: str, blocks: Sequence[Values], unit: str) -> dict[str, Any]:
        """Return a meter as a review file would spell it out."""
        idle = ("name", *_OF_OTHERS[unit])
        plain = [{key: value for key, value in block.items() if key not in idle} for block in blocks]
        if len(plain) == 1:
            return {"name": name, **plain[0]}
        shared = {
            key: value for key, value in plain[0].items() if all(one.get(key) == value for one in plain)
        }
        own = [{key: value for key, value in one.items() if key not in shared} for one in plain]
        return {"name": name, **shared, "ranges": own}

    def copy(self, taken: Mapping[str, Sequence[Values]]) -> str:
        """Return an `instruments.yaml` with these ranges of these meters and nothing else."""
        held: dict[str, Any] = {}
        for name in sorted(taken):
            _, block = self._declaring(name)[0]
            own = {key: value for key, value in block.items() if key != "ranges"}
            ranges = [one for one in block.get("ranges") or () if {**own, **one} in taken[name]]
            held[name] = {**own, "ranges": ranges} if ranges else own
        return yaml.safe_dump(held, allow_unicode=True, sort_keys=False, width=10_000)


def ranges_of(block: Values, unit: str, scale: str = "", *, file: str, name: str) -> Iterator[dict[str, Any]]:
    """Walk the ranges of a declared meter that read a unit, each with what the meter says of all.

    Parameters
    ----------
    block : mapping
        As written.
    scale : str
        The full scale of the one that is meant; empty: all.

    Raises
    ------
    InputError
        If a key or value can't be, or no range fits.
    """
    quantities.checked(MeterBlock, block, file=file, under=name)
    own = {key: value for key, value in block.items() if key != "ranges"}
    every = [{**own, **one} for one in block.get("ranges") or [{}]]
    if every[1:] and any(one.get("full_scale") is None for one in every):
        raise InstrumentError(
            "of several ranges one has no full_scale",
            file=file,
            place=name,
            expected="one for each, with its unit, such as '6 V'",
        )
    fitting = [one for one in every if unit_of(one, file=file, name=name) == unit]
    chosen = [one for one in fitting if not scale or _is(one.get("full_scale"), scale, unit)]
    if not chosen:
        known = ", ".join(str(one["full_scale"]) for one in fitting if one.get("full_scale") is not None)
        raise InstrumentError(
            f"the meter has no range of {scale}" if scale else f"no range of the meter reads {unit}",
            file=file,
            place=name,
            expected=f"one of its ranges: {known}"
            if known
            else f"a range with a full_scale such as '6 {unit}'",
        )
    yield from chosen


def _is(full_scale: Any, scale: str, unit: str) -> bool:
    if full_scale is None:
        return False
    try:
        meant = units.to_unit(scale, unit)
        return abs(units.to_unit(full_scale, unit) - meant) <= 1e-6 * meant
    except ValueError:
        return False


def unit_of(block: Values, *, file: str, name: str) -> str:
    """Return what a range reads, "V" or "A": the unit of its full scale, else of its resolution.

    Raises
    ------
    InputError
        If neither says.
    """
    for key in ("full_scale", "resolution"):
        if found := _ENDS_WITH_UNIT.search(str(block.get(key, ""))):
            return found["unit"]
    raise InstrumentError(
        "a range says neither by its full_scale nor by its resolution whether it reads volts or amperes",
        file=file,
        place=name,
        expected="numbers with their unit, such as 'full_scale: 6 V'",
    )


def _agreeing(name: str, key: str, files: Sequence[tuple[str, Values]]) -> None:
    """Refuse a meter that two files declare differently."""
    (nearest, first), *others = files
    for called, block in others:
        differing = [one for one in dict.fromkeys([*first, *block]) if first.get(one) != block.get(one)]
        if differing:
            listed = ", ".join(f"'{one}'" for one in differing)
            raise InstrumentError(
                f"two files declare the meter '{name}' differently, in {listed}: {nearest} and {called}",
                file="review.yaml",
                place=key,
                remedy="Declare it in one of them, or alike in both.",
            )
