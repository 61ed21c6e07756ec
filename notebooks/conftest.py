"""How the notebooks' stored outputs are compared with what a run shows."""

from __future__ import annotations

from typing import Any

NOT_STORED = (
    "application/vnd.plotly.v1+json",
    "application/vnd.reviewkit.chart+json",
    "application/vnd.reviewkit.findings+json",
    "application/vnd.reviewkit.page+json",
    "application/vnd.reviewkit.part+json",
)
"""What a cell shows beside its text and its table: heavy, and compared by other tests."""

WHOLE_REVIEWS = ("review_a_device.ipynb", "compare_two_devices.ipynb")
DIGITS = r"\d[\d.,\u202f]*"
"""Of whole reviews the words, units, verdicts are compared; other tests hold the numbers to their truth."""


def pytest_collectstart(collector: Any) -> None:
    """Tell the comparison what differs from machine to machine."""
    if not hasattr(collector, "skip_compare"):
        return
    collector.skip_compare += NOT_STORED
    if collector.path.name in WHOLE_REVIEWS:
        collector.sanitize_patterns[DIGITS] = "#"
