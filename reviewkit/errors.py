"""Every failure the kit raises, in one tree.

::

    ReviewKitError
    ├── InputError            something in the review folder is at fault (exit status 2)
    │   ├── ReviewFileError   the review file: a key, a value, a path
    │   ├── LogError          a meter's log: its format, a column, a row
    │   ├── TableError        a table typed by hand: readout.csv, transitions.csv, chapters.csv
    │   └── Faults            several of the above, found together
    ├── SectionError          a section notebook failed while it ran
    └── KitError              a fault of the kit itself (exit status 1)
"""

from __future__ import annotations

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


_LONGEST_NAME = 200


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1]}…"


class ReviewFileError(InputError):
    """The review file: a key, a value or a path."""


class LogError(InputError):
    """A meter's log: its format, a column or a row."""


class TableError(InputError):
    """A table typed by hand: readout.csv, transitions.csv or chapters.csv."""


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
    kinds = {kind.__name__: kind for kind in (ReviewFileError, LogError, TableError)}
    return kinds.get(told.pop("kind"), InputError)(**told)
