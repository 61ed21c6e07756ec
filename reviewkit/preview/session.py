"""A preview from its start to its end: watches the folder, has its pages made, shows them."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import watchfiles

from reviewkit.errors import InputError
from reviewkit.execution import forkserver
from reviewkit.preview.build import Builder, look
from reviewkit.preview.server import Address, Board, serving
from reviewkit.schema import instruments
from reviewkit.system import disk
from reviewkit.tables import keys

_QUIET_MS = 30
"""Without a further change before pages are made. Chosen: an editor writes a file within less."""
_LONGEST_MS = 200
"""Chosen: changes that never pause are shown all the same."""
_LOOK_MS = 1000
"""How often the folder is looked through, should its file system report nothing. Chosen: bearable."""
_SETTLE_S = 0.25
"""A fault is shown once nothing has changed for so long: a file half written is none. Chosen."""
_TRIES = 4


@contextmanager
def opened(
    folder: Path,
    *,
    port: int = 0,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
) -> Iterator[tuple[Address, Callable[[], None]]]:
    """Hold a preview; nothing of it is left when it ends.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    port : int
        0: any that is free.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them.

    Yields
    ------
    tuple of (Address, callable)
        Where it is; and what shows the folder's changes until it is interrupted.

    Raises
    ------
    InputError
        If there is no such folder, or the port is taken.
    """
    if not folder.is_dir():
        raise InputError("no such folder", file=str(folder))
    with disk.temporary_folder() as path, forkserver.serving():
        builder = Builder(folder, path, templates, only_templates)
        board = Board(keys.published_name(folder.resolve()))
        address, end = serving(board, port)
        try:
            yield (
                address,
                lambda: _follow(builder, board, [*map(Path, templates), *map(Path, only_templates)]),
            )
        finally:
            end()


def _follow(builder: Builder, board: Board, more: Iterable[Path]) -> None:
    watched = (builder.folder, *more, *instruments.places(builder.folder))
    seen = look(watched)
    _show(builder, board, watched)
    for _ in _changes(watched):
        now = look(watched)
        if now != seen:
            seen = now
            _show(builder, board, watched)


def _changes(watched: Iterable[Path]) -> Iterator[None]:
    """Tell that something may have changed: as the file system reports it, and once a second anyway."""
    while True:
        there = [path for path in watched if path.is_dir()]
        try:
            for _ in watchfiles.watch(
                *there,
                watch_filter=None,
                debounce=_LONGEST_MS,
                step=_QUIET_MS,
                rust_timeout=_LOOK_MS,
                yield_on_timeout=True,
                raise_interrupt=True,
            ):
                yield
                if there != [path for path in watched if path.is_dir()]:
                    break
        except OSError:
            # The folder itself has gone, or the system watches no more.
            time.sleep(_LOOK_MS / 1000)
            yield


def _show(builder: Builder, board: Board, watched: Iterable[Path]) -> None:
    """Make the pages and show them; a fault only once the folder is still."""
    for _ in range(_TRIES):
        seen = look(watched)
        state = builder.build()
        if not state.faults:
            break
        time.sleep(_SETTLE_S)
        if look(watched) == seen:
            break
    board.show(builder.state)
