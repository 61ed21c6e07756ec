"""Where the time of one device's run from nothing goes, as a picture: who does what, and when.

A lane for the command itself, one for the server that loads the libraries, one for each notebook: its child
forked and at work with papermill, its cells run. The figures behind it are printed.

    python tests/benchmarks/cold_run.py [--device examples/alder] [--picture cold-run.svg]
"""

from __future__ import annotations

import argparse
import html
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
LEFT, RIGHT, WIDE, LANE = 110, 20, 900, 34
COLOURS = {
    "loads": "#8a7fb5",
    "reads": "#c9a227",
    "forked": "#9db8c9",
    "cells": "#2f6690",
    "collects": "#6b8f71",
    "renders": "#b3543e",
    "packs": "#7a5c45",
    "into place": "#555555",
}
"""What is done, each in a colour of its own; each is also named below."""
DONE_BY = {
    "reviewkit.pipeline.loading:read": "reads",
    "reviewkit.pipeline.results:write_notebook": "collects",
    "reviewkit.pipeline.harvest:write_findings": "collects",
    "reviewkit.publishing.site:write_sections": "renders",
    "reviewkit.publishing.site:write_index": "renders",
    "reviewkit.publishing.site:write_list": "renders",
    "reviewkit.commands.pages:_write_shared_picture": "renders",
    "reviewkit.publishing.evidence:write": "packs",
    "reviewkit.publishing.atomic:put": "into place",
}


@dataclass(frozen=True)
class Stretch:
    """What one of them does for a while, in seconds from the command's start."""

    lane: str
    what: str
    start_s: float
    end_s: float


def _traced(out: str, device: str, begun: float) -> None:
    """Run a device in this process and print its stretches; the process was started for it."""
    found: list[Stretch] = []

    def noted(lane: str, what: str, start: float) -> None:
        found.append(Stretch(lane, what, start - begun, time.time() - begun))

    from reviewkit import cli

    _watch_notebooks(noted, found, begun)
    start = time.time()
    from reviewkit.commands import pages, reviews  # noqa: F401

    noted("command", "loads", start)
    for name, what in DONE_BY.items():
        _watch(name, what, noted)
    cli.main(["run", device, "-o", out, "--stay-ready", "0"], standalone_mode=False)
    noted("command", "whole", begun)
    print(json.dumps([asdict(one) for one in found]))


def _watch(name: str, what: str, noted: Callable[[str, str, float], None]) -> None:
    import importlib

    module_name, _, function = name.partition(":")
    module = importlib.import_module(module_name)
    real = getattr(module, function)

    def watched(*arguments: Any, **options: Any) -> Any:
        start = time.time()
        try:
            return real(*arguments, **options)
        finally:
            noted("command", what, start)

    setattr(module, function, watched)


def _watch_notebooks(noted: Callable[[str, str, float], None], found: list[Stretch], begun: float) -> None:
    """Take the time of each notebook: asked for until answered, and its cells as papermill notes them."""
    from reviewkit.execution import forkserver

    real = forkserver.execute

    def watched(task: Any) -> Any:
        start = time.time()
        outcome = real(task)
        noted(task.template.stem, "forked", start)
        cells = json.loads(outcome.notebook)["cells"] if outcome else ()
        times = [cell["metadata"].get("papermill", {}) for cell in cells]
        ran = [(one["start_time"], one["end_time"]) for one in times if one.get("start_time")]
        if ran:
            first, last = (
                datetime.fromisoformat(text).timestamp() - begun for text in (ran[0][0], ran[-1][1])
            )
            found.append(Stretch(task.template.stem, "cells", first, last))
        return outcome

    forkserver.execute = watched


def _server_loads() -> float:
    """Return how long the server takes to load what any section needs [s]."""
    start = time.perf_counter()
    command = [sys.executable, "-c", "from reviewkit.execution import forked; forked.load_most()"]
    subprocess.run(command, check=True)
    return time.perf_counter() - start


def measured(device: Path) -> list[Stretch]:
    """Run a device from nothing in a process of its own; return what was done, and when."""
    with tempfile.TemporaryDirectory() as place:
        own = {**os.environ, "REVIEWKIT_CACHE": f"{place}/kept"}
        command = [sys.executable, __file__, "--traced", f"{place}/site", "--device", str(device)]
        told = subprocess.run(command, env=own, check=True, capture_output=True, text=True)
        found = [Stretch(**item) for item in json.loads(told.stdout.splitlines()[-1])]
    begun = min(one.start_s for one in found if one.what == "loads")
    # It is started before the command loads what it needs itself; taken where nothing is loaded beside it.
    return [*found, Stretch("server", "loads", begun, begun + _server_loads())]


def picture(found: list[Stretch]) -> str:
    """Return the stretches as SVG: time from left to right, one lane for each who works."""
    lanes = list(dict.fromkeys(["command", "server", *(one.lane for one in found)]))
    end_s = max(one.end_s for one in found)
    scale = (WIDE - LEFT - RIGHT) / end_s
    high = LANE * (len(lanes) + 2) + 30
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {high}" '
        'font-family="sans-serif" font-size="13">',
        f'<rect width="{WIDE}" height="{high}" fill="#ffffff"/>',
        *(f'<text x="8" y="{LANE * row + 24}">{html.escape(lane)}</text>' for row, lane in enumerate(lanes)),
    ]
    for one in sorted(found, key=lambda one: one.what == "cells"):
        if one.what in COLOURS:
            x, y = LEFT + scale * one.start_s, LANE * lanes.index(one.lane) + 8
            wide = max(1.0, scale * (one.end_s - one.start_s))
            parts.append(
                f'<rect x="{x:.1f}" y="{y}" width="{wide:.1f}" height="{LANE - 12}" '
                f'fill="{COLOURS[one.what]}"/>'
            )
    return "\n".join([*parts, *_scale(end_s, scale, len(lanes)), *_legend(len(lanes)), "</svg>\n"])


def _scale(end_s: float, scale: float, lanes: int) -> Iterator[str]:
    bottom = LANE * lanes + 8
    yield f'<path d="M{LEFT} {bottom}H{WIDE - RIGHT}" stroke="#000000"/>'
    step = next(step for step in (0.25, 0.5, 1, 2, 5, 10, 20) if end_s / step <= 12)
    for number in range(int(end_s / step) + 1):
        x = LEFT + scale * step * number
        yield f'<path d="M{x:.1f} {bottom}v5" stroke="#000000"/>'
        yield f'<text x="{x:.1f}" y="{bottom + 20}" text-anchor="middle">{step * number:g} s</text>'


def _legend(lanes: int) -> Iterator[str]:
    for number, (what, colour) in enumerate(COLOURS.items()):
        x, y = LEFT + 95 * number, LANE * (lanes + 1) + 14
        yield f'<rect x="{x}" y="{y}" width="12" height="12" fill="{colour}"/>'
        yield f'<text x="{x + 17}" y="{y + 11}">{what}</text>'


def main() -> None:
    """Print the figures and write the picture."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--device", type=Path, default=ROOT / "examples" / "alder")
    parser.add_argument("--picture", type=Path, default=Path("cold-run.svg"))
    parser.add_argument("--traced", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.traced:
        _traced(given.traced, str(given.device), _BEGUN)
        return
    found = measured(given.device)
    for one in sorted(found, key=lambda one: one.start_s):
        print(f"{one.lane:<12}{one.what:<12}{one.start_s:>7.2f} s … {one.end_s:>6.2f} s")
    given.picture.write_text(picture(found), encoding="utf-8")
    print(given.picture)


_BEGUN = time.time()

if __name__ == "__main__":
    main()
