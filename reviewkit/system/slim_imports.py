"""Imports of large libraries without the parts of them that the kit has no use for."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

SCHEMA_EXTRAS = ("rfc3987_syntax",)
"""A grammar of web addresses that the notebook format's checker loads, and never asks: most of its import."""

_held: Counter[str] = Counter()
_lock = Lock()


@contextmanager
def without(*modules: str) -> Iterator[None]:
    """Import what stands in the block as if these optional modules were not installed.

    What has been imported before stays as it is, and afterwards each can be imported as usual. Several
    threads may be in such blocks at once.

    Parameters
    ----------
    *modules : str
    """
    with _lock:
        held = [name for name in modules if name in _held or name not in sys.modules]
        _held.update(held)
        for name in held:
            # Python's own way of saying that there is no such module.
            sys.modules[name] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        with _lock:
            _held.subtract(held)
            for name in held:
                if not _held[name]:
                    del _held[name]
                    sys.modules.pop(name, None)
