"""How often what a film tells is right: films drawn at random, whose truth is known, read and compared.

    python tests/benchmarks/films.py --films 40 --seed 1 [--minutes 30] [--write FILE]

Each film is written to FILE when it has been read, with a mark of the program that read it; a later run goes
on where one was stopped and counts what the same program has read. One film in thirty has 720 rows and one in
thirty 1080, the others 360: those cost nine times as much.

Odd seeds are for reporting; what the reader's constants were chosen on had even ones. Films are rendered by
`tests/films`, which shares no code with the reader. No film of a real lamp is among them: see its README.
"""

from __future__ import annotations

import argparse
import hashlib
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

ROOT = Path(__file__).resolve().parents[2]
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
    unsaid: int = 0
    outside: int = 0
    why: dict[str, int] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    program: str = ""


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
        off_s = abs(blink.start_s - pulse.start_s)
        result.late += bool(off_s > interval_s)
        result.unsaid += bool(off_s > max(interval_s, blink.start_half_s))
        result.outside += bool(abs(blink.length_s - pulse.length_s) > blink.length_half_s)


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
        f"off, {sum(one.unsaid for one in results)} of these outside their bounds; "
        f"{sum(one.outside for one in results)} have lengths outside theirs"
    )
    return "\n".join(lines)


READERS = ("accounts", "blinks", "decode", "difficulties", "level", "patterns", "tracking")


def program() -> str:
    """Return a mark of what reads, and of what draws."""
    parts = [ROOT / "reviewkit" / "film" / f"{one}.py" for one in READERS]
    parts += sorted((ROOT / "tests" / "films").glob("*.py"))
    return hashlib.sha256(b"".join(one.read_bytes() for one in parts)).hexdigest()[:12]


def kept(path: Path | None) -> list[Outcome]:
    """Return what this program has read before."""
    lines = path.read_text(encoding="utf-8").splitlines() if path and path.exists() else []
    return [one for one in (Outcome(**json.loads(line)) for line in lines) if one.program == program()]


def study(films: int, seed: int, minutes: float, planted: str | None, write: Path | None) -> list[Outcome]:
    """Read films until there are as many as asked for, or the time is up; one seed after the other."""
    results, until = kept(write), time.monotonic() + 60 * minutes
    known = {one.seed for one in results}
    mark = program()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(seed, seed + 2 * films, 2):
            if time.monotonic() > until:
                break
            if number in known:
                continue
            drawn = draw.draw(number, difficulty=planted)
            path = Path(folder) / ("film.mp4" if drawn.scene.codec == "libx264" else "film.webm")
            done = outcome(number, drawn, path)
            done.program = mark
            results.append(done)
            said = f"{done.sure} sure, {done.sure_wrong} wrong, {done.missed} missed"
            about = f"{number} {done.difficulty or '-'}, {done.filmed}"
            print(f"{about}: {said} {done.why or ''} {done.wrong or ''}", file=sys.stderr, flush=True)
            if write:
                with write.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(done)) + "\n")
    return results


def main() -> None:
    """Read films until there are as many as asked for, or the time is up."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--films", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--planted", choices=[*draw.DIFFICULTIES, "nothing"])
    parser.add_argument("--write", type=Path)
    asked = parser.parse_args()
    planted = None if asked.planted is None else asked.planted.replace("nothing", "")
    print(table(study(asked.films, asked.seed, asked.minutes, planted, asked.write)))


if __name__ == "__main__":
    main()
