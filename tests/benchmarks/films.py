"""How often what a film tells is right: films drawn at random, whose truth is known, read and compared.

    python tests/benchmarks/films.py --films 40 --seed 1 [--minutes 30] [--write FILE]

Odd seeds are for reporting; what the reader's constants were chosen on had even ones. Films are rendered by
`tests/films`, which shares no code with the reader. No film of a real lamp is among them: see its README.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from reviewkit import film
from tests.films import draw, render

RULE = 2
"""Groups of a reading: volts and tenths."""


@dataclass
class Outcome:
    """What became of the readings of one film."""

    seed: int
    difficulty: str
    filmed: str
    readings: int
    sure: int = 0
    sure_wrong: int = 0
    right: int = 0
    invented: int = 0
    missed: int = 0
    blinks: int = 0
    late: int = 0
    outside: int = 0
    why: dict[str, int] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)


def outcome(seed: int, drawn: draw.Drawn, path: Path) -> Outcome:
    """Render a film, read it and compare."""
    scene = drawn.scene
    render.render(scene, path)
    named = f"{scene.codec} {scene.width}x{scene.height} {float(scene.rate):.4g}/s {scene.length_s:.0f} s"
    result = Outcome(seed, drawn.difficulty, named, len(drawn.counts))
    switched = film.switching(film.measure(film.track(film.look_at(path), drawn.middle)))
    compare(result, drawn, film.read(switched, RULE), switched.level.interval_s)
    return result


def compare(result: Outcome, drawn: draw.Drawn, found: Iterable[film.Reading], interval_s: float) -> None:
    """Count what was read right, wrong, not at all."""
    left = dict(enumerate(drawn.pulses))
    why: Counter[str] = Counter()
    for reading in found:
        near = [
            one
            for one, pulses in left.items()
            if pulses[0].start_s - 0.5 < reading.start_s < pulses[-1].end_s
        ]
        truth = drawn.counts[near[0]] if near else None
        pulses = left.pop(near[0]) if near else ()
        right = truth == reading.counts
        result.invented += not near
        result.right += right
        result.sure += reading.sure
        why.update(reading.why)
        if reading.sure and not right:
            result.sure_wrong += 1
            result.wrong.append(f"{reading.start_s:.2f} s: {reading.pattern}, truth {truth}")
        if reading.sure and right:
            timing(result, reading, pulses, interval_s)
    result.missed, result.why = len(left), dict(why)


def timing(result: Outcome, reading: film.Reading, pulses: Iterable[Any], interval_s: float) -> None:
    """Count blinks whose start is off by more than a picture interval, and lengths outside their bounds."""
    for blink, pulse in zip(reading.blinks, pulses, strict=True):
        result.blinks += 1
        result.late += abs(blink.start_s - pulse.start_s) > interval_s
        result.outside += abs(blink.length_s - pulse.length_s) > blink.length_half_s


def table(results: list[Outcome]) -> str:
    """Return what there is to say about the films, kind by kind."""
    columns = ("films", "readings", "sure", "wrong", "right", "missed", "late")
    lines = [f"{'planted':<16}{''.join(f'{one:>9}' for one in columns)}  why"]
    kinds = sorted({one.difficulty for one in results})
    rows = [(kind or "nothing", [one for one in results if one.difficulty == kind]) for kind in kinds]
    rows += [("any of them", [one for one in results if one.difficulty]), ("all", results)]
    for name, some in rows:
        if not some:
            continue
        total = sum(one.readings for one in some)
        why: Counter[str] = Counter()
        for one in some:
            why.update(one.why)
        figures = (
            *(f"{len(some)}", f"{total}", f"{sum(one.sure for one in some) / total:.1%}"),
            *(f"{sum(one.sure_wrong for one in some)}", f"{sum(one.right for one in some) / total:.1%}"),
            *(f"{sum(one.missed for one in some)}", f"{sum(one.late for one in some)}"),
        )
        said = ", ".join(f"{word} {count}" for word, count in why.most_common(4))
        lines.append(f"{name:<16}{''.join(f'{one:>9}' for one in figures)}  {said}")
    sure, wrong = sum(one.sure for one in results), sum(one.sure_wrong for one in results)
    blinks = sum(one.blinks for one in results)
    lines.append(
        f"of {sure} readings called sure, {sure - wrong} are right: {(sure - wrong) / max(1, sure):.3%}"
    )
    lines.append(
        f"of {blinks} blinks in them, {sum(one.late for one in results)} start more than a picture interval "
        f"off, {sum(one.outside for one in results)} have lengths outside their bounds"
    )
    return "\n".join(lines)


def main() -> None:
    """Read films until there are as many as asked for, or the time is up."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--films", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--planted", choices=[*draw.DIFFICULTIES, "nothing"])
    parser.add_argument("--write", type=Path)
    asked = parser.parse_args()
    results: list[Outcome] = []
    until = time.monotonic() + 60 * asked.minutes
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(asked.seed, asked.seed + 2 * asked.films, 2):
            if time.monotonic() > until:
                break
            planted = None if asked.planted is None else asked.planted.replace("nothing", "")
            drawn = draw.draw(seed, difficulty=planted)
            path = Path(folder) / ("film.mp4" if drawn.scene.codec == "libx264" else "film.webm")
            results.append(outcome(seed, drawn, path))
            done = results[-1]
            print(
                f"{seed} {done.difficulty or '-'}, {done.filmed}: sure {done.sure}, wrong {done.sure_wrong}, "
                f"missed {done.missed} {done.why or ''} {done.wrong or ''}",
                file=sys.stderr,
                flush=True,
            )
            if asked.write:
                asked.write.write_text(
                    json.dumps([asdict(one) for one in results], indent=1), encoding="utf-8"
                )
    print(table(results))


if __name__ == "__main__":
    main()
