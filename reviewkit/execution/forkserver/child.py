"""What a forked child does: it takes on a process of its own, runs one notebook and leaves the outcome."""

from __future__ import annotations

import ctypes
import importlib
import os
import random
import resource
import signal
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from reviewkit.execution import papermill_run
from reviewkit.execution.forkserver import engine, exchange

_STRAY = "stray"
_MEMORY_SHARE = 0.6
_PARENT_DIED = 1  # PR_SET_PDEATHSIG of Linux's prctl


def run(scratch: Path, server: int) -> int:
    """Run the task, or make the call, that lies in the folder.

    Parameters
    ----------
    scratch : pathlib.Path
        Holds the task or the call; gets the outcome or the answer.
    server : int
        The process that forked this one.

    Returns
    -------
    int
        What the process is to end with.
    """
    _settle(scratch, server)
    call = exchange.read_call(scratch)
    if call is not None:
        exchange.write_answer(scratch, _answer(*call))
        return exchange.DONE
    task = exchange.read_task(scratch)
    os.chdir(task.folder)
    try:
        outcome = papermill_run.run(task, scratch, engine_name=engine.NAME, grace_s=task.grace_s)
    except engine.NeedsKernel:
        return exchange.NEEDS_KERNEL
    if (scratch / _STRAY).stat().st_size:
        # Something wrote past Python's own streams; a kernel of its own takes that into the notebook.
        return exchange.NEEDS_KERNEL
    exchange.write_outcome(scratch, outcome)
    return exchange.DONE


def _answer(function: str, argument: Mapping[str, Any]) -> Any:
    module, _, name = function.partition(":")
    # Asked by the kit for what is the kit's.
    if module.partition(".")[0] != __name__.partition(".")[0]:
        raise ValueError(function)
    return getattr(importlib.import_module(module), name)(**argument)


def _settle(scratch: Path, server: int) -> None:
    """Become a process of its own: group, streams, memory, chance; it dies with the server."""
    os.setsid()
    ctypes.CDLL(None).prctl(_PARENT_DIED, signal.SIGKILL)
    if os.getppid() != server:
        # The server ended before this process could ask to end with it.
        os._exit(exchange.FAULT)
    stray = os.open(scratch / _STRAY, os.O_WRONLY | os.O_CREAT, 0o600)
    nothing = os.open(os.devnull, os.O_RDONLY)
    for own, number in ((nothing, 0), (stray, 1), (stray, 2)):
        os.dup2(own, number)
    _limit_memory()
    random.seed()
    np.random.seed()


def _limit_memory() -> None:
    """Have a notebook that fills the memory fail by itself, before the machine does."""
    most = int(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") * _MEMORY_SHARE)
    resource.setrlimit(resource.RLIMIT_DATA, (most, most))
