"""Templates compiled once: kept where Python keeps the modules that it has compiled."""

from __future__ import annotations

import hashlib
import sys
from contextlib import suppress
from importlib.util import cache_from_source
from pathlib import Path

import jinja2
from jinja2.bccache import Bucket


class Compiled(jinja2.FileSystemBytecodeCache):
    """Keeps the compiled templates of an environment; to compile one takes longer than to fill it in.

    Each is compiled again where its source, the module that makes the environment, or Jinja is another one.

    Parameters
    ----------
    module : str
        The file of the module that makes the environment; they are kept in its ``__pycache__``.
    """

    def __init__(self, module: str) -> None:
        super().__init__(str(Path(cache_from_source(module)).parent), "%s.jinja")
        self._made_by = hashlib.sha256(Path(module).read_bytes()).hexdigest() + jinja2.__version__

    def get_source_checksum(self, source: str) -> str:
        """Return what a template compiled before must have been compiled from."""
        return super().get_source_checksum(self._made_by + source)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep one; where nothing can be written, it is compiled again the next time, as a module is."""
        if not sys.dont_write_bytecode:
            with suppress(OSError):
                super().dump_bytecode(bucket)
