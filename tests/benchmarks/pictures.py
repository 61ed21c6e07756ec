"""What the pictures of a review cost: time a chart and its bytes, time a still, against plotly's own check.

    python tests/benchmarks/pictures.py

Prints medians over the charts of both example devices, in processor time.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import plotly.graph_objects as go
import yaml

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "examples")]

from shown_sections import SECTIONS, shown  # noqa: E402

from reviewkit.drawing.picture import WIDTHS, picture  # noqa: E402
from reviewkit.figures.chart import Chart  # noqa: E402
from reviewkit.publishing import png, stills  # noqa: E402

_TIMES = 5


def charts() -> list[Chart]:
    """Return all charts of both example devices."""
    found = []
    for name in ("alder", "birch"):
        folder = ROOT / "examples" / name
        values = yaml.safe_load((folder / "review.yaml").read_text(encoding="utf-8"))
        found += [one for part in SECTIONS for one in shown(part, values, folder) if isinstance(one, Chart)]
    return found


def least_ms(work: Callable[[], object]) -> float:
    """Return the shortest processor time of a few tries [ms]."""
    taken = []
    for _ in range(_TIMES):
        start = time.process_time()
        work()
        taken.append(1e3 * (time.process_time() - start))
    return min(taken)


def main() -> None:
    """Print the table."""
    drawn = charts()
    plain = [(chart, chart.figure.to_plotly_json()) for chart in drawn]
    both = [
        least_ms(lambda one=one: [picture(one, width=room) for room in WIDTHS.values()]) for _, one in plain
    ]
    checked = [least_ms(lambda one=one: go.Figure(one)) for _, one in plain]
    sizes = [sum(len(one.for_page.encode()) for one in chart.pictures().values()) for chart in drawn]
    source = stills.Source("Alder", "Invented data.")
    width, _ = stills.chart_size(380)
    svgs = [
        stills.chart_picture(chart.question, chart.answer, picture(one, width=width), source, "light")
        for chart, one in plain
    ]
    still = [least_ms(lambda svg=svg: png.drawn(svg, stills.WIDTH)) for svg in svgs]
    print(f"{len(drawn)} charts")
    for name, values, unit in (
        ("both pictures", both, "ms"),
        ("plotly's check of the same figure", checked, "ms"),
        ("both pictures", [size / 1000 for size in sizes], "kB"),
        ("a still of 1920 × 1080", still, "ms"),
    ):
        print(f"{name:36} median {statistics.median(values):6.1f} {unit}, most {max(values):6.1f} {unit}")
    print(f"pictures over plotly's check: {statistics.median(both) / statistics.median(checked):.2f}")


if __name__ == "__main__":
    main()
