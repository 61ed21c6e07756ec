"""The chapters of the video beside a review, and which section or finding each shows."""

from __future__ import annotations

import difflib
import itertools
import os
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from reviewkit.errors import Faults, InputError, TableError, gathered
from reviewkit.findings import Finding, twins
from reviewkit.findings.finding_keys import FindingKeys
from reviewkit.tables import csv_table

FILE = "chapters.csv"
LATEST_S = 360_000.0 - 1
"""A moment later than this one is taken for a slip of the pen."""

COLUMNS = {
    "time": ("start", "time in video", "timestamp"),
    "title": ("chapter", "name"),
    "about": ("section", "finding", "key"),
}


@dataclass(frozen=True)
class Chapter:
    """One chapter.

    Parameters
    ----------
    row : int
        In the file, as a person counts.
    start_s : float [s]
    title : str
        One line. Empty in a last row that only says where the video ends.
    about : str
        A section's name or a finding's key; empty for neither.
    """

    row: int
    start_s: float
    title: str
    about: str = ""


@dataclass(frozen=True)
class Cue:
    """One chapter from its start to its end.

    Parameters
    ----------
    start_s : float [s]
    end_s : float or None [s]
        None: to the end of the video, wherever that is.
    """

    start_s: float
    end_s: float | None
    title: str
    about: str


def read(folder: Path) -> tuple[Chapter, ...]:
    """Return the chapters of a review folder; none where there is no file of them.

    Raises
    ------
    Faults
        Every row at fault: no time, a time that does not rise, no title.
    TableError
        If the file is no table of chapters.
    """
    if not os.path.lexists(folder / FILE):
        return ()
    header, body = csv_table.rows(FILE, folder=folder)
    columns = csv_table.columns(header, COLUMNS, file=FILE, optional=("about",))
    faults: list[InputError] = []
    found: list[Chapter] = []
    for row, cells in body:
        with gathered(faults):
            found.append(
                _chapter(row, {name: cells[header.index(column)] for name, column in columns.items()})
            )
    faults += _faults_between(found)
    if faults:
        raise Faults(faults)
    return tuple(found)


def _chapter(row: int, cells: Mapping[str, str]) -> Chapter:
    text = cells["time"]
    try:
        start_s = csv_table.seconds(text)
    except ValueError:
        start_s = float("inf")
    if start_s > LATEST_S:
        raise TableError(
            f"'{text}' is no time" if text else "there is no time",
            file=FILE,
            place=f"row {row}, column 'time'",
            expected="the moment the chapter starts, such as 0:40 or 1:02:03",
            remedy="Type it as your player shows it.",
        )
    title = " ".join(cells["title"].split())
    return Chapter(row, start_s, title, cells.get("about", ""))


def _faults_between(found: Iterable[Chapter]) -> list[InputError]:
    """Return what is wrong with rows beside each other."""
    rows = list(found)
    faults: list[InputError] = []
    for before, after in itertools.pairwise(rows):
        if round(after.start_s, 3) <= round(before.start_s, 3):
            told = f"{csv_table.stamp(after.start_s)} is not after {csv_table.stamp(before.start_s)}"
            faults.append(
                TableError(
                    f"{told} in row {before.row}",
                    file=FILE,
                    place=f"row {after.row}, column 'time'",
                    expected="times that rise from row to row",
                    remedy="Put the rows in the order of the video.",
                )
            )
    faults += [_untitled(row) for row in rows if not row.title and (row is not rows[-1] or row.about)]
    return faults


def _untitled(row: Chapter) -> TableError:
    return TableError(
        "the chapter has no title",
        file=FILE,
        place=f"row {row.row}, column 'title'",
        expected="a few words",
        remedy="Only a last row, which says where the video ends, goes without.",
    )


def cues(found: Iterable[Chapter]) -> tuple[Cue, ...]:
    """Return each chapter with its end, which is where the next one starts."""
    rows = list(found)
    ends = [*(row.start_s for row in rows[1:]), None]
    pairs = zip(rows, ends, strict=False)
    return tuple(Cue(row.start_s, end, row.title, row.about) for row, end in pairs if row.title)


def unknown(
    found: Iterable[Chapter],
    *,
    names: Collection[str],
    prefixes: Collection[str] = (),
    known: FindingKeys | None = None,
) -> list[InputError]:
    """Return an error for each chapter that is about nothing there is.

    Parameters
    ----------
    names : collection of str
        The sections' names and, once they are known, the findings' keys.
    prefixes : collection of str
        What keys may start with whose rest is not known yet.
    known : FindingKeys, optional
        What is known of that rest.
    """
    heads = tuple(prefixes)
    asked = [row for row in found if row.about and row.about not in names]
    told = [(row, known.refused(row.about) if known else None) for row in asked]
    return [
        _unknown(row, names, heads, refused[1] if refused else "")
        for row, refused in told
        if refused or not row.about.startswith(heads)
    ]


def _unknown(row: Chapter, names: Collection[str], heads: Collection[str], meant: str) -> TableError:
    tail = row.about.partition(".")[2]
    known = [meant] if meant else sorted({*names, *(head + tail for head in heads if tail)})
    near = difflib.get_close_matches(row.about, known, n=1, cutoff=0.0)
    return TableError(
        f"there is no section or finding '{row.about}'",
        file=FILE,
        place=f"row {row.row}, column 'about'",
        expected="a section's name or a finding's key, or nothing",
        remedy=f"Did you mean '{near[0]}'?" if near else "Leave the cell empty.",
    )


def shown_at(found: Iterable[Chapter], findings: Iterable[Finding]) -> dict[str, float]:
    """Return the moment of the video that shows each section and finding that a chapter is about.

    Parameters
    ----------
    found : iterable of Chapter
        The first of several about the same counts.
    findings : iterable of Finding
        One that stands under two keys is shown under both.

    Returns
    -------
    dict of str to float [s]
    """
    moment: dict[str, float] = {}
    for row in found:
        if row.about:
            moment.setdefault(row.about, row.start_s)
    for long, short in twins(findings).items():
        for one, other in ((long, short), (short, long)):
            if one in moment:
                moment.setdefault(other, moment[one])
    return moment
