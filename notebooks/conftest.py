"""How the notebooks' stored outputs are compared with what a run shows."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest
from filelock import FileLock

NOT_STORED = (
    "application/vnd.plotly.v1+json",
    "application/vnd.reviewkit.chart+json",
    "application/vnd.reviewkit.findings+json",
    "application/vnd.reviewkit.page+json",
    "application/vnd.reviewkit.part+json",
    "image/png",
    "image/svg+xml",
)
"""What a cell shows beside its text and its table: heavy, and compared by other tests."""

WHOLE_REVIEWS = (
    *("bench_day.ipynb", "compare_two_devices.ipynb"),
    *("first_review.ipynb", "review_a_device.ipynb"),
)
FILM_READER = "read_a_film.ipynb"
DIGITS = r"\d[\d.,\u202f]*"
"""Of whole reviews the words, units, verdicts are compared; other tests hold the numbers to their truth."""

_HERE = hashlib.sha256(str(Path(__file__).parent).encode()).hexdigest()[:12]
_turn = FileLock(Path(tempfile.gettempdir()) / f"reviewkit-notebooks-{_HERE}.lock")
"""Both publish into one folder, which takes one run at a time; tests run in several processes."""


def _render() -> None:
    import make_film

    with FileLock(Path(tempfile.gettempdir()) / f"reviewkit-film-{_HERE}.lock"):
        if not (make_film.HERE / "films" / "readout.mp4").is_file():
            make_film.make()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item, nextitem: pytest.Item | None) -> Generator[None, Any, Any]:
    """Hold the folder from a notebook's first cell to its last; a film that one reads is rendered for it."""
    if item.path.name == FILM_READER:
        _render()
    if item.path.name in WHOLE_REVIEWS and not _turn.is_locked:
        _turn.acquire()
    done = yield
    if _turn.is_locked and (nextitem is None or nextitem.path != item.path):
        _turn.release()
    return done


def pytest_collectstart(collector: Any) -> None:
    """Tell the comparison what differs from machine to machine."""
    if not hasattr(collector, "skip_compare"):
        return
    collector.skip_compare += NOT_STORED
    if collector.path.name in WHOLE_REVIEWS:
        collector.sanitize_patterns[DIGITS] = "#"
