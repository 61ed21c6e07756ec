"""Every failure the kit raises, in one tree.

::

    ReviewKitError
    ├── InputError            something in the review folder is at fault (exit status 2)
    │   ├── ReviewFileError   the review file: a key, a value, a path
    │   ├── LogError          a meter's log: its format, a column, a row
    │   ├── TableError        a table typed by hand: readout.csv, transitions.csv, chapters.csv
    │   ├── FilmError         a film: its format, a moment, a place in its picture
    │   └── Faults            several of the above, found together
    ├── SectionError          a section notebook failed while it ran
    └── KitError              a fault of the kit itself (exit status 1)
"""

from __future__ import annotations

import json
import re
import traceback
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager


class ReviewKitError(Exception):
    """Anything the kit raises on purpose."""


class InputError(ReviewKitError):
    """Something in the review folder is at fault, and the person who filled it in can mend it.

    Parameters
    ----------
    problem : str
        What is wrong, in one plain sentence without the closing full stop.
    file : str
        The file it is in, relative to the review folder.
    place : str
        The row, column or key: "row 12, column 'I [A]'" or "cell.charge_limit_V".
    expected : str
        What was expected there.
    remedy : str
        What to do about it.
    """

    def __init__(
        self, problem: str, *, file: str = "", place: str = "", expected: str = "", remedy: str = ""
    ) -> None:
        self.problem = problem
        self.file = file
        self.place = place
        self.expected = expected
        self.remedy = remedy
        super().__init__(self.message)

    @property
    def message(self) -> str:
        """One line: where, what, what was expected, what to do."""
        where = ", ".join(_short(part) for part in (self.file, self.place) if part)
        text = f"{where}: {self.problem}" if where else self.problem
        if self.expected:
            text += f"; expected {self.expected}"
        return f"{text}. {self.remedy}".strip() if self.remedy else f"{text}."

    def _render_traceback_(self) -> list[str]:
        """Return what IPython shows below a cell: what is at fault, a line each, and no traceback."""
        lines = [line for line in self.message.splitlines() if line.strip()]
        frames = (frame.f_globals.get("__name__", "") for frame, _ in traceback.walk_tb(self.__traceback__))
        # What no command has read from a review folder stands in the notebook itself.
        if not any(name.startswith("reviewkit.commands") for name in frames):
            lines = [told_in_a_cell(line) for line in lines]
        head = "To put right, then run again:" if len(lines) == 1 else f"{len(lines)} things to put right:"
        return [head, *(f"  – {line}" for line in lines)]


CELL = "the parameter cell"
_FILE = re.compile(r"(?:the )?review(?:\.yaml| file)")
_BLOCK = re.compile(r"\{[A-Za-z_][\w ]*: [^{}]*\}")
_ENTRY = re.compile(r"""([A-Za-z_][\w ]*): ("(?:[^"\\]|\\.)*"|'[^']*'|\[[^\]]*\]|[^,{}]+)""")
_WORDS = {"true": "True", "false": "False", "null": "None"}


def told_in_a_cell(text: str) -> str:
    """Return a message for someone whose values stand in a notebook's parameter cell.

    There is no review file then, and what is to be pasted has to be Python.

    Examples
    --------
    >>> told_in_a_cell("review.yaml, ammeter: missing. Write into the review file: {path: a.csv, value: 2}.")
    'the parameter cell, ammeter: missing. Write into the parameter cell: {"path": "a.csv", "value": 2}.'
    """
    told = _BLOCK.sub(lambda block: _ENTRY.sub(_python, block[0]), _FILE.sub(CELL, text))
    told = re.sub(r"(?<= parameter cell: )(\w+): (?=\{)", r'"\1": ', told)
    return re.sub(r"\btrue or false\b", "True or False", told)


def _python(entry: re.Match[str]) -> str:
    key, value = entry[1], entry[2].strip()
    plain = value[0] in "\"'[" or re.fullmatch(r"[-+]?\d+(?:\.\d+)?", value)
    return f'"{key}": {value if plain else _WORDS.get(value) or json.dumps(value, ensure_ascii=False)}'


_LONGEST_NAME = 200


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1]}…"


class ReviewFileError(InputError):
    """The review file: a key, a value or a path."""


class LogError(InputError):
    """A meter's log: its format, a column or a row."""


class TableError(InputError):
    """A table typed by hand: readout.csv, transitions.csv or chapters.csv."""


class FilmError(InputError):
    """A film: its format, a moment or a place in its picture."""


class Faults(InputError):
    """Several faults found together, so that one look mends them all."""

    def __init__(self, faults: Iterable[InputError]) -> None:
        self.faults: tuple[InputError, ...] = tuple(faults)
        super().__init__("\n".join(fault.message for fault in self.faults))

    @property
    def message(self) -> str:
        """One line per fault."""
        return self.problem


class SectionError(ReviewKitError):
    """A section notebook failed while it ran; its message is fit to publish."""


class KitError(ReviewKitError):
    """A fault of the kit itself."""


def add(faults: list[InputError], found: Iterable[InputError]) -> None:
    """Add to `faults` those found that are not among them yet."""
    known = {fault.message for fault in faults}
    for fault in found:
        if fault.message not in known:
            faults.append(fault)
            known.add(fault.message)


@contextmanager
def gathered(faults: list[InputError]) -> Iterator[None]:
    """Add the faults raised inside the block to `faults`, each once, and go on after the block."""
    try:
        yield
    except Faults as error:
        add(faults, error.faults)
    except InputError as error:
        add(faults, [error])


def to_plain(fault: InputError) -> dict[str, str]:
    """Return a fault of the input as plain data, to be told by another process."""
    told = {name: getattr(fault, name) for name in ("problem", "file", "place", "expected", "remedy")}
    return {"kind": type(fault).__name__, **told}


def from_plain(plain: Mapping[str, str]) -> InputError:
    """Return the fault that `to_plain` told of; of a kind not known here, as an `InputError`."""
    told = dict(plain)
    kinds = {kind.__name__: kind for kind in (ReviewFileError, LogError, TableError, FilmError)}
    return kinds.get(told.pop("kind"), InputError)(**told)
