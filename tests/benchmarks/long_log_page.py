"""The page of a charge logged in very many rows beside that of the same charge in few.

Both logs are Alder's charge at even steps, each of its readings held until the next one and shaken by the
meters' last digit. Weighs the two pages, opens them in turn in headless Chromium, each time in a context of
its own, and scrolls through all charts. Prints the weights, the times and the ratio of the medians; asserts
nothing.

    python tests/benchmarks/long_log_page.py [--rows 300000] [--few 3000] [--pairs 7]
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from reviewkit import logs

ALDER = Path(__file__).resolve().parents[2] / "examples" / "alder"
LOGS: dict[str, tuple[logs.Quantity, str, str]] = {
    "voltage": ("V", "Voltage (V)", "logs/charge-overnight-voltage.csv"),
    "current": ("A", "Current (A)", "logs/charge-overnight-current.csv"),
}
STEP = 0.001
"""Last digit of both meters [V, A]."""
MOST_BYTES, MOST_RATIO = 300_000, 1.1
_ALL_DRAWN = """async () => {
    for (const plot of document.querySelectorAll(".plot")) {
        plot.scrollIntoView();
        while (!plot.classList.contains("drawn")) await new Promise(requestAnimationFrame);
    }
    return performance.now();
}"""


@dataclass(frozen=True)
class Weight:
    """A page and what it cost to make.

    Parameters
    ----------
    page : pathlib.Path
    size_bytes : int
        Without the script that all pages share.
    notebook_bytes : int
        The published notebook behind it.
    run_s : float [s]
        The whole command, from nothing.
    """

    page: Path
    size_bytes: int
    notebook_bytes: int
    run_s: float


def write_review(folder: Path, rows: int) -> None:
    """Write a review of one charge whose logs have that many rows each."""
    given = yaml.safe_load((ALDER / "review.yaml").read_text(encoding="utf-8"))
    kept = {name: given[name] for name in ("device", "review", "cell", "voltmeter", "ammeter")}
    kept["review"].pop("video", None)
    run = {"source": "wall adapter"}
    rng = np.random.default_rng(rows)
    folder.mkdir(parents=True)
    for name, (quantity, heading, path) in LOGS.items():
        series = logs.read(path, quantity, folder=ALDER).series.dropna()
        own = series.index.to_numpy() - series.index[0]
        moments = np.linspace(0.0, own[-1], rows)
        held = series.to_numpy()[np.searchsorted(own, moments, side="right") - 1]
        shown = np.round((held + STEP * rng.uniform(-1, 1, rows)) / STEP) * STEP
        lines = (f"{at:.3f},{value:.3f}\n" for at, value in zip(moments, shown, strict=True))
        (folder / f"{name}.csv").write_text(f"Time (s),{heading}\n" + "".join(lines), encoding="utf-8")
        run[name] = f"{name}.csv"
    content = {**kept, "charge_runs": [run]}
    (folder / "review.yaml").write_text(yaml.safe_dump(content, allow_unicode=True), encoding="utf-8")


def published(folder: Path, rows: int) -> Weight:
    """Write a review of that many rows under `folder`, publish it there and weigh its charge page."""
    review = folder / f"rows-{rows}"
    write_review(review, rows)
    start = time.perf_counter()
    command = [sys.executable, "-c", "from reviewkit.cli import main; main()", "run", str(review)]
    command += ["--out", str(folder / "site")]
    subprocess.run(command, check=True, cwd=folder, stdout=subprocess.DEVNULL)
    spent = time.perf_counter() - start
    place = folder / "site" / review.name
    notebook = place / "notebooks" / "charge.ipynb"
    page = place / "charge.html"
    return Weight(page, page.stat().st_size, notebook.stat().st_size, spent)


def drawn_ms(browser: Any, page: Path) -> float:
    """Return how long after it was asked for a page has drawn all of its charts, one after the other [ms]."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
    tab = context.new_page()
    tab.goto(page.as_uri())
    told = float(tab.evaluate(_ALL_DRAWN))
    context.close()
    return told


def drawing_times(pages: tuple[Path, Path], pairs: int) -> list[tuple[float, float]]:
    """Return the times of both pages [ms], pair by pair, after one pair that counts for nothing."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--disable-gpu"])
        taken = []
        for pair in range(pairs + 1):
            # Which goes first changes, so that neither is always the warmer one.
            order = pages if pair % 2 else pages[::-1]
            times = {page: drawn_ms(browser, page) for page in order}
            taken.append((times[pages[0]], times[pages[1]]))
        browser.close()
    return taken[1:]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=300_000)
    parser.add_argument("--few", type=int, default=3_000)
    parser.add_argument("--pairs", type=int, default=7)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        long, short = (published(Path(folder), rows) for rows in (given.rows, given.few))
        times = drawing_times((long.page, short.page), given.pairs)
    medians = [statistics.median(column) for column in zip(*times, strict=True)]
    print(f"{'rows':>9}{'page kB':>9}{'notebook kB':>13}{'all charts drawn ms':>21}{'command s':>11}")
    for rows, weight, median in ((given.rows, long, medians[0]), (given.few, short, medians[1])):
        print(
            f"{rows:>9}{weight.size_bytes / 1000:>9.0f}{weight.notebook_bytes / 1000:>13.0f}"
            f"{median:>21.0f}{weight.run_s:>11.1f}"
        )
    print(f"page: {long.size_bytes / MOST_BYTES:.2f} of {MOST_BYTES // 1000} kB (aim: at most 1)")
    print(f"drawn: ratio of the medians {medians[0] / medians[1]:.2f} (aim: at most {MOST_RATIO})")


if __name__ == "__main__":
    main()
