"""A text file of the review folder, changed whole and at once, with what it takes to undo that."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from reviewkit.errors import InputError, TableError
from reviewkit.system import disk

_MARK = b"\xef\xbb\xbf"
Change = tuple[tuple[str, ...], tuple[str, ...]]
"""Lines as they were, and as they then were; none on one side is a line added or taken away."""


@dataclass(frozen=True)
class BenchFile:
    """A text as it stands in the folder.

    Parameters
    ----------
    name : str
        Relative to the folder, with forward slashes.
    text : str
        Empty where the file isn't there yet.
    marked : bool
        Whether it begins with a byte order mark, as some spreadsheets write it.
    """

    folder: Path
    name: str
    text: str
    marked: bool = False

    @property
    def line_end(self) -> str:
        """How its lines end."""
        return "\r\n" if "\r\n" in self.text else "\n"

    def written(self, text: str) -> tuple[Change, ...]:
        """Put another text in its place, whole or not at all, and return what changed.

        Raises
        ------
        InputError
            If the file can't be written, or was changed by someone else meanwhile.
        """
        path = self.folder / self.name
        if read(self.folder, self.name).text != self.text:
            raise InputError("the file was changed meanwhile", file=self.name, remedy="Enter it again.")
        try:
            with disk.whole(path) as part:
                part.write_bytes((_MARK if self.marked else b"") + text.encode())
        except OSError as failure:
            if disk.is_full(failure):
                raise
            raise InputError(
                f"the file can't be written ({failure.strerror})",
                file=self.name,
                remedy="Close it in the spreadsheet, if it is open there; then enter it again.",
            ) from None
        return changes(self.text, text)


def read(folder: Path, name: str) -> BenchFile:
    """Return a text of the folder, empty where there is none.

    Raises
    ------
    InputError
        If it is no text in UTF-8, such as a workbook.
    """
    path = folder / name
    if not path.exists():
        return BenchFile(folder, name, "")
    try:
        data = path.read_bytes()
        return BenchFile(folder, name, data.removeprefix(_MARK).decode(), data.startswith(_MARK))
    except UnicodeDecodeError:
        raise TableError(
            "this file can't be added to",
            file=name,
            expected="text in UTF-8",
            remedy="Save it as CSV in UTF-8, and name that file in review.yaml.",
        ) from None
    except OSError as failure:
        raise InputError(f"the file can't be read ({failure.strerror})", file=name) from None


def changes(before: str, after: str) -> tuple[Change, ...]:
    r"""Return the runs of lines in which two texts differ.

    Examples
    --------
    >>> changes("a\nb\n", "a\nb\nc\n")
    (((), ('c',)),)
    """
    old, new = before.splitlines(), after.splitlines()
    codes = difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes()
    return tuple((tuple(old[a:b]), tuple(new[c:d])) for kind, a, b, c, d in codes if kind != "equal")


def undone(text: str, made: Sequence[Change], *, file: str) -> str:
    r"""Return a text without some changes; what else was changed in it since stays.

    Raises
    ------
    InputError
        If the lines are no longer as they were written.

    Examples
    --------
    >>> undone("a\nb\nc\nd\n", [((), ("c",))], file="readout.csv")
    'a\nb\nd\n'
    """
    lines = text.splitlines()
    end = "\r\n" if "\r\n" in text else "\n"
    for before, after in reversed(made):
        at = _last(lines, after)
        if at is None:
            raise InputError(
                "what was entered is no longer there as it was written",
                file=file,
                remedy="Correct the file by hand.",
            )
        lines[at : at + len(after)] = before
    return "".join(line + end for line in lines)


def _last(lines: Sequence[str], wanted: Sequence[str]) -> int | None:
    """Return where some lines stand in a row for the last time."""
    places = range(len(lines) - len(wanted), -1, -1)
    return next((at for at in places if list(lines[at : at + len(wanted)]) == list(wanted)), None)
