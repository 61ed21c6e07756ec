"""How quickly a film is read, and in how much memory: beside decoding it and doing nothing with its pictures.

    python tests/benchmarks/film_speed.py [--size 1920x1080] [--minutes 1] [--film FILE]

Without a film of yours, ten seconds are rendered and repeated. On a machine that does other things meanwhile,
processor time says more than the clock. "Two cores" is what two that are free allow: half of all processor
time, and no less than the thread takes that the decoder hands its pictures to.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.films import draw, long, render

ROOT = Path(__file__).resolve().parents[2]
LENGTH_S = 10.0
CRF = 18
"""Compression that makes some 15 Mbit/s of 1920x1080 at 30 pictures a second [1], as phones do: common
practice, no source."""
PARTS = {
    "decoded, nothing else": "for _ in decode.pictures(source): pass",
    "averaged to cells": "for one in decode.pictures(source): one.cells",
    "light found and read": "said = film.tell(path); print(len(said.readings), said.rows[-1][0])",
    "judged for harm": "film.harm(source)",
    "moments": "print(len(film.moments(source)))",
}
RUN = """
import sys, time
from reviewkit import film
from reviewkit.film import decode
path = sys.argv[1]
source = film.look_at(path)
clock, spent, own = time.perf_counter(), time.process_time(), time.thread_time()
{part}
print(time.perf_counter() - clock, time.process_time() - spent, time.thread_time() - own)
try:
    # What the kernel calls the most of a process may be that of the one that started it.
    print(next(float(line.split()[1]) / 1024 for line in open("/proc/self/status") if "VmHWM" in line))
except OSError:
    print("nan")
"""


def rendered(folder: Path, size: tuple[int, int], minutes: float, crf: int) -> tuple[Path, float]:
    """Return a film of a readout at 30 pictures a second, and its length [s]."""
    drawn = draw.draw(3, difficulty="", size=size, count=2)
    scene = replace(drawn.scene, rate=Fraction(30), codec="libx264", length_s=LENGTH_S, shake=0.0006, crf=crf)
    render.render(scene, folder / "short.mp4")
    times = max(1, round(60 * minutes / LENGTH_S))
    return folder / "film.mp4", times * long.repeat(folder / "short.mp4", folder / "film.mp4", times)


def main() -> None:
    """Print, part by part, how many times real time it is, and the most memory."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", default="1920x1080")
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--film", type=Path)
    parser.add_argument("--crf", type=int, default=CRF, help="how hard it is compressed")
    parser.add_argument("--only", choices=list(PARTS))
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if asked.film:
            from reviewkit import film

            path, length_s = asked.film, film.look_at(asked.film).duration_s
        else:
            wide, high = map(int, asked.size.split("x"))
            path, length_s = rendered(Path(folder), (wide, high), asked.minutes, asked.crf)
        print(f"{path.stat().st_size / length_s / 125_000:.1f} Mbit/s, {length_s:.0f} s")
        print(f"{'':24}{'clock':>9}{'a core':>9}{'two cores':>11}{'memory':>10}")
        for name, part in PARTS.items():
            if asked.only in (None, name):
                code = [sys.executable, "-c", RUN.format(part=part), str(path)]
                done = subprocess.run(code, cwd=ROOT, check=True, capture_output=True, text=True)
                *said, clock, most = done.stdout.splitlines()
                shares = [length_s / float(one) for one in clock.split()]
                shares.append(min(2 * shares[1], shares[2]))
                figures = f"{shares[0]:>8.1f}×{shares[1]:>8.1f}×{shares[3]:>10.1f}×{float(most):>7.0f} MB"
                print(f"{name:24}{figures}  {' '.join(said)}", flush=True)


if __name__ == "__main__":
    main()
