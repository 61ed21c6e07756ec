"""How often short films mislead, how far flash rates are off, how far a lamp's moments: truth known.

    python tests/benchmarks/film_timing.py --short 2000 --constants 300 --rates 300 --moments 40

`--short` draws levels of light alone, of short films that mislead; `--constants` reads them with constants
that are half or twice what they are; `--rates` those of lights that flash
evenly;
`--moments` renders films of a lamp whose light changes.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections import Counter
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from reviewkit import film
from reviewkit.film import accounts, blinks, patterns
from tests.films import draw, render, short
from tests.films.render import Light, Pulse, Scene


def short_films(count: int) -> str:
    """Return how often short films that mislead are read wrong where they are called sure."""
    sure = whole = films = 0
    wrong: list[str] = []
    for seed in range(count):
        one = short.draw(seed, quick=bool(seed % 2))
        found = film.read(film.switching(one.level), one.number)
        said = one.wrong(found)
        sure, whole, films = sure + sum(x.sure for x in found), whole + sum(one.whole), films + bool(said)
        wrong += [f"seed {seed}: {what}" for what in said]
    return "\n".join(
        [
            *wrong,
            f"of {count} short films with {whole} whole readings {sure} are called sure, {len(wrong)} wrong",
        ]
    )


CONSTANTS = (
    *((accounts, name) for name in ("FINE", "OPEN", "USUAL", "LONGEST_S", "SOONEST_S", "SPOILT")),
    *((patterns, name) for name in ("SHORTEST", "SURE_LIT", "SURE_DARK")),
    *((blinks, name) for name in ("ON", "OFF", "BUMP", "NEAR_S")),
)


def constants(count: int) -> str:
    """Return what the same films are called with each constant half as far from none, or twice."""
    drawn = [short.draw(seed) for seed in range(count)]
    lines = [f"{'constant':<12}{'half':>22}{'as it is':>22}{'twice':>22}"]
    for module, name in CONSTANTS:
        was = getattr(module, name)
        # A factor is as far from none as it is above one, a part of a whole no further than that.
        none = 1.0 if name in ("FINE", "OPEN", "SHORTEST") else 0.0
        tried = [none + by * (was - none) for by in (0.5, 1.0, 2.0)]
        said = []
        for value in tried:
            setattr(module, name, max(1, round(value)) if isinstance(was, int) else value)
            found = [film.read(film.switching(one.level), one.number) for one in drawn]
            sure = sum(reading.sure for readings in found for reading in readings)
            wrong = sum(len(one.wrong(readings)) for one, readings in zip(drawn, found, strict=True))
            said.append(f"{sure} sure, {wrong} wrong")
        setattr(module, name, was)
        lines.append(f"{name:<12}" + "".join(f"{one:>22}" for one in said))
    return "\n".join(lines)


def rates(count: int) -> str:
    """Return how far rates of even flashes are off, and whether what is said of them holds."""
    told: Counter[str] = Counter()
    for seed in range(count):
        rng = np.random.default_rng([seed, 17])
        rate_Hz, duty = float(np.exp(rng.uniform(math.log(0.4), math.log(20)))), float(rng.uniform(0.2, 0.8))
        filmed = float(draw.RATES[int(rng.integers(len(draw.RATES)))])
        length_s = float(rng.uniform(5, 20))
        begins = np.arange(float(rng.uniform(0.3, 1)), length_s, 1 / rate_Hz)
        pulses = tuple(Pulse(float(one), duty / rate_Hz) for one in begins)
        light = Light(0.5, 0.5, 0.01, "white", 1.0, pulses)
        seen = film.flashing(film.switching(short.seen(rng, light, short.times(rng, filmed, length_s))))
        if seen.rate is not None:
            off = abs(seen.rate.value - rate_Hz)
            told["told"] += 1
            told["within 1 %"] += off <= 0.01 * rate_Hz
            told["within what is stated"] += off <= seen.rate.expanded
            image = abs(seen.image_Hz - rate_Hz) <= 0.02 * rate_Hz
            told["neither, nor its image"] += off > max(0.01 * rate_Hz, seen.rate.expanded) and not image
        elif seen.at_least_Hz is not None:
            told["bounded"] += 1
            told["bounded wrongly"] += seen.at_least_Hz > 1.01 * rate_Hz
        else:
            told[seen.kind] += 1
    return f"of {count} lights that flash evenly: " + ", ".join(f"{what} {told[what]}" for what in told)


def lamp_moments(count: int) -> str:
    """Return by how many pictures the moments of a lamp are off."""
    off: list[float] = []
    missed = invented = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(count):
            rng = np.random.default_rng([seed, 19])
            at_s = np.cumsum(rng.uniform(0.9, 2.0, 4))
            levels = [0.05, *np.exp(rng.uniform(math.log(0.06), 0, 4))]
            levels = [one if abs(one / two - 1) > 0.3 else 1.6 * one for two, one in pairwise([9.0, *levels])]

            def room(time_s: float, at_s: Any = at_s, levels: Any = levels) -> float:
                return float(levels[int(np.searchsorted(at_s, time_s, side="right"))])

            rate = draw.RATES[int(rng.integers(len(draw.RATES)))]
            filmed = Scene(320, 180, rate, "libx264", float(at_s[-1]) + 1, (), seed, room=room, shake=0.0005)
            path = Path(folder) / "lamp.mp4"
            render.render(filmed, path)
            times = np.array(render.times(filmed))
            step_s = float(np.median(np.diff(times)))
            found = [one.time_s for one in film.moments(film.look_at(path))]
            real = [
                float(one)
                for one, (a, b) in zip(at_s, pairwise(levels), strict=True)
                if abs(a - b) > 0.15 * max(a, b)
            ]
            near = [min((abs(one - other) for other in found), default=9.0) / step_s for one in real]
            off += [one for one in near if one * step_s < 0.4]
            missed += sum(one * step_s >= 0.4 for one in near)
            invented += sum(min(abs(one - other) for other in at_s) > 0.4 for one in found)
    within = sum(one <= 2 for one in off)
    return (
        f"of {len(off) + missed} changes of a lamp in {count} films {len(off)} are found, {within} within "
        f"two pictures, the furthest {max(off, default=0):.1f} off; {invented} invented"
    )


def main() -> None:
    """Try what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    tried = {"short": short_films, "constants": constants, "rates": rates, "moments": lamp_moments}
    for name in tried:
        parser.add_argument(f"--{name}", type=int, default=0)
    for name, count in vars(parser.parse_args()).items():
        if count:
            print(tried[name](count))


if __name__ == "__main__":
    main()
