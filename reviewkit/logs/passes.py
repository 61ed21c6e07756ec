"""Several quantities of one long file, read in one pass."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar

from reviewkit.errors import LogError
from reviewkit.logs import columns
from reviewkit.logs.log import Quantity
from reviewkit.logs.raw import Columns
from reviewkit.logs.source import Source
from reviewkit.schema.blocks import LogBlock


class _Pass:
    """What is going to be read, and what has been read already."""

    def __init__(self, entries: Iterable[tuple[LogBlock, Quantity]]) -> None:
        self.entries = list(entries)
        self.loaded: dict[str, Columns | None] = {}


_CURRENT: ContextVar[_Pass | None] = ContextVar("one pass", default=None)


@contextmanager
def one_pass(entries: Iterable[tuple[LogBlock, Quantity]]) -> Iterator[None]:
    """Read a file that several entries name once for all of them, as long as this context lasts.

    Parameters
    ----------
    entries : iterable of (LogBlock, Quantity)
        The logs that are going to be read.
    """
    token = _CURRENT.set(_Pass(entries))
    try:
        yield
    finally:
        _CURRENT.reset(token)


def load_quickly(opened: Source, chosen: columns.Chosen) -> Columns | None:
    """Return the columns chosen, with those that other entries of the file ask for; None as `Source` does."""
    current = _CURRENT.get()
    if current is None or sum(entry.path == opened.file for entry, _ in current.entries) < 2:
        return opened.load_quickly(chosen.positions)
    if opened.file not in current.loaded:
        wanted = set(chosen.positions)
        for entry, quantity in current.entries:
            # What is at fault in another entry is told when that one is read.
            with suppress(LogError):
                same = entry.path == opened.file
                wanted |= set(columns.choose(opened.layout, entry, quantity).positions) if same else set()
        current.loaded[opened.file] = opened.load_quickly(sorted(wanted))
    found = current.loaded[opened.file]
    known = set() if found is None else {*found.frame.columns, *found.moments}
    return found if set(chosen.positions) <= known else opened.load_quickly(chosen.positions)
