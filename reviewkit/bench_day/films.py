"""A film of the bench and a review folder: what it tells, the table to confirm it in, and into the review.

`film-readings.csv` holds one row a reading, with the film and the time in it. A person looks at thumbnails,
writes the reference voltage beside those without one and "yes" beside what is right, the sure ones too: the
count was tried on rendered films only. Then they go into the review's own table.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import numpy as np

from reviewkit import film, logs, readout
from reviewkit.bench_day import bench_file, entering
from reviewkit.bench_day.film_moments import moments as moments
from reviewkit.bench_day.film_moments import rows_of, write_rows
from reviewkit.errors import InputError, TableError, gathered
from reviewkit.film.telling import Told
from reviewkit.findings import sentences
from reviewkit.findings.findings_file import WORDS
from reviewkit.review import review_file, strict_yaml, yaml_edit
from reviewkit.schema.blocks import BlinkRule
from reviewkit.system import disk
from reviewkit.tables import csv_table

FILE = "film-readings.csv"
STRIPS = "film-readings"
COLUMNS = (
    "film",
    "video",
    "pattern",
    "shown",
    "sure",
    "colour",
    "otherwise",
    "reference (V)",
    "confirmed",
    "entered",
)
SAME_S = 0.3
"""Two readings of one film that start closer than this are one [s]: less than any pause. Chosen."""
YES = ("yes", "y", "x", "1", "true")


@dataclass(frozen=True)
class LogClock:
    """A voltage log that ran while the film did, and one moment known on both clocks.

    Parameters
    ----------
    log : str
        Relative to the review folder.
    film_s, log_s : float [s]
        The moment in the film, and on the log's own clock.
    """

    log: str
    film_s: float
    log_s: float

    @classmethod
    def told(cls, log: str, same: str) -> LogClock:
        """Return the two clocks as a command line says them: "0:12=83.5", film first.

        Raises
        ------
        InputError
            If that is no pair of moments.
        """
        try:
            first, second = same.split("=")
            return cls(log, csv_table.seconds(first), csv_table.seconds(second))
        except ValueError:
            raise InputError(
                f"'{same}' is no moment on both clocks",
                expected="the time in the film and on the log's clock, such as 0:12=83.5",
            ) from None


def read(
    path: Path,
    folder: Path | None = None,
    *,
    at: tuple[float, float] | None = None,
    box: tuple[float, float, float, float] | None = None,
    start_s: float = 0.0,
    end_s: float | None = None,
    log: str = "",
    same: str = "",
    accepting: bool = False,
) -> Iterator[str]:
    """Read a film, keep what it tells in a review folder if there is one, and say both line by line.

    Where several spots change like a light, a picture in which they are numbered is left beside the film's
    name in the current folder.

    Raises
    ------
    FilmError
        If it is no film, or no light, or several, are found in it.
    """
    source, at, until_s = film.look_at(path), _place(at, box), math.inf if end_s is None else end_s
    surveyed = film.survey(source, at=at, start_s=start_s, end_s=until_s)
    found = surveyed.spots
    if len(found) > 1:
        sheet = Path(f"{path.stem}-spots.png")
        with disk.whole(sheet) as half_way:
            half_way.write_bytes(film.png(film.contact_sheet(source, found, max(0.0, start_s))))
        yield f"{sheet}"
    told = film.told(surveyed, at or film.only(source, found), rule(folder) if folder else None)
    yield from told.answer.sentences
    yield from (" | ".join(row) for row in told.rows)
    if folder:
        yield from map(str, keep(folder, told, LogClock.told(log, same) if log else None))
        yield from accept(folder) if accepting else ()


def _place(
    at: tuple[float, float] | None, box: tuple[float, float, float, float] | None
) -> tuple[float, float] | None:
    return (box[0] + box[2] / 2, box[1] + box[3] / 2) if box and not at else at


def flashes(
    path: Path,
    folder: Path | None = None,
    *,
    at: tuple[float, float] | None = None,
    box: tuple[float, float, float, float] | None = None,
    start_s: float = 0.0,
    end_s: float | None = None,
) -> Iterator[str]:
    """Say how fast a light in a film flashes, and whether the film may harm who sees it.

    Raises
    ------
    FilmError
        If it is no film, or no light, or several, are found in it.
    """
    until_s, source, judge = math.inf if end_s is None else end_s, film.look_at(path), film.FlashJudge()
    surveyed = film.survey(source, at=_place(at, box), start_s=start_s, end_s=until_s, observers=[judge])
    yield film.harm_of(judge.judged, source)
    caution = film.caution(judge.judged)
    if folder and caution:
        yield from _warn(folder, caution)
    middle = _place(at, box) or film.only(source, surveyed.spots)
    yield from film.told(surveyed, middle).flashing


def _warn(folder: Path, caution: str) -> Iterator[str]:
    """Put a caution before the review's video, unless there is one already."""
    kept = bench_file.read(folder, review_file.FILE)
    about = strict_yaml.loads(kept.text, review_file.FILE).get("review")
    if isinstance(about, dict) and about.get("video_caution"):
        yield f"{review_file.FILE}: a caution stands before the video already"
        return
    path, value = (("review", _CAUTION), caution) if about else (("review",), {_CAUTION: caution})
    kept.written(yaml_edit.with_value(kept.text, path, value, file=review_file.FILE))
    yield f"{review_file.FILE}: review.{_CAUTION}"


_CAUTION = "video_caution"


def rule(folder: Path) -> BlinkRule:
    """Return how a review's device tells a value by blinks."""
    return readout.inputs(entering.values(folder)).readout_blinks


def keep(folder: Path, told: Told, clock: LogClock | None = None) -> tuple[Path, ...]:
    """Write a film's readings into the table to confirm them in, and their thumbnails beside it.

    Parameters
    ----------
    folder : Path
        The review folder. Rows of other films, and what was written beside this one's, stay.

    Returns
    -------
    tuple of Path
        What was written.
    """
    references = _references(folder, told, clock) if clock else [""] * len(told.readings)
    kept = rows_of(folder, FILE, COLUMNS)
    mine = [row for row in kept if row["film"] == told.name]
    rows = [row for row in kept if row["film"] != told.name]
    strips = folder / STRIPS
    strips.mkdir(exist_ok=True)
    written = []
    for reading, shown, reference in zip(told.readings, told.rows, references, strict=True):
        row = dict.fromkeys(COLUMNS, "") | {"film": told.name, "reference (V)": reference}
        row |= dict(zip(("video", "pattern", "shown", "sure", "colour", "otherwise"), shown, strict=True))
        before = next((one for one in mine if _is_near(one, reading.start_s)), None)
        if before:
            mine.remove(before)
            row |= {name: before[name] for name in ("confirmed", "entered")}
            row["reference (V)"] = before["reference (V)"] or reference
        rows.append(row)
        picture = folder / _strip_of(told.name, row["video"])
        with disk.whole(picture) as part:
            part.write_bytes(film.png(told.strip(reading)))
        written.append(picture)
    # What is no longer found but was confirmed, or entered into the review, stays.
    rows += [row for row in mine if row["confirmed"] or row["entered"] or row["reference (V)"]]
    write_rows(folder, FILE, COLUMNS, rows)
    return (folder / FILE, *written)


def _is_near(row: Mapping[str, str], start_s: float) -> bool:
    return abs(csv_table.seconds(row["video"]) - start_s) < SAME_S


def _references(folder: Path, told: Told, clock: LogClock) -> list[str]:
    """Return the log's voltage at each reading; empty where the log does not reach, or the voltage moves."""
    log = logs.read(clock.log, "V", folder=folder)
    found = []
    for reading in told.readings:
        begin, end = (at - clock.film_s + clock.log_s for at in (reading.start_s, reading.end_s))
        inside = begin >= log.time_s[0] and end <= log.time_s[-1]
        near = np.interp([begin, (begin + end) / 2, end], log.time_s, log.series.to_numpy())
        steady = np.ptp(near) <= max(2 * (log.resolution or 0.0), _STEADY_V)
        found.append(f"{near[1]:.4f}".rstrip("0") if inside and steady else "")
    return found


_STEADY_V = 0.005
"""A voltage that moves by more than this during a reading is no reference for it [V]. Chosen: a tenth of
half a step of a readout of 0.1 V."""


def accept(folder: Path) -> tuple[str, ...]:
    """Enter the confirmed readings into the review's table, each once.

    Returns
    -------
    tuple of str
        What was entered, and what is left and why.

    Raises
    ------
    Faults
        If a row can't be used; the others are entered.
    """
    rows = rows_of(folder, FILE, COLUMNS)
    said: list[str] = []
    if not rows:
        raise TableError(
            "there is nothing to accept", file=FILE, remedy="reviewkit blinks FILM --folder FOLDER"
        )
    faults: list[InputError] = []
    for number, row in enumerate(rows, start=2):
        with gathered(faults):
            said += _accepted(folder, row, number)
    write_rows(folder, FILE, COLUMNS, rows)
    return (*said, *(fault.message for fault in faults))


def _accepted(folder: Path, row: dict[str, str], number: int) -> Iterable[str]:
    what = f"{row['film']} {row['video']}, {row['pattern']}"
    if row["entered"]:
        return ()
    missing = _missing(row)
    if missing:
        return (f"{what}: {missing}",)
    noted = entering.reading(
        folder,
        row["reference (V)"],
        row["shown"],
        remark=f"{row['film']}, {row['pattern']}",
        film=row["video"],
    )
    row["entered"] = noted.entry.when.isoformat(timespec="seconds")
    return (*noted.told[:1], *_shown(folder, row))


def _shown(folder: Path, row: Mapping[str, str]) -> Iterator[str]:
    """Put a confirmed reading's thumbnails into the author's words, from where photographs are published."""
    picture = _strip_of(row["film"], row["video"])
    kept = bench_file.read(folder, WORDS)
    link = quote(picture)
    if not (folder / picture).is_file() or link in kept.text:
        return
    say = sentences.of("film")
    said = {name: _UNMARKED.sub(" ", row[name]) for name in ("film", "video", "pattern", "shown", "colour")}
    heading, text = f"## {say('shown_heading')}", kept.text.rstrip()
    if heading not in text.splitlines():
        about = entering.values(folder).get("review") or {}
        parts = (text, heading, say("shown_under"), str(about.get(_CAUTION, "")))
        text = "\n\n".join(part for part in parts if part)
    image = f'![{say("shown_alt", row=said)}]({link} "{say("shown_caption", row=said)}")'
    lines = text.splitlines()
    # Behind what stands under the heading, before the author's next one.
    start = lines.index(heading) + 1
    end = next((k for k in range(start, len(lines)) if lines[k].startswith("#")), len(lines))
    before, after = "\n".join(lines[:end]).rstrip(), "\n".join(lines[end:])
    kept.written(f"{before}\n\n{image}\n" + (f"\n{after}\n" if after else ""))
    yield f"{WORDS}: {picture}"


_UNMARKED = re.compile(r"[\[\]{}\"<>\\\n]")
"""What would end a picture's words, or mark a finding's place in them."""


def _strip_of(name: str, video: str) -> str:
    """Return the file of a reading's thumbnails, relative to the review folder."""
    return f"{STRIPS}/{Path(name).stem}-{video.replace(':', 'm')}s.png"


def _missing(row: Mapping[str, str]) -> str:
    """Return what a row lacks before it may be entered."""
    said = row["confirmed"].strip().casefold()
    if said and said not in YES:
        return "left out, as you say"
    if not said:
        doubt = "" if row["sure"] == "yes" else "not sure; "
        return f"{doubt}look at its thumbnails and write yes or no into 'confirmed'"
    if not row["shown"]:
        return "it stands for no value; write it into 'shown', or leave the row"
    if not row["reference (V)"]:
        return "write the reference voltage into 'reference (V)'"
    return ""
