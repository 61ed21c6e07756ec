"""A bar that tells which section has just been done."""

from __future__ import annotations

from typing import Any

from reviewkit.pipeline.runner import Progress


class Bar(Progress):
    """Shown where there is a terminal to show it on."""

    def __init__(self) -> None:
        self._bar: Any = None

    def start(self, total: int) -> None:
        """Show the empty bar."""
        from tqdm import tqdm

        layout = "{l_bar}{bar}| {n_fmt} of {total_fmt} [{elapsed}]"
        self._bar = tqdm(total=total, desc="starting", leave=False, disable=None, bar_format=layout)

    def done(self, review: str, title: str) -> None:
        """Name the section that has ended; the last one takes the bar away."""
        self._bar.set_description(f"{review}: {title}")
        self._bar.update()
        if self._bar.n >= self._bar.total:
            self._bar.close()
