"""Changes at random to a review that is not written yet, and its folder."""

from __future__ import annotations

import io
from contextlib import suppress
from pathlib import Path
from random import Random
from typing import Any

import openpyxl
import pyarrow as pa
import pyarrow.parquet
import yaml
from fuzz.valid_reviews import NAMES, Review, Rows

_NUMBERS = (
    0,
    1,
    0.5,
    2,
    1e-9,
    1e-6,
    0.001,
    10,
    100,
    3.7,
    4.2,
    1e6,
    -1,
    "1 mV",
    "5 nV",
    "500 uA",
    "10 min",
    "0.1 %",
)
_TEXTS = (*NAMES, "", "gapless", "LFP", "yes, I mean it", "volts", "nearest")
_CELLS = ("", "OL", "0", "-0.000", "1", "9999", "-1", "1e-9", "nix", "0.001", "4.2")


def change(draw: Random, review: Review) -> None:
    """Make none to four changes to values and rows."""
    for _ in range(draw.choice([0, 1, 1, 2, 3, 4])):
        if review.tables and draw.random() < 0.65:
            path = draw.choice([*review.tables])
            _ROWS[draw.randrange(len(_ROWS))](draw, review.tables[path])
        else:
            _value(draw, review.values)


def _value(draw: Random, values: dict[str, Any]) -> None:
    """Change one value: another of its kind, a factor, none, or without its key."""
    spots = list(_leaves(values))
    holder, key = draw.choice(spots)
    old = holder[key]
    how = draw.random()
    if how < 0.15 and isinstance(holder, dict) and len(holder) > 1:
        del holder[key]
    elif isinstance(old, bool) or old is None:
        holder[key] = draw.choice([True, False, None])
    elif isinstance(old, int | float):
        holder[key] = old * draw.choice([0.1, 0.5, 0.9, 1.1, 2, 10]) if how < 0.6 else draw.choice(_NUMBERS)
    elif "/" not in str(old) and not str(old).endswith((".csv", ".xlsx")):
        holder[key] = draw.choice(_NUMBERS if how < 0.4 else _TEXTS)


def _leaves(node: Any) -> Any:
    for key, value in list(node.items() if isinstance(node, dict) else enumerate(node)):
        if isinstance(value, dict | list):
            yield from _leaves(value)
        else:
            yield node, key


def _cell(draw: Random, rows: Rows) -> None:
    row = draw.choice(rows[1:] or rows)
    row[draw.randrange(len(row))] = draw.choice(_CELLS)


def _stretch(draw: Random, rows: Rows) -> None:
    """A stretch of a column reads one thing: overload, nothing, zero, one of its values."""
    start, end = _part(draw, rows)
    column = draw.randrange(1, len(rows[0])) if len(rows[0]) > 1 else 0
    held = draw.choice(["OL", "", "0", rows[start][column] if start < len(rows) else "1"])
    for row in rows[start:end]:
        row[column] = held


def _scaled(draw: Random, rows: Rows) -> None:
    """A stretch of a column is larger or smaller, or of the other sign."""
    start, end = _part(draw, rows)
    column = draw.randrange(1, len(rows[0])) if len(rows[0]) > 1 else 0
    factor = draw.choice([0, 0.01, 0.5, 0.98, 1.02, 2, 10, -1])
    for row in rows[start:end]:
        with suppress(ValueError):
            row[column] = f"{float(row[column]) * factor:.6f}"


def _cut(draw: Random, rows: Rows) -> None:
    start, end = _part(draw, rows)
    del rows[start:end]


def _kept(draw: Random, rows: Rows) -> None:
    start, end = _part(draw, rows)
    rows[1:] = rows[start:end]


def _doubled(draw: Random, rows: Rows) -> None:
    start, end = _part(draw, rows)
    rows[end:end] = [list(row) for row in rows[start:end][:50]]


def _turned(draw: Random, rows: Rows) -> None:
    """A stretch the other way round, its times kept in order."""
    start, end = _part(draw, rows)
    back = [row[1:] for row in rows[start:end]][::-1]
    rows[start:end] = [[row[0], *rest] for row, rest in zip(rows[start:end], back, strict=True)]


def _thinned(draw: Random, rows: Rows) -> None:
    rows[1:] = rows[1 :: draw.choice([2, 3, 7])]


def _noisy(draw: Random, rows: Rows) -> None:
    """Noise on a stretch of numbers."""
    start, end = _part(draw, rows)
    column = draw.randrange(1, len(rows[0])) if len(rows[0]) > 1 else 0
    size = draw.choice([0.001, 0.03, 0.3])
    for row in rows[start:end]:
        with suppress(ValueError):
            row[column] = f"{float(row[column]) * draw.gauss(1, size):.7f}"


_ROWS = (_cell, _cell, _stretch, _scaled, _cut, _kept, _doubled, _turned, _thinned, _noisy)


def _part(draw: Random, rows: Rows) -> tuple[int, int]:
    ends = sorted((draw.randint(1, len(rows)), draw.randint(1, len(rows))))
    return ends[0], ends[1]


def write(review: Review, folder: Path) -> None:
    """Write the folder."""
    (folder / "logs").mkdir(parents=True)
    text = yaml.safe_dump(review.values, allow_unicode=True, sort_keys=False)
    (folder / "review.yaml").write_text(text, encoding="utf-8")
    for path, rows in review.tables.items():
        (folder / path).write_bytes(_WRITERS[path.rpartition(".")[2]](rows))
    for link in review.links:
        # Where links may be made at all.
        with suppress(OSError):
            (folder / link).symlink_to("nobody@nowhere.1234")


def _csv(rows: Rows) -> bytes:
    return "".join(",".join(_quoted(cell) for cell in row) + "\n" for row in rows).encode()


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if set(cell) & set(',"\n') else cell


def _xlsx(rows: Rows) -> bytes:
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("Sheet")
    for row in rows:
        sheet.append([_number(cell) for cell in row])
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def _number(cell: str) -> float | str | None:
    try:
        return float(cell)
    except ValueError:
        # A formula's sign would make it one.
        return cell.lstrip("=") or None


def _parquet(rows: Rows) -> bytes:
    columns = [list(column) for column in zip(*rows[1:], strict=True)] or [[] for _ in rows[0]]
    held = io.BytesIO()
    arrays = [pa.array(_typed(column)) for column in columns]
    pa.parquet.write_table(pa.table(dict(zip(rows[0], arrays, strict=True))), held)
    return held.getvalue()


def _typed(column: list[str]) -> list[float | None] | list[str]:
    try:
        return [None if cell in ("", "OL") else float(cell) for cell in column]
    except ValueError:
        return column


_WRITERS = {"csv": _csv, "xlsx": _xlsx, "parquet": _parquet}
