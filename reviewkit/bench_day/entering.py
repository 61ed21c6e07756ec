"""Readings, trials, drains and cable times, entered at the bench: written at once, undone if need be.

Each goes into the table or key of the review where a person would type it; `bench-notes.csv` holds what was
entered when, and what undoes it.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from io import StringIO
from pathlib import Path
from typing import Any

from filelock import FileLock

from reviewkit import readout, ui_states
from reviewkit.bench_day import answers, bench_file, doubts, journal
from reviewkit.bench_day.bench_file import BenchFile
from reviewkit.bench_day.journal import Entry
from reviewkit.errors import Faults, InputError, ReviewFileError, TableError
from reviewkit.readout import table as readings
from reviewkit.review import review_file, yaml_edit
from reviewkit.tables import csv_table
from reviewkit.ui_states.inputs import COLUMNS, IMPOSSIBLE, Row, read_transitions

_LOCK = ".bench-notes.lock"
_READINGS, _TRIALS = "readout.csv", "transitions.csv"
_READING_COLUMNS = ("reference (V)", "shown", "warning", "remark")
_TRIAL_COLUMNS = ("state", "event", "next", "seen", "tried", "remark", "video")
_ALSO = {"film": ("video", "video time", "time in video")}


@dataclass(frozen=True)
class Noted:
    """An entry that was written, and what it was written as.

    Parameters
    ----------
    told : tuple of str
        What the person who entered it should hear: what was understood, what it tells, what to do next.
    """

    entry: Entry
    told: tuple[str, ...]


def values(folder: Path) -> dict[str, Any]:
    """Return the keys and values of a folder's review file.

    Raises
    ------
    Faults
        If it can't be read.
    """
    faults: list[InputError] = []
    found = review_file.read_values(folder, faults)
    if faults:
        raise Faults(faults)
    return found


def now() -> datetime:
    """Return this moment, with its difference to UTC."""
    return datetime.now().astimezone()


def _noted(
    folder: Path,
    what: str,
    entered: str,
    write: Callable[[str], tuple[str, tuple[bench_file.Change, ...]]],
    at: datetime | None,
    answer: Callable[[], tuple[str, ...]] = tuple,
    film: str = "",
) -> Noted:
    """Write an entry and its line in the journal, one writer at a time.

    Parameters
    ----------
    write : callable
        Takes the time in the film, as it is written into tables; returns the file and what changed in it.
    answer : callable
        Returns, once it is written, what it tells.
    film : str
        The time in the film, where it isn't that of the stop-watch.
    """
    moment = at or now()
    with FileLock(folder / _LOCK):
        running_s = journal.film_time_s(journal.entries(folder), moment)
        entry = Entry(moment, csv_table.seconds(film) if film else running_s, what, entered)
        file, lines = write(film or entry.film)
        entry = replace(entry, file=file, lines=lines)
        journal.add(folder, entry)
    told = answers.say("written", file=entry.file, entered=entered, film=entry.film)
    return Noted(entry, (told, *answer()))


def clap(folder: Path, *, at: datetime | None = None) -> Noted:
    """Start the stop-watch together with the camera: what is entered from now on has a time in the film.

    Parameters
    ----------
    folder : Path
        The review folder.
    at : datetime, optional
        When; default: now.

    Examples
    --------
    >>> bench_day.clap(birch_copy).told
    ('The film’s time runs from this clap.',)
    """
    return _noted(folder, journal.CLAP, "the film’s time runs from this clap", lambda _: ("", ()), at)


def reading(
    folder: Path,
    reference: str,
    shown: str,
    *,
    load: str = "",
    warning: str = "",
    remark: str = "",
    film: str = "",
    sure: bool = False,
    at: datetime | None = None,
) -> Noted:
    """Write one reading of the voltage readout into the review's table.

    Parameters
    ----------
    folder : Path
        The review folder.
    reference : str [V]
        Of the reference meter, as a number or with its unit.
    shown : str
        What the device shows: "3.9", "4 blinks, pause, 1 blink", "2 bars".
    load : str [A]
        The device's own load meanwhile, with its unit.
    warning, remark : str
    film : str
        Time in the film, such as "0:43.20"; else that of the stop-watch, where one runs.
    sure : bool
        Written although it looks impossible beside what was entered before.
    at : datetime, optional
        When; default: now.

    Raises
    ------
    InputError
        If it can't be read, or looks impossible: nothing is written.

    Examples
    --------
    >>> noted = bench_day.reading(birch_copy, "3.084 V", "3 blinks, pause, 0 blinks")
    >>> print(noted.told[0])  # doctest: +ELLIPSIS
    readout.csv: 3.084 V shown as 3 blinks, pause, 0 blinks...
    """
    bench = readout.inputs(values(folder))
    volts = doubts.quantity(reference, "V", "the reference")
    amps = doubts.quantity(load, "A", "the load") if load.strip() else ""
    shown = _required(shown, "what the device shows")
    file = bench.readout_table or _READINGS
    kept = bench_file.read(folder, file)
    doubts.of_reading(volts, shown, bench, folder, sure=sure)

    def write(time: str) -> tuple[str, tuple[bench_file.Change, ...]]:
        cells = {"reference": volts, "shown": shown, "load": amps, "warning": warning, "remark": remark}
        text = with_row(
            kept,
            _READING_COLUMNS,
            {**readings.ALIASES, **_ALSO},
            {**cells, "film": time},
            named=bench.readout_columns,
        )
        return _put(folder, kept, text, "readout_table", bench.readout_table)

    entered = f"{volts:.6g} V shown as {shown}"

    def tells() -> tuple[str, ...]:
        return answers.of_readings(values(folder), folder)

    return _noted(folder, "reading", entered, write, at, tells, film)


def trial(
    folder: Path,
    state: str,
    event: str,
    to: str,
    *,
    times: int = 1,
    remark: str = "",
    sure: bool = False,
    at: datetime | None = None,
) -> Noted:
    """Write the outcome of a trial into the review's table of transitions, counted onto earlier ones.

    Parameters
    ----------
    folder : Path
        The review folder.
    state, event : str
        In which state what was done, or happened.
    to : str
        The state that followed; the same state if nothing did; "n/a" if the event can't occur there.
    times : int
        How many times running it was done with this outcome.
    remark : str
    sure : bool
        Written although another outcome was seen before.
    at : datetime, optional
        When; default: now.

    Raises
    ------
    InputError
        If a state or event is unknown, or the outcome can't be: nothing is written.

    Examples
    --------
    >>> bench_day.trial(birch_copy, "full", "power lost", "full", times=10).told[-1]
    '41 of 41 pairs of state and event are tried.'
    """
    bench = ui_states.inputs(values(folder))
    if not isinstance(bench.ui_transitions, str):
        raise ReviewFileError(
            "the trials stand in the review file itself",
            file=review_file.FILE,
            place="ui_transitions",
            remedy="Move them into a table, such as transitions.csv, and name it there.",
        )
    named = bench.ui_transitions
    file = named or _TRIALS
    kept = bench_file.read(folder, file)
    rows = read_transitions(file, folder=folder) if _has_rows(folder, file) else []
    before = answers.assessed(bench, folder)
    state, event, to = doubts.of_trial(state, event, to, times, bench, rows, sure=sure)

    def write(film: str) -> tuple[str, tuple[bench_file.Change, ...]]:
        text = _with_trial(kept, rows, (state, event, to), times, remark, film)
        return _put(folder, kept, text, "ui_transitions", named)

    entered = f"{event} in {state}: {to}" + (f", {times} times" if times > 1 else "")
    return _noted(
        folder, "trial", entered, write, at, lambda: answers.of_trials(values(folder), folder, before)
    )


def drain(
    folder: Path, state: str, reading_A: str, *, on_range: str = "", at: datetime | None = None
) -> Noted:
    """Write a single reading of a state's drain into the review file.

    Parameters
    ----------
    folder : Path
        The review folder.
    state : str
        The device's state, such as "locked out". A new reading of one takes the place of the old.
    reading_A : str [A]
        With its unit, such as "68 uA".
    on_range : str [A]
        The ammeter's range in use, with its unit.
    at : datetime, optional
        When; default: now.

    Raises
    ------
    InputError
        If it can't be read, or the state has a log: nothing is written.

    Examples
    --------
    >>> print(bench_day.drain(birch_copy, "locked out", "96 uA", on_range="600 uA").told[-1][:36])
    locked out draws 96.0 µA ± 1.3 µA, w
    """
    held = values(folder)
    amps = doubts.quantity(reading_A, "A", "the reading", unit_needed=True)
    item: dict[str, Any] = {"name": _required(state, "the state's name"), "reading_A": reading_A.strip()}
    if on_range.strip():
        doubts.quantity(on_range, "A", "the range", unit_needed=True)
        item["range_full_scale_A"] = on_range.strip()
    listed = held.get("drain_states") or []
    index = next((at for at, one in enumerate(listed) if one.get("name") == item["name"]), None)
    doubts.of_drain(item, amps, held, index)

    def write(_: str) -> tuple[str, tuple[bench_file.Change, ...]]:
        kept = bench_file.read(folder, review_file.FILE)
        if index is None:
            text = yaml_edit.with_item(kept.text, "drain_states", item, file=review_file.FILE)
            return review_file.FILE, kept.written(text)
        text = kept.text
        for key, value in item.items():
            text = yaml_edit.with_value(text, ("drain_states", index, key), value, file=review_file.FILE)
        return review_file.FILE, kept.written(text)

    entered = f"{item['name']}: {item['reading_A']}" + (f" on {on_range.strip()}" if on_range else "")
    return _noted(
        folder, "drain", entered, write, at, lambda: answers.of_drain(values(folder), item["name"], amps)
    )


def cable(folder: Path, moment_s: float | None = None, *, run: int = 1, at: datetime | None = None) -> Noted:
    """Write when the cable was pulled after a charge.

    Parameters
    ----------
    folder : Path
        The review folder.
    moment_s : float or None [s]
        On the voltage log's own count of seconds; None: at `at`.
    run : int
        Which charge of the review, from 1.
    at : datetime, optional
        When it is entered; default: now.

    Raises
    ------
    InputError
        If there is no such charge, or nothing tells what the log's clock shows: nothing is written.

    Examples
    --------
    >>> bench_day.cable(birch_copy, 24600, run=2).entry.entered
    'pulled at 24600 s of the voltage log, charge 2'
    """
    held = values(folder)
    if moment_s is None:
        moment_s = answers.log_time(held, folder, at or now(), run=run)
    doubts.of_cable(moment_s, run, held)

    def write(_: str) -> tuple[str, tuple[bench_file.Change, ...]]:
        kept = bench_file.read(folder, review_file.FILE)
        path = ("charge_runs", run - 1, "cable_out_s")
        text = yaml_edit.with_value(kept.text, path, round(moment_s), file=review_file.FILE)
        return review_file.FILE, kept.written(text)

    entered = f"pulled at {round(moment_s)} s of the voltage log, charge {run}"
    return _noted(folder, "cable", entered, write, at)


def undo(folder: Path) -> Noted:
    """Take the last entry back that was not taken back yet.

    Raises
    ------
    InputError
        If there is none, or what it wrote was changed since: nothing is written.

    Examples
    --------
    >>> noted = bench_day.drain(birch_copy, "asleep", "12 uA", on_range="600 uA")
    >>> bench_day.undo(birch_copy).told
    ('Taken back: drain, asleep: 12 uA on 600 uA.',)
    """
    with FileLock(folder / _LOCK):
        left = [one for one in journal.entries(folder) if not one.undone]
        if not left:
            raise InputError("nothing was entered that could be undone", file=journal.FILE)
        entry = left[-1]
        if entry.file:
            kept = bench_file.read(folder, entry.file)
            kept.written(bench_file.undone(kept.text, entry.lines, file=entry.file))
        journal.mark_undone(folder, entry)
    return Noted(replace(entry, undone=True), (answers.say("taken_back", entry=entry),))


def _required(text: str, what: str) -> str:
    if not text.strip():
        raise InputError(f"{what} is missing")
    return text.strip()


def _put(
    folder: Path, kept: BenchFile, text: str, key: str, named: str
) -> tuple[str, tuple[bench_file.Change, ...]]:
    """Write a table, and its name into the review file where that doesn't hold it yet."""
    made = kept.written(text)
    if not named:
        review = bench_file.read(folder, review_file.FILE)
        review.written(yaml_edit.with_value(review.text, (key,), kept.name, file=review_file.FILE))
    return kept.name, made


def _has_rows(folder: Path, file: str) -> bool:
    return (folder / file).is_file() and bool(csv_table.rows(file, folder=folder)[1])


def _columns(
    header: Sequence[str], aliases: Mapping[str, Sequence[str]], file: str, named: Mapping[str, str]
) -> dict[str, str]:
    return csv_table.columns(
        list(header), aliases, file=file, named=named, optional=("load", "uncertainty", *aliases)
    )


def _form(kept: BenchFile, columns: Sequence[str]) -> tuple[str, list[str], str]:
    """Return a table's text, its headings and its delimiter; with headings where there is no table yet."""
    filled = [line for line in kept.text.splitlines() if line.strip() and not line.startswith("#")]
    if not filled:
        return kept.text + ",".join(columns) + "\n", list(columns), ","
    header, _ = csv_table.rows(kept.name, folder=kept.folder)
    delimiter = max(csv_table.DELIMITERS, key=filled[0].count)
    if any(line.count('"') % 2 for line in filled):
        raise TableError(
            "a cell goes on over several lines",
            file=kept.name,
            remedy="Bring it into one line, so that rows can be added.",
        )
    return kept.text, header, delimiter


def with_row(
    kept: BenchFile,
    columns: Sequence[str],
    aliases: Mapping[str, Sequence[str]],
    cells: Mapping[str, Any],
    *,
    named: Mapping[str, str] | None = None,
) -> str:
    """Return a table with one more row; headings that it lacks and a filled cell needs are added."""
    text, header, delimiter = _form(kept, columns)
    found = _columns(header, aliases, kept.name, named or {})
    wanted = {"load": "load (A)", "film": "video"}
    new = [
        wanted.get(name, name) for name, cell in cells.items() if cell not in ("", None) and name not in found
    ]
    header = [*header, *new]
    found = _columns(header, aliases, kept.name, named or {})
    row = {found[name]: _typed(cell, delimiter, found[name]) for name, cell in cells.items() if name in found}
    lines = _lines(text)
    if new:
        at = next(at for at, line in enumerate(lines) if line.strip() and not line.startswith("#"))
        lines[at] = _line(header, delimiter)
    return kept.line_end.join([*lines, _line([row.get(name, "") for name in header], delimiter), ""])


def _lines(text: str) -> list[str]:
    lines = text.splitlines()
    while lines and not lines[-1].strip():
        lines.pop()
    return lines


def _typed(cell: Any, delimiter: str, heading: str) -> str:
    """Return a cell as this table's other rows have it: in its column's unit, a comma where ';' separates."""
    if not isinstance(cell, float):
        return str(cell)
    plain = f"{doubts.in_unit_of(heading, cell):.9g}"
    return plain.replace(".", ",") if delimiter == ";" else plain


def _line(cells: Sequence[str], delimiter: str) -> str:
    stream = StringIO()
    csv.writer(stream, delimiter=delimiter, lineterminator="").writerow(cells)
    return stream.getvalue()


def _with_trial(
    kept: BenchFile,
    rows: Sequence[Row],
    outcome: tuple[str, str, str],
    times: int,
    remark: str,
    film: str,
) -> str:
    """Return the table with a trial counted: its row or a new one, and `tried` on all rows of the pair."""
    state, event, to = outcome
    pair = [row for row in rows if (row.state, row.event) == (state, event)]
    tried = max((row.tried or 0 for row in pair), default=0) + times
    same = next((row for row in pair if row.next == to), None)
    impossible = to.casefold() in IMPOSSIBLE
    text = kept.text
    for row in pair:
        seen = (row.seen or 0) + (times if row is same else 0)
        more = {"seen": str(seen), "tried": str(tried)}
        if row is same:
            more |= {"remark": remark} if remark and not row.remark else {}
            more |= {"video": film} if film and row.video_s is None else {}
        text = with_cells(replace(kept, text=text), int(row.place.split()[-1]), more)
    if same is not None:
        return text
    cells = {"state": state, "event": event, "next": to, "remark": remark, "video": film}
    counts = {} if impossible else {"seen": str(times), "tried": str(tried)}
    return with_row(replace(kept, text=text), _TRIAL_COLUMNS, COLUMNS, {**cells, **counts})


def with_cells(kept: BenchFile, number: int, cells: Mapping[str, str]) -> str:
    """Return a table in which some cells of one row, counted as in the file, hold something else."""
    text, header, delimiter = _form(kept, _TRIAL_COLUMNS)
    found = _columns(header, COLUMNS, kept.name, {})
    lines = _lines(text)
    row = next(csv.reader([lines[number - 1]], delimiter=delimiter, skipinitialspace=True))
    row += [""] * (len(header) - len(row))
    for name, cell in cells.items():
        if name in found:
            row[header.index(found[name])] = cell
    lines[number - 1] = _line(row, delimiter)
    return kept.line_end.join([*lines, ""])
