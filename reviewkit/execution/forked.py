"""The server: loads the libraries, then forks a child for each notebook it is asked to run.

A program, started by `reviewkit.execution.forkserver`. Each connection brings one task or call, and is where
its child answers; or it brings none and tells, for as long as it is open, that a client is there. When a
client goes, its children are killed. When no client has come for a while, the server ends.
"""

from __future__ import annotations

import ctypes
import gc
import importlib
import multiprocessing
import os
import random
import resource
import shutil
import signal
import socket
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from reviewkit.execution import forkserver
from reviewkit.execution.papermill_run import Task
from reviewkit.system import disk, kit

_THREADED = ("polars",)
"""Libraries that start threads when imported: a child imports them where it needs them. pyarrow is not one:
its only thread is its allocator's, which jemalloc sees through a fork."""

_UNUSED = ("black", "debugpy", "dask", "distributed", "xarray", "sparse")
"""What others import where it is installed: to lay out, to debug, to recognise as an array."""

_MOST = (
    *("numpy", "pandas", "scipy.special", "pydantic", "plotly.graph_objs._figure", "plotly.io"),
    *("uncertainties", "nbformat", "papermill", "jinja2", "reviewkit.findings.compiled"),
    *("IPython.core.interactiveshell", "IPython.core.crashhandler", "IPython.core.oinspect", "psutil"),
    *("ipykernel.inprocess.ipkernel", "ipykernel.debugger", "tornado.platform.asyncio"),
    *(f"reviewkit.{name}" for name in ("charge", "readout", "drain", "ui_states", "summary", "figures")),
    *("reviewkit.comparison", "reviewkit.execution.kernel", "reviewkit.figures.chart"),
    *("reviewkit.figures.marks", "reviewkit.drawing.picture", "pyarrow.pandas_compat"),
)
"""What every section needs, or more than one."""

_REST = ("scipy.optimize", "scipy.interpolate", "networkx")
"""What one section alone needs: its child can load that itself, beside the others."""


def load_most() -> None:
    """Load what any section needs, and use what builds tables of its own when first used."""
    _leave_documentation()
    for name in _MOST:
        _load(name)
    import nbformat
    import plotly.graph_objects as go

    nbformat.validate({"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5})
    font: dict[str, Any] = {"font": {"size": 12}}
    axis = {"title": font, "showgrid": True}
    layout = {
        "template": "none",
        "margin": {"t": 0},
        "hoverlabel": font,
        "xaxis": axis,
        "yaxis": axis,
        **font,
    }
    layout |= {"shapes": [{"line": {"width": 1}}], "annotations": [font]}
    curve = {"type": "scatter", "y": [1.0], "line": {"width": 1}, "marker": {"line": {"width": 1}}}
    go.Figure({"data": [curve], "layout": layout}).to_json()


def _leave_documentation() -> None:
    """Have scipy not add to its functions' documentation when it is loaded: half of what that takes."""
    with suppress(ImportError):
        from scipy._lib import _docscrape

        _docscrape.NumpyDocString._parse = lambda _: None  # type: ignore[method-assign]


@cache
def load_rest() -> None:
    """Load what single sections need."""
    for name in _REST:
        _load(name)


def _load(name: str) -> None:
    with kit.imports_without(*_THREADED, *kit.SCHEMA_EXTRAS, *_UNUSED):
        importlib.import_module(name)


_FIRST_CLIENT_S = 30.0
_ONE_REVIEW = 6
"""Children that one review takes: for its values, its sections and its summary."""
_MEMORY_SHARE = 0.6
_PARENT_DIED = 1  # PR_SET_PDEATHSIG of Linux's prctl


@dataclass(frozen=True)
class _Asked:
    """A connection, whose it is, and the child that works for it."""

    line: Connection
    client: str
    child: BaseProcess | None


@contextmanager
def _endable() -> Iterator[None]:
    """Let the server be ended by a signal here; elsewhere it waits, so that it meets nothing half done."""
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM})


class _Serving:
    """One thread, which waits for connections and for children that end."""

    def __init__(self, entrance: socket.socket, home: Path) -> None:
        self._entrance, self._home = entrance, home
        self._asked: list[_Asked] = []
        self._forked = 0

    def serve(self, linger_s: float) -> None:
        """Answer until no client has been there for a while [s]."""
        patience_s: float | None = max(linger_s, _FIRST_CLIENT_S)
        try:
            while ready := self._next(patience_s):
                self._forget(ready)
                if self._entrance in ready:
                    self._let_in()
                patience_s = None if self._asked else linger_s
                if self._forked > _ONE_REVIEW:
                    # More than a single review, which is quicker without.
                    load_rest()
                    gc.freeze()
        finally:
            for asked in self._asked:
                self._end(asked)

    def end(self, *_: object) -> None:
        """End at once, asked by a signal, with all children and nothing left.

        An exception instead could be lost in a library that is being loaded.
        """
        for asked in self._asked:
            self._end(asked)
        shutil.rmtree(self._home, ignore_errors=True)
        os._exit(0)

    def _next(self, patience_s: float | None) -> list[Any]:
        with _endable():
            return wait([self._entrance, *self._watched()], patience_s)

    def _watched(self) -> Iterable[Any]:
        return [
            item
            for asked in self._asked
            for item in (asked.line, asked.child and asked.child.sentinel)
            if item
        ]

    def _forget(self, ready: list[Any]) -> None:
        """End what nobody waits for any more, and what was left of a child that has ended."""
        gone = {asked.client for asked in self._asked if asked.child is None and asked.line in ready}
        left = []
        for asked in self._asked:
            ended = asked.child and asked.child.sentinel in ready
            if ended or asked.line in ready or asked.client in gone:
                self._end(asked)
            else:
                left.append(asked)
        self._asked = left

    def _end(self, asked: _Asked) -> None:
        if asked.child and asked.child.pid:
            # With what it started itself.
            with suppress(ProcessLookupError, PermissionError):
                os.killpg(asked.child.pid, signal.SIGKILL)
            asked.child.kill()
            asked.child.join()
            shutil.rmtree(self._home / str(asked.child.pid), ignore_errors=True)
        asked.line.close()

    def _let_in(self) -> None:
        line = Connection(self._entrance.accept()[0].detach())
        try:
            if forkserver.peer(line)[1] != os.getuid():
                raise EOFError
            client, job = line.recv()
        except (EOFError, OSError):
            line.close()
            return
        self._asked.append(_Asked(line, client, None if job is None else self._fork(job, line)))

    def _fork(self, job: Any, line: Connection) -> BaseProcess:
        if threading.active_count() != 1:
            raise SystemExit("a library has started a thread; forking is no longer safe")
        others = [self._entrance, *(asked.line for asked in self._asked)]
        child = multiprocessing.get_context("fork").Process(
            target=_work, args=(job, line, others, self._home, os.getpid())
        )
        child.start()
        self._forked += 1
        return child


def _work(job: Any, line: Connection, others: Iterable[Any], home: Path, server: int) -> None:
    """Do what a child does: become a process of its own, run the notebook or make the call, answer."""
    for other in others:
        other.close()
    scratch = home / str(os.getpid())
    try:
        # Whoever tidies a machine's temporary folders may have taken this one for left behind.
        home.mkdir(mode=0o700, exist_ok=True)
        scratch.mkdir()
        _settle(scratch / "stray", server)
        if isinstance(job, Task):
            answer = _outcome(job, scratch)
        else:
            function, arguments = job
            answer = function(*arguments)
    except BaseException:
        # A kernel of its own, or who asked for the call, says what is wrong.
        answer = None
    line.send(answer)


def _outcome(task: Task, scratch: Path) -> Any:
    from reviewkit.execution import kernel, papermill_run

    os.environ[kit.WORDS_VARIABLE] = os.pathsep.join(map(str, task.words))
    os.chdir(task.folder)
    outcome = papermill_run.run(task, scratch, engine_name=kernel.NAME, grace_s=task.grace_s)
    # What wrote past Python's own streams is taken into the notebook by a kernel of its own.
    return None if (scratch / "stray").stat().st_size else outcome


def _settle(stray: Path, server: int) -> None:
    """Become a process of its own: group, signals, streams, memory, chance; it dies with the server."""
    import numpy as np

    gc.enable()
    os.setsid()
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM})
    ctypes.CDLL(None).prctl(_PARENT_DIED, signal.SIGKILL)
    if os.getppid() != server:
        # The server ended before this process could ask to end with it.
        os._exit(1)
    written = os.open(stray, os.O_WRONLY | os.O_CREAT, 0o600)
    nothing = os.open(os.devnull, os.O_RDONLY)
    for own, number in ((nothing, 0), (written, 1), (written, 2)):
        os.dup2(own, number)
    # A notebook that fills the memory fails by itself, before the machine does.
    most = int(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") * _MEMORY_SHARE)
    resource.setrlimit(resource.RLIMIT_DATA, (most, most))
    random.seed()
    np.random.seed()


def main() -> None:
    """Load, then serve; told are the name to listen at and how long to wait for another client [s]."""
    name, linger_s = sys.argv[1], float(sys.argv[2])
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM})
    with socket.socket(socket.AF_UNIX) as entrance, disk.temporary_folder() as home:
        serving = _Serving(entrance, home)
        signal.signal(signal.SIGTERM, serving.end)
        entrance.bind(forkserver.PREFIX + name)
        entrance.listen()
        os.environ["IPYTHONDIR"] = str(home)
        # What has been loaded stays, so that there is nothing to look for; and a child that looked through it
        # all would copy it all.
        gc.disable()
        with _endable():
            load_most()
        gc.freeze()
        serving.serve(linger_s)


if __name__ == "__main__":
    with suppress(SystemExit):
        main()
    # Who waits for its end does not wait until all that was loaded has been taken apart.
    os._exit(0)
