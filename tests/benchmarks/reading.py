"""How long the reader of logs takes beside pandas' own, for plain two-column logs.

Both read the same file in turn; the ratio is the median over the pairs. Prints a table; asserts nothing.

    python tests/benchmarks/reading.py [--rows 300000 3000000] [--pairs 7]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path
from statistics import median

import numpy as np
import pandas as pd

from reviewkit import logs

SPELLINGS = {
    "seconds": "",
    "2025-03-01 21:05:00.100": "%Y-%m-%d %H:%M:%S.%f",
    "21:05:00.100": "%H:%M:%S.%f",
    "01.03.2025 21:05:00.100": "%d.%m.%Y %H:%M:%S.%f",
}
"""Time columns, as they look and as `strftime` writes them."""


def write(place: Path, rows: int, spelling: str) -> None:
    """Write a log of ten readings a second."""
    count = np.arange(rows)
    if spelling:
        moments = pd.Timestamp("2025-03-01 21:05") + pd.to_timedelta(count * 100, unit="ms")
        times = moments.strftime(spelling).str[:-3]
    else:
        times = pd.Index([f"{second:.1f}" for second in count / 10])
    readings = 3.5 + count % 700 / 1000
    with place.open("w", encoding="utf-8") as opened:
        opened.write(f"{'Time' if spelling else 'Time (s)'},Voltage (V)\n")
        opened.writelines(f"{at},{volts:.3f}\n" for at, volts in zip(times, readings, strict=True))


def pairs(place: Path, count: int) -> list[tuple[float, float]]:
    """Return times taken [s], the kit's and pandas', after one reading that counts for nothing."""
    logs.read(place.name, "V", folder=place.parent)
    taken = []
    for _ in range(count):
        start = time.perf_counter()
        logs.read(place.name, "V", folder=place.parent)
        between = time.perf_counter()
        pd.read_csv(place)
        taken.append((between - start, time.perf_counter() - between))
    return taken


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, nargs="+", default=[300_000, 3_000_000])
    parser.add_argument("--pairs", type=int, default=7)
    chosen = parser.parse_args()
    print(f"{'time column':<26}{'rows':>10}{'kit s':>9}{'pandas s':>10}{'ratio':>8}")
    with tempfile.TemporaryDirectory() as folder:
        for rows in chosen.rows:
            for name, spelling in SPELLINGS.items():
                place = Path(folder) / "log.csv"
                write(place, rows, spelling)
                own, other = zip(*(taken := pairs(place, chosen.pairs)), strict=True)
                ratio = median(one / two for one, two in taken)
                print(
                    f"{name:<26}{rows:>10}{median(own):>9.2f}{median(other):>10.2f}{ratio:>8.2f}", flush=True
                )


if __name__ == "__main__":
    main()
