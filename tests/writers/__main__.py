"""Prints how every style is read: `python -m tests.writers [--first]`; status 1 where one is read wrong."""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

from . import STYLES, judge, truth


def main() -> int:
    """Print a line for each style and quantity, then the counts."""
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as room:
        for at, style in enumerate(STYLES):
            t = truth(style.interval_s)
            place = Path(room) / f"log{at}{style.suffix}"
            place.write_bytes(style.write(t))
            for quantity in style.holds:
                found = judge(place, quantity, t, step_s=style.step_s, told=style.told)
                counts[found.what] += 1
                tail = "" if found.what == "bare" else " | ".join(found.said)[:400]
                print(f"{found.what:8} {quantity} {style.name:60} {tail}", flush=True)
    total = counts.total()
    shares = ", ".join(
        f"{name} {count} ({100 * count / total:.0f} %)" for name, count in counts.most_common()
    )
    print(f"{len(STYLES)} styles, {total} quantities: {shares}")
    return 1 if counts["wrong"] else 0


if __name__ == "__main__":
    sys.exit(main())
