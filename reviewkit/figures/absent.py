"""In place of a chart for which nothing was measured: a sentence that says so."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Absent:
    """Why there is no chart here.

    Parameters
    ----------
    why : str
        A sentence.
    """

    why: str

    def _repr_markdown_(self) -> str:
        return f"*No chart: {self.why[:1].lower()}{self.why[1:]}*"

    def __repr__(self) -> str:
        return f"No chart: {self.why}"
