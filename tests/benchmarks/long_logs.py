"""What a long charge costs beside pandas alone: read, put on one clock, cut into phases, findings computed.

A simulated charge is logged by two meters in very many rows. The whole analysis takes turns with
`pandas.read_csv` of the two files as it is called by default; the ratio is the median over the pairs. Memory
is what each of them adds, in a process of its own, to what the process uses after its imports: the kernel's
high-water mark, set back before. Prints a table, with how many findings hold the truth; asserts nothing.

    python tests/benchmarks/long_logs.py [--rows 300000 3000000] [--pairs 7]
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2] / "examples"))

from simulate.meters import LoggingMeter
from simulate.scenario import Scenario
from simulate.styles import STYLES

from reviewkit import charge
from reviewkit.charge.findings import ChargeFindings

LENGTH_S = 30_000.0
LOGS = ("logs/voltage.csv", "logs/current.csv")
SPELLINGS = ("seconds", "moment")
LIMITS = {300_000: 1.5}
"""Rows of each log, and how much of pandas' time the whole analysis may take."""

MOST_MEMORY = 1.4
_THREADS = "mode.max_threads"


@dataclass(frozen=True)
class Cost:
    """What the whole analysis costs beside reading the same two files with pandas.

    Parameters
    ----------
    rows : int
        Of each log.
    spelling : str
        Of the time stamps.
    kit_s, pandas_s : float [s]
        Medians.
    ratio, ratio_cpu : float
        Medians over the pairs: of the time that passed, and of processor time.
    ratio_one_thread : float
        The same, of the time that passed, with pandas held to one thread.
    memory : float
        Ratio of the memory that the two take at most.
    kit_MB, pandas_MB : float
    """

    rows: int
    spelling: str
    kit_s: float
    pandas_s: float
    ratio: float
    ratio_cpu: float
    ratio_one_thread: float
    memory: float
    kit_MB: float
    pandas_MB: float


def write(folder: Path, rows: int, spelling: str = "seconds") -> dict[str, float]:
    """Write both logs of a simulated charge, and return the truth by the findings' names."""
    every_s = LENGTH_S / rows
    style = {"time_decimals": 3, "spelling": spelling}
    style |= {} if spelling == "seconds" else {"time_heading": "Time"}
    bench = Scenario(
        voltmeter=LoggingMeter(
            percent=0.05, counts=2, error_share=0.3, noise=0.35e-3, interval_s=every_s, clock_offset_s=-8.3
        ),
        ammeter=LoggingMeter(
            percent=0.5, counts=3, error_share=-0.4, noise=0.5e-3, interval_s=every_s, clock_offset_s=34.6
        ),
        voltage_style=replace(STYLES["plain"], **style),
        current_style=replace(STYLES["plain current"], **style),
        before_s=300.0,
        plugged_s=LENGTH_S - 4000.0,
        after_s=3700.0,
    )
    done = bench.run()
    done.write_logs(folder, voltage=LOGS[0], current=LOGS[1])
    return {name: known for name, known in done.known().items() if isinstance(known, float)}


def analysed(folder: Path) -> ChargeFindings:
    """Return the findings of the charge."""
    inputs = charge.inputs(
        cell={"rated_capacity_Ah": 3.0},
        voltmeter={"accuracy": "±(0.05 % + 2)", "resolution": 0.001},
        ammeter={"accuracy": "±(0.5 % + 3)", "resolution": 0.001, "burden_ohm": 0.03, "leads_ohm": 0.02},
        charge_runs=[{"source": "wall adapter", "voltage": LOGS[0], "current": LOGS[1]}],
    )
    return charge.analyse(charge.read(inputs, folder=folder), cell=inputs.cell).findings()


def with_pandas(folder: Path) -> list[pd.DataFrame]:
    """Return both logs as pandas reads them by itself."""
    return [pd.read_csv(folder / name) for name in LOGS]


def _timed(work: Callable[[Path], object], folder: Path) -> tuple[float, float]:
    wall, cpu = time.perf_counter(), time.process_time()
    work(folder)
    return time.perf_counter() - wall, time.process_time() - cpu


def _one_thread(folder: Path) -> list[pd.DataFrame]:
    try:
        with pd.option_context(_THREADS, 1):
            return with_pandas(folder)
    except pd.errors.OptionError:  # reads in one thread anyway
        return with_pandas(folder)


def times(folder: Path, *, pairs: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return passed and processor time [s] of the kit, of pandas, of pandas in one thread: (pairs, 2)."""
    works = (analysed, with_pandas, _one_thread)
    for work in works:
        work(folder)
    taken = [[_timed(work, folder) for work in works] for _ in range(pairs)]
    kit, other, single = np.swapaxes(np.array(taken), 0, 1)
    return kit, other, single


_MEASURED = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import long_logs
from scipy import optimize, special
print(long_logs.added_MB(getattr(long_logs, sys.argv[2]), Path(sys.argv[3])))
"""


def _most_MB() -> float:
    """Return the most memory that this process has used so far [MB]."""
    status = Path("/proc/self/status")
    if status.exists():
        return int(re.search(r"VmHWM:\s*(\d+)", status.read_text())[1]) * 1.024e-3  # type: ignore[index]
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (
        1e-6 if sys.platform == "darwin" else 1.024e-3
    )


def added_MB(work: Callable[[Path], object], folder: Path) -> float:
    """Return by how much the most memory in use grows in this process while something is done once [MB]."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")  # forgets what the imports needed for a moment
    before = _most_MB()
    kept = work(folder)
    return _most_MB() - before if kept is not None else 0.0


def memory_MB(folder: Path, work: str) -> float:
    """Return the memory that `analysed` or `with_pandas` takes at most, in a process of its own [MB]."""
    command = [sys.executable, "-c", _MEASURED, str(Path(__file__).parent), work, str(folder)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def cost(folder: Path, *, rows: int, spelling: str, pairs: int) -> Cost:
    """Return what the analysis of the logs in a folder costs."""
    kit, other, single = times(folder, pairs=pairs)
    used, taken = memory_MB(folder, "analysed"), memory_MB(folder, "with_pandas")
    return Cost(
        rows,
        spelling,
        float(median(kit[:, 0])),
        float(median(other[:, 0])),
        float(median(kit[:, 0] / other[:, 0])),
        float(median(kit[:, 1] / other[:, 1])),
        float(median(kit[:, 0] / single[:, 0])),
        used / taken,
        used,
        taken,
    )


def held(found: ChargeFindings, known: dict[str, float]) -> tuple[int, int]:
    """Return how many findings hold the truth in their interval, and how many have one to hold."""
    right = [
        abs(float(item.value) - known[name]) <= item.uncertainty
        for item in found
        if (name := item.key.removeprefix("charge.")) in known
        and isinstance(item.value, float)
        and item.uncertainty
    ]
    return sum(right), len(right)


def table(*, rows: Iterable[int], pairs: int) -> Iterator[tuple[Cost, tuple[int, int]]]:
    """Give cost, and findings that hold the truth, for logs of each length and spelling."""
    for count in rows:
        for spelling in SPELLINGS:
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                known = write(folder, count, spelling)
                right = held(analysed(folder), known)
                yield cost(folder, rows=count, spelling=spelling, pairs=pairs), right


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, nargs="+", default=list(LIMITS))
    parser.add_argument("--pairs", type=int, default=7)
    chosen = parser.parse_args()
    print(
        f"{'rows a log':>10} {'stamps':<8}{'kit s':>8}{'pandas s':>10}{'ratio':>7}{'at most':>9}{'CPU':>7}"
        f"{'1 thread':>10}{'kit MB':>9}{'pandas MB':>11}{'ratio':>7}{'at most':>9}  truth held"
    )
    for one, (right, asked) in table(rows=chosen.rows, pairs=chosen.pairs):
        print(
            f"{one.rows:>10} {one.spelling:<8}{one.kit_s:>8.2f}{one.pandas_s:>10.2f}{one.ratio:>7.2f}"
            f"{LIMITS.get(one.rows, float('nan')):>9.1f}{one.ratio_cpu:>7.2f}{one.ratio_one_thread:>10.2f}"
            f"{one.kit_MB:>9.0f}{one.pandas_MB:>11.0f}{one.memory:>7.2f}{MOST_MEMORY:>9.1f}"
            f"  {right} of {asked}",
            flush=True,
        )


if __name__ == "__main__":
    main()
