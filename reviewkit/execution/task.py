"""A notebook to execute and how its execution ended: plain data that can travel between processes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

CELL_LIMIT_S = 900.0
NOTEBOOK_LIMIT_S = 3600.0
PRINTED_LIMIT = 10_000_000
GRACE_S = 10.0


@dataclass(frozen=True)
class Task:
    """One notebook to execute.

    Parameters
    ----------
    template : pathlib.Path
    values : mapping
        Values of the parameters that the template declares, none else.
    folder : pathlib.Path
        The working directory of its cells.
    cell_limit_s, notebook_limit_s : float [s]
        Longest that one cell, and all of them together, may take.
    printed_limit : int
        Most characters that its cells may print; what they display is not counted.
    grace_s : float [s]
        How long a cell that is to stop may take to do so.
    words : tuple of pathlib.Path
        Template folders whose wording comes before the kit's own.
    """

    template: Path
    values: Mapping[str, Any]
    folder: Path
    cell_limit_s: float = CELL_LIMIT_S
    notebook_limit_s: float = NOTEBOOK_LIMIT_S
    printed_limit: int = PRINTED_LIMIT
    grace_s: float = GRACE_S
    words: tuple[Path, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """How the execution ended.

    Parameters
    ----------
    notebook : str
        The executed notebook as its file would hold it, whole or up to the cell that failed; with
        everything in it that must not be published (`reviewkit.privacy.notebook`).
    message : str
        Empty if it went well; else what failed, in a line fit to publish.
    input_faults : tuple of str
        Messages about the review folder; empty if the fault is not the input's.
    detail : str
        For whoever mends the template: the error as Python tells it. Never published.
    """

    notebook: str = field(repr=False)
    message: str = ""
    input_faults: tuple[str, ...] = ()
    detail: str = field(default="", repr=False)

    @property
    def ok(self) -> bool:
        """Whether all cells ran."""
        return not self.message
