"""Every number that the two example reviews state is held in `tests/golden/`; what moves is told as a table.

    python tests/golden.py                      tells what has moved
    python tests/golden.py --accept "reason"    holds what has moved as it is now, and why

A number has moved if it, an end of its interval or its uncertainty differs by more than a part of its own
stated uncertainty; a verdict, a count, a word or a yes has if it differs at all. What has not moved is held
as it was, so that many small steps add up to one that shows.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit import commands
from reviewkit.commands import verification
from reviewkit.findings import Finding, verdict_text
from reviewkit.metrology.conformity import Limit
from reviewkit.system import kit

ROOT = Path(__file__).parents[1]
DEVICES = ("alder", "birch")
FOLDER = Path(__file__).parent / "golden"
OF_UNCERTAINTY = 0.02
_FIELDS = ("key", "value", "unit", "uncertainty", "low", "high", "limit", "verdict")


@dataclass(frozen=True)
class Held:
    """A finding as it is held, and why it is held so.

    Parameters
    ----------
    finding : Finding
        Its number, interval, limit and verdict; no words.
    reason : str
    """

    finding: Finding
    reason: str


@dataclass(frozen=True)
class Move:
    """A finding that is no longer what is held.

    Parameters
    ----------
    key : str
    held : Held or None
        None where it is new.
    now : Finding or None
        None where it is gone.
    """

    key: str
    held: Held | None
    now: Finding | None

    @property
    def row(self) -> tuple[str, ...]:
        """Finding, held, now, by how many of its uncertainties, and why it was held as it was."""
        before = self.held.finding if self.held else None
        reason = self.held.reason if self.held else ""
        return self.key, told(before), told(self.now), self._distance(), reason

    def _distance(self) -> str:
        """Return the longest way that value, end or uncertainty went; empty for what is no number."""
        if self.held is None or self.now is None:
            return ""
        half = verification.half_width(self.held.finding)
        pairs = zip(numbers(self.held.finding), numbers(self.now), strict=True)
        steps = [abs(new - old) for old, new in pairs if old is not None and new is not None]
        return f"{max(steps) / half:.2g}" if half and steps and max(steps) else ""


HEADINGS = ("finding", "held", "now", "moved, in its ±", "held because")


def numbers(item: Finding) -> list[float | None]:
    """Return what of a finding can move a little: value, ends of the interval, uncertainty."""
    value = item.value
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    parts = (value if is_number else None, item.low, item.high, item.uncertainty)
    return [None if part is None else float(part) for part in parts]  # type: ignore[arg-type]


def told(item: Finding | None) -> str:
    """Return a finding as a cell of the table."""
    if item is None:
        return "—"
    items = f" {json.dumps(item.value, ensure_ascii=False)[:60]}" if isinstance(item.value, list) else ""
    ends = [f"{end:.6g}" if end is not None else "" for end in (item.low, item.high)]
    interval = f" [{'; '.join(ends)}]" if any(ends) else ""
    verdict = verdict_text(item)
    return item.text + items + interval + (f", {verdict}" if verdict and verdict != item.text else "")


def moves(held: Mapping[str, Held], of_uncertainty: float, now: Iterable[Finding]) -> list[Move]:
    """Return what differs from what is held, in the order of the review, what is gone at the end."""
    after = {item.key: item for item in now}
    changed = [
        Move(key, held.get(key), item)
        for key, item in after.items()
        if key not in held or not verification.same(held[key].finding, item, of_uncertainty=of_uncertainty)
    ]
    return changed + [Move(key, item, None) for key, item in held.items() if key not in after]


def table(changed: Sequence[Move]) -> str:
    """Return the moves as a text table."""
    rows = [HEADINGS, *(move.row for move in changed)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADINGS))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(line.rstrip() for line in lines)


def read(path: Path) -> tuple[dict[str, Held], float]:
    """Return what a file holds, and the part of its uncertainty that a number may move by."""
    if not path.exists():
        return {}, OF_UNCERTAINTY
    whole = json.loads(path.read_text(encoding="utf-8"))
    held = [Held(_finding(row), row["reason"]) for row in whole["findings"]]
    return {item.finding.key: item for item in held}, whole["may_move_by_this_part_of_its_uncertainty"]


def accept(path: Path, now: Sequence[Finding], reason: str) -> list[Move]:
    """Hold what has moved as it is now, and why; the rest stays as it is held.

    Raises
    ------
    ValueError
        If no reason is given.
    """
    if not reason.strip():
        raise ValueError("say why the numbers may move")
    held, part = read(path)
    changed = moves(held, part, now)
    kept = {key: item for key, item in held.items() if key not in {move.key for move in changed}}
    rows = [_line(kept.get(item.key) or Held(item, reason.strip())) for item in now]
    head = f'{{"may_move_by_this_part_of_its_uncertainty": {part}, "findings": [\n'
    path.write_text(head + ",\n".join(rows) + "\n]}\n", encoding="utf-8")
    return changed


def _line(item: Held) -> str:
    whole = item.finding.to_dict()
    row = {name: whole[name] for name in _FIELDS}
    return json.dumps({**row, "reason": item.reason}, ensure_ascii=False, allow_nan=False)


def _finding(row: Mapping[str, Any]) -> Finding:
    limit = Limit(**row["limit"]) if row["limit"] else None
    return Finding(**{name: row[name] for name in _FIELDS if name != "limit"}, label="", limit=limit)


def review(out: Path) -> dict[str, list[Finding]]:
    """Run both examples and return what they find, by device."""
    done = commands.run(*(ROOT / "examples" / name for name in DEVICES), out=out)
    for item in done:
        assert not item.is_draft, f"{item.place.name}: a section failed"
    return {item.review.file.folder.name: list(item.findings) for item in done}


def main(arguments: Sequence[str] | None = None) -> int:
    """Tell what has moved; with a reason, hold it."""
    parser = argparse.ArgumentParser(description="Tells which numbers of the examples have moved.")
    parser.add_argument("--accept", metavar="REASON", help="hold what has moved as it is now; say why")
    reason = parser.parse_args(arguments).accept
    with tempfile.TemporaryDirectory() as folder:
        os.environ[kit.CACHE_VARIABLE] = str(Path(folder, "kept"))
        found = review(Path(folder, "site"))
    moved = sum(_tell(name, items, reason) for name, items in found.items())
    if moved and reason is None:
        print('If they may move: python tests/golden.py --accept "why"')
    return 1 if moved and reason is None else 0


def _tell(name: str, items: Sequence[Finding], reason: str | None) -> int:
    """Print what has moved in a review, and hold it where a reason is given; return how many have."""
    path = FOLDER / f"{name}.json"
    changed = moves(*read(path), items) if reason is None else accept(path, items, reason)
    print(f"{name}: {len(items)} findings, {len(changed)} moved")
    if changed:
        print(table(changed))
    return len(changed)


if __name__ == "__main__":
    raise SystemExit(main())
