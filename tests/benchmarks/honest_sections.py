"""How honest readout, drain, comparison, budgets and sentences are, each figure beside what it was before.

    python tests/benchmarks/honest_sections.py

Prints what the studies found the last time that they were run with `--write`: `readout_honest.py`,
`drain_kinds.py`, `compared.py`, `budgets.py` and `stated_numbers.py`. Each says what is wanted, what it was,
and what it is. `notebooks/worked_checks.ipynb` shows the same table.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

STORED = Path(__file__).resolve().parents[1] / "published" / "honest_sections.json"
ROW = ("what", "wanted", "before", "now")


def share(held: int, given: int) -> str:
    """Return how many of how many, and what per cent that is."""
    return f"{held} of {given} ({100 * held / given:.1f} %)" if given else "none given"


def store(study: str, command: str, rows: Iterable[tuple[str, str, str, str]]) -> None:
    """Keep what a study found, in place of what it had found before.

    Parameters
    ----------
    study : str
        What it is about.
    command : str
        What runs it again.
    rows : iterable of (what, wanted, before, now)
    """
    known = json.loads(STORED.read_text(encoding="utf-8")) if STORED.is_file() else {}
    known[study] = {"command": command, "rows": [dict(zip(ROW, row, strict=True)) for row in rows]}
    text = json.dumps(dict(sorted(known.items())), indent=1, ensure_ascii=False)
    STORED.write_text(text + "\n", encoding="utf-8", newline="\n")


def main() -> None:
    """Print the table."""
    for study, known in json.loads(STORED.read_text(encoding="utf-8")).items():
        print(f"\n{study}: {known['command']}")
        print(f"  {'':64}{'wanted':16}{'before':28}now")
        for row in known["rows"]:
            print(f"  {row['what']:64}{row['wanted']:16}{row['before']:28}{row['now']}")


if __name__ == "__main__":
    main()
