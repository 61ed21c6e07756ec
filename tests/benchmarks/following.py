"""What following a charge costs: the share of one core at a row a second, and memory over twelve hours.

Rows of two logs are written as two meters would, each second one row, the clock is the simulation's own. For
ten minutes at the first, the sixth and the twelfth hour the logs are looked at as `reviewkit follow` does;
in between less often. Prints processor time over time followed, and memory after each stretch.
"""

from __future__ import annotations

import resource
import tempfile
import time
from pathlib import Path

import numpy as np

from reviewkit.bench_day import follow

HOURS, STRETCH_S, LOOK_S = 12, 600, 5
_METERS = """\
device: {name: Alder, sample: invented}
cell: {chemistry: NMC, rated_capacity_Ah: 5.0, charge_limit_V: 4.2}
voltmeter: {accuracy: "±(0.5 % + 2)", resolution: 1 mV}
ammeter: {accuracy: "±(1.0 % + 3)", resolution: 1 mA, burden_ohm: 0.03}
charge_runs: [{voltage: logs/v.csv, current: logs/i.csv}]
"""


def resident_MB() -> float:
    """Return the memory that the process has now [MB]; where the system tells no more, the most it had."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(one for one in status.read_text().splitlines() if one.startswith("VmRSS"))
        return float(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def course(at_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return an invented charge: nine hours at 0.5 A, then a fall of 40 min."""
    since = np.clip(at_s - 300.0, 0.0, None)
    amps = np.where(at_s < 300, 0.0, 0.5 * np.exp(-np.clip(since - 9 * 3600, 0, None) / 2400))
    volts = np.minimum(3.4 + 0.75 * since / (9 * 3600), 4.15) + 0.1 * amps
    return volts, amps


def main() -> None:
    """Follow twelve hours and print what it took."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "logs").mkdir()
        (folder / "review.yaml").write_text(_METERS, encoding="utf-8")
        rng = np.random.default_rng(1)
        now = [0.0]
        began_s = time.time() - HOURS * 3600 - 60
        follow.light()
        following = follow.follower(folder, clock=lambda: began_s + now[0])
        usual_s = following._read_every_s
        files = [(folder / "logs" / "v.csv").open("a"), (folder / "logs" / "i.csv").open("a")]
        files[0].write("Time (s),Voltage (V)\n")
        files[1].write("Time (s),Current (A)\n")
        print(f"loaded: {resident_MB():.0f} MB")

        def step(until_s: float) -> float:
            rows = np.arange(now[0], until_s)
            for file, values in zip(files, course(rows), strict=True):
                noisy = np.round(values + 4e-4 * rng.standard_normal(len(rows)), 3)
                file.writelines(f"{at:.0f},{value:.3f}\n" for at, value in zip(rows, noisy, strict=True))
                file.flush()
            now[0] = until_s
            began = time.process_time()
            following.poll()
            return time.process_time() - began

        for hour in (1, 6, HOURS):
            following._read_every_s = 1200.0
            while now[0] < hour * 3600 - STRETCH_S:
                step(now[0] + 60)
            following._read_every_s = usual_s
            took = sum(step(now[0] + LOOK_S) for _ in range(STRETCH_S // LOOK_S))
            print(
                f"hour {hour:2}: {100 * took / STRETCH_S:.2f} % of a core, {resident_MB():.0f} MB, most "
                f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB"
            )


if __name__ == "__main__":
    main()
