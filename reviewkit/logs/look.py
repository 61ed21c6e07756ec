"""A look at a file: what is in it, what the kit would take it for and how sure it is, the entry to paste."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from pathlib import Path

import numpy as np

from reviewkit.errors import LogError
from reviewkit.logs import column_errors, reading
from reviewkit.logs.log import Log, Quantity, possible
from reviewkit.logs.source import Source
from reviewkit.metrology import formatting
from reviewkit.schema.blocks import LogBlock
from reviewkit.tables import headers

QUANTITIES: tuple[Quantity, ...] = ("V", "A", "degC")
_BARS = "▁▂▃▄▅▆▇█"
_WIDE, _HIGH = 60, 60
_MARKS = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", " ": "white space"}
_CELL_V, _DRAIN_A = (2.0, 4.6), 0.02
"""A cell's voltage lies within; a current that stays below is a device at rest (chosen: a name for what is
seen, on which no result rests)."""


@dataclass(frozen=True)
class Seen:
    """One quantity as it would be read.

    Parameters
    ----------
    quantity : {"V", "A", "degC"}
    log : Log or None
        None where it is not read as it stands.
    what : str
        What it would be taken for.
    sure : {"sure", "likely", "asks"}
    entry : str
        What to write into the review file: a path, or a block that can be pasted.
    key : str
        Under which key.
    why : tuple of str
        What makes it less than sure, or what is at fault.
    """

    quantity: Quantity
    log: Log | None
    what: str
    sure: str
    entry: str
    key: str
    why: tuple[str, ...] = ()


@dataclass(frozen=True, repr=False)
class Sight:
    """What a look at a file shows; prints as text, and in a notebook as HTML.

    Parameters
    ----------
    layout : tuple of str
        A sentence for each table.
    columns : tuple of str
        The columns of the table that is read, with three values each.
    """

    path: str
    layout: tuple[str, ...]
    columns: tuple[str, ...]
    seen: tuple[Seen, ...]

    def __str__(self) -> str:
        lines = [self.path, *(f"  {line}" for line in self.layout), "", "  Columns", *_indented(self.columns)]
        for one in self.seen:
            lines += ["", f"  {one.what[:1].upper()}{one.what[1:]} ({one.sure})", *_indented(facts(one))]
            if one.log is not None:
                lines += [f"    {spark(one.log)}"]
            lines += _indented(one.why)
            lines += [f"    → {one.key}: {one.entry}"] if one.entry else []
        return "\n".join(lines)

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        parts = [f"<h4>{escape(self.path)}</h4>", _paragraphs((*self.layout, "Columns:", *self.columns))]
        for one in self.seen:
            parts.append(f"<h5>{escape(one.what)} ({one.sure})</h5>{_paragraphs(facts(one))}")
            parts.append(svg(one.log) if one.log is not None else "")
            parts.append(_paragraphs(one.why))
            parts.append(f"<pre>{escape(one.key)}: {escape(one.entry)}</pre>" if one.entry else "")
        return "".join(parts)


def look(path: str | Path, *, headings: Mapping[str, str] | None = None) -> Sight:
    """Return what a file holds and how it would be read; no review folder is needed.

    Parameters
    ----------
    path : str or pathlib.Path
    headings : mapping of str to str, optional
        As in a review file: what headings of one's own meters mean.

    Raises
    ------
    LogError
        If there is no such file, or no table in it.

    Examples
    --------
    >>> sight = reviewkit.look("examples/alder/logs/drain-standby.csv")
    >>> sight.seen[0].key
    'log'
    """
    target = Path(path).absolute()
    # In a review folder the entry is to be pasted as it stands.
    folder = next((above for above in target.parents if (above / "review.yaml").is_file()), target.parent)
    name = target.relative_to(folder).as_posix()
    entry = LogBlock.model_construct(_fields_set={"path"}, path=name)
    there = reading.tables_of(entry, folder=folder, headings=headings)
    found = tuple(one for quantity in QUANTITIES for one in [_seen(entry, quantity, there)] if one)
    return Sight(str(path), tuple(map(_layout, there)), _columns(there[0]), found)


def _seen(entry: LogBlock, quantity: Quantity, there: list[Source]) -> Seen | None:
    try:
        found = reading.find_in(there, entry, quantity)
        log = reading.read_found(found, quantity)
    except LogError as fault:
        return _asked(entry, quantity, there, fault)
    faults = tuple(fault.message for fault in possible(log, entry))
    if faults:
        return Seen(
            quantity,
            log,
            f"a {column_errors.QUANTITIES[quantity]}",
            "asks",
            _pasted(faults[0]),
            _KEYS[quantity],
            faults,
        )
    what, key = _role(log)
    heading = headers.parse(found.source.layout.headings[found.chosen.value])
    doubts = tuple(
        note
        for note in log.report.notes
        if "taken" in note or "was known by" in note or "was read as" in note
    )
    sure = "sure" if heading.unit and heading.kinds and not doubts else "likely"
    return Seen(quantity, log, what, sure, entry.path, key, tuple(log.report.sentences()))


def _asked(entry: LogBlock, quantity: Quantity, there: list[Source], fault: LogError) -> Seen | None:
    """Return what stands in the way of a quantity that the file does seem to hold."""
    words = {"V": "voltage", "A": "current", "degC": "temperature"}[quantity]
    named = any(
        words
        in (heading := headers.parse(name)).kinds - ({"temperature"} if heading.kinds & {"time"} else set())
        or heading.unit_kind == quantity
        for one in there
        for name in (*one.layout.headings, *one.layout.heading_cells)
    )
    headed = any(any(one.layout.headings) for one in there)
    if not named and (headed or quantity == "degC"):
        return None
    return Seen(
        quantity,
        None,
        f"a {column_errors.QUANTITIES[quantity]}",
        "asks",
        _pasted(fault.message),
        _KEYS[quantity],
        (fault.message,),
    )


_KEYS = {"V": "voltage", "A": "current", "degC": "temperature"}


def _pasted(message: str) -> str:
    found = re.search(r"\{path: .*?\}(?=\.)", message)
    return found[0] if found else ""


def _role(log: Log) -> tuple[str, str]:
    """Return what a log looks like, and under which key of a review file it would stand."""
    readings = log.series.dropna().to_numpy(dtype=float)
    middle, high = float(np.median(readings)), float(np.quantile(np.abs(readings), 0.95))
    if log.quantity == "degC":
        return "a temperature", "temperature"
    if log.quantity == "V":
        if _CELL_V[0] <= middle <= _CELL_V[1]:
            return "a cell's voltage", "voltage"
        return ("a port's voltage", "source_voltage") if middle > _CELL_V[1] else ("a voltage", "voltage")
    if high < _DRAIN_A:
        return "the drain of a device at rest", "log"
    # At rest, before and after, it may have any sign: what flows most tells which way.
    if float(np.sum(readings[np.abs(readings) > high / 2])) < 0:
        return "a current out of the cell, or a charge with the leads swapped", "current"
    return "a charge current", "current"


def _layout(one: Source) -> str:
    layout = one.layout
    mark = f", {_MARKS[layout.delimiter]} between the cells" if layout.delimiter in _MARKS else ""
    where = (
        f"Sheet '{one.sheet}'"
        if one.sheet
        else {"text": "Text", "Parquet": "Parquet"}.get(one.kind, one.kind)
    )
    heads = (
        f"headings in row {one.line + layout.heading_row + 1}"
        if layout.heading_row is not None
        else "no headings"
    )
    data = f", data from row {one.line + layout.first_row + 1}" if one.kind != "Parquet" else ""
    return f"{where}{mark}: {layout.width} columns, {heads}{data}."


def _columns(one: Source) -> tuple[str, ...]:
    layout, told = one.layout, []
    for column in range(layout.width):
        heading = headers.parse(layout.headings[column])
        meant = ", ".join(sorted(heading.kinds - {"plain", "since"})) or layout.kind(column)
        unit = heading.unit or layout.units[column]
        three = ", ".join(cell[:24] for cell in layout.cells_of(column, 3)) or "empty"
        named = layout.headings[column] or "(no heading)"
        told.append(f"{column + 1}  {named}: {three}  [{meant}{f' in {unit}' if unit else ''}]")
    return tuple(told)


def facts(one: Seen) -> tuple[str, ...]:
    """Return how many readings there are, from what to what, over how long, by which clock."""
    log = one.log
    if log is None:
        return ()
    readings = log.series.dropna().to_numpy(dtype=float)
    low, high = (
        formatting.quantity(float(edge), None, log.quantity) for edge in (readings.min(), readings.max())
    )
    length = formatting.quantity(float(log.time_s[-1] - log.time_s[0]), None, "s")
    clock = (
        f", from {log.started:%Y-%m-%d %H:%M:%S}"
        if log.started
        else ", no clock"
        if log.time_of_day_s is None
        else ", a time of day"
    )
    report = log.report
    return (
        f"{len(log.series)} readings in {report.unit}, {low} to {high}",
        f"{length} long{clock}; one reading each {report.interval_s:.4g} s; "
        f"{len(report.gaps)} gaps, {report.overloads} marks of overload",
    )


def _bins(log: Log, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return lowest and highest reading of even stretches of time, NaN where there is none."""
    series = log.series.dropna()
    time_s, values = series.index.to_numpy(dtype=float), series.to_numpy(dtype=float)
    at = np.minimum(((time_s - time_s[0]) / max(float(np.ptp(time_s)), 1e-9) * count).astype(int), count - 1)
    low, high = np.full(count, np.nan), np.full(count, np.nan)
    np.fmin.at(low, at, values)
    np.fmax.at(high, at, values)
    return low, high


def spark(log: Log) -> str:
    """Return a log's course in one line of text; a blank where there is no reading."""
    low, high = _bins(log, _WIDE)
    middle = (low + high) / 2
    least, span = float(np.nanmin(middle)), float(np.nanmax(middle) - np.nanmin(middle))
    return "".join(
        " " if np.isnan(value) else _BARS[round((value - least) / span * (len(_BARS) - 1)) if span else 0]
        for value in middle
    )


def svg(log: Log) -> str:
    """Return a log's course as a small picture: the lowest and highest readings of each stretch."""
    low, high = _bins(log, 5 * _WIDE)
    known = np.flatnonzero(~np.isnan(low))
    least, span = float(np.nanmin(low)), max(float(np.nanmax(high) - np.nanmin(low)), 1e-12)
    bottom, top = (_HIGH * (1 - (edge - least) / span) for edge in (low, high))
    lines = "".join(f"M{at} {bottom[at]:.1f}V{top[at] - 0.5:.1f}" for at in known)
    return (
        f'<svg viewBox="0 -2 {5 * _WIDE} {_HIGH + 4}" width="{10 * _WIDE}" height="{2 * _HIGH}" role="img" '
        f'aria-label="course of the {column_errors.QUANTITIES[log.quantity]}">'
        f'<path d="{lines}" stroke="currentColor" fill="none"/></svg>'
    )


def _indented(lines: tuple[str, ...]) -> list[str]:
    return [f"    {line}" for line in lines]


def _paragraphs(lines: tuple[str, ...]) -> str:
    return f"<p>{'<br>'.join(map(escape, lines))}</p>" if lines else ""
