"""A look at files before there is a review."""

from __future__ import annotations

from pathlib import Path

from reviewkit.errors import InputError
from reviewkit.logs import Sight, look


def look_at(*paths: str | Path) -> tuple[tuple[Sight, ...], tuple[InputError, ...]]:
    """Return what files hold and how they would be read, and the faults of those that show nothing.

    Parameters
    ----------
    paths : str or pathlib.Path
        Files of meters and loggers, anywhere.
    """
    sights: list[Sight] = []
    faults: list[InputError] = []
    for path in paths:
        try:
            sights.append(look(path))
        except InputError as fault:
            faults.append(fault)
    return tuple(sights), tuple(faults)
