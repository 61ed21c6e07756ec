"""Moments of a film and a review folder: proposed in a table, taken into chapters and trials once chosen.

In `film-moments.csv` a person writes a title beside a moment that is to be a chapter, and state, event and
next beside one that shows a trial.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from io import StringIO
from pathlib import Path

from reviewkit import film, ui_states
from reviewkit.bench_day import bench_file, entering
from reviewkit.errors import InputError, TableError, gathered
from reviewkit.review import chapters
from reviewkit.tables import csv_table
from reviewkit.ui_states.inputs import read_transitions

FILE = "film-moments.csv"
_FOUND = ("film", "video", "seen")
_CHOSEN = ("title", "about", "state", "event", "next")
COLUMNS = (*_FOUND, *_CHOSEN, "entered")
_CHAPTERS = ("time", "title", "about")


def moments(
    path: Path,
    folder: Path | None = None,
    *,
    box: tuple[float, float, float, float] | None = None,
    start_s: float = 0.0,
    end_s: float | None = None,
    accepting: bool = False,
) -> Iterator[str]:
    """Say when the light in a film changes; keep that in a review folder if there is one.

    Raises
    ------
    FilmError
        If it is no film.
    """
    part = film.Box(*map(round, box)) if box else None
    until_s = math.inf if end_s is None else end_s
    found = film.changes(film.look_at(path), box=part, start_s=start_s, end_s=until_s)
    yield from found.sentences
    yield from (" | ".join(row) for row in found.rows)
    if folder:
        _keep(folder, path.name, {row[0]: row[1] for row in found.rows})
        yield str(folder / FILE)
        yield from accept(folder) if accepting else ()


def _keep(folder: Path, name: str, said: Mapping[str, str]) -> None:
    """Add what is not in the table yet; what a person wrote there stays."""
    rows = rows_of(folder, FILE, COLUMNS)
    known = {(row["film"], row["video"]) for row in rows}
    new = [
        dict.fromkeys(COLUMNS, "") | {"film": name, "video": at, "seen": text}
        for at, text in said.items()
        if (name, at) not in known
    ]
    write_rows(folder, FILE, COLUMNS, [*rows, *new])


def accept(folder: Path) -> tuple[str, ...]:
    """Take the chosen moments into chapters and trials, each once; say what was done or is at fault."""
    rows = rows_of(folder, FILE, COLUMNS)
    said: list[str] = []
    faults: list[InputError] = []
    for row in rows:
        if row["entered"]:
            continue
        with gathered(faults):
            done = [*_chapter(folder, row), *_trial(folder, row)]
            row["entered"] = "yes" if done else ""
            said += done
    write_rows(folder, FILE, COLUMNS, rows)
    return (*said, *(fault.message for fault in faults))


def _chapter(folder: Path, row: Mapping[str, str]) -> Iterable[str]:
    if not row["title"]:
        return ()
    kept = bench_file.read(folder, chapters.FILE)
    cells = {"time": row["video"], "title": row["title"], "about": row["about"]}
    text = entering.with_row(kept, _CHAPTERS, chapters.COLUMNS, cells)
    kept.written(_in_order(text))
    return (f"{chapters.FILE}: {row['video']} {row['title']}",)


def _in_order(text: str) -> str:
    """Return a table of chapters with its last row where its time puts it; the others stay where they are."""
    *lines, new = text.splitlines()
    at_s = csv_table.seconds(next(csv.reader([new]))[0])
    index = len(lines)
    while index > 1 and _later(lines[index - 1], at_s):
        index -= 1
    return "".join(f"{line}\n" for line in [*lines[:index], new, *lines[index:]])


def _later(line: str, at_s: float) -> bool:
    try:
        return csv_table.seconds(next(csv.reader([line]))[0]) > at_s
    except (ValueError, StopIteration, IndexError):
        return False


def _trial(folder: Path, row: Mapping[str, str]) -> Iterable[str]:
    chosen = [row[name] for name in ("state", "event", "next")]
    if not any(chosen):
        return ()
    if not all(chosen):
        raise TableError(
            "a trial needs state, event and next", file=FILE, place=f"{row['film']}, {row['video']}"
        )
    named = ui_states.inputs(entering.values(folder)).ui_transitions
    if not isinstance(named, str) or not named:
        raise TableError("the review names no table of trials", file=FILE, remedy="Set ui_transitions.")
    for one in read_transitions(named, folder=folder):
        if [one.state, one.event, one.next] == chosen:
            kept = bench_file.read(folder, named)
            kept.written(entering.with_cells(kept, int(one.place.split()[-1]), {"video": row["video"]}))
            return (f"{named}: {', '.join(chosen)}: {row['video']}",)
    raise TableError(
        f"no trial '{', '.join(chosen)}' stands in {named}",
        file=FILE,
        place=f"{row['film']}, {row['video']}",
        remedy="Enter it first: reviewkit note FOLDER trial STATE EVENT NEXT.",
    )


def rows_of(folder: Path, file: str, columns: Sequence[str]) -> list[dict[str, str]]:
    """Return the rows of a table that the kit proposes in and a person chooses in; none where there is none.

    Raises
    ------
    TableError
        If a column, or a time, is no longer there.
    """
    if not (folder / file).is_file():
        return []
    header, body = csv_table.rows(file, folder=folder)
    missing = [name for name in columns if name not in header]
    if missing:
        raise TableError(
            f"there is no column '{missing[0]}'", file=file, place="header", remedy="Put it back."
        )
    rows = [dict(zip(header, cells, strict=True)) for _, cells in body]
    for (index, _), row in zip(body, rows, strict=True):
        if not re.fullmatch(r"[\d:]+(?:\.\d+)?", row["video"]):
            raise TableError(f"'{row['video']}' is no time", file=file, place=f"row {index}, column 'video'")
    return rows


def write_rows(folder: Path, file: str, columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> None:
    """Write such a table whole, by film and time; columns that a person added stay."""
    listed = sorted(rows, key=lambda row: (row["film"], csv_table.seconds(row["video"])))
    stream = StringIO()
    names = [*columns, *dict.fromkeys(name for row in listed for name in row if name not in columns)]
    writer = csv.DictWriter(stream, names, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(listed)
    bench_file.read(folder, file).written(stream.getvalue())
