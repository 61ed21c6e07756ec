"""What runs cells: a kernel of this interpreter, nothing private in its environment; or this process."""

from __future__ import annotations

import faulthandler
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from ipykernel.inprocess.ipkernel import InProcessKernel
from ipykernel.inprocess.manager import InProcessKernelManager
from ipykernel.iostream import IOPubThread
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager
from nbclient.exceptions import CellExecutionComplete, CellExecutionError
from papermill.clientwrap import PapermillNotebookClient
from papermill.engines import Engine, papermill_engines
from traitlets import default
from traitlets.config import Config

from reviewkit.execution.papermill_run import GRACE_S, environment

_at_work: set[OwnKernel] = set()


class OwnKernel(AsyncKernelManager):
    """Starts kernels of the running interpreter, whatever kernels are registered on the machine."""

    scratch: str = ""
    words: tuple[Path, ...] = ()

    @property
    def kernel_spec(self) -> KernelSpec:
        """The one specification there is."""
        command = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
        # The working directory is the review folder: data, and no place to import from.
        quiet = ["--HistoryManager.enabled=False", "--log-level=CRITICAL", "--IPKernelApp.ignore_cwd=True"]
        return KernelSpec(argv=[*command, *quiet], language="python", display_name="Python 3")

    async def start_kernel(self, **options: Any) -> None:  # type: ignore[override]
        """Start the kernel in the pared-down environment."""
        _at_work.add(self)
        # What it says past its notebook, as when its disk is full, is told by how the notebook ends.
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        await self._async_start_kernel(**options, **quiet, env=environment(self.scratch, self.words))

    async def cleanup_resources(self, restart: bool = False) -> None:  # type: ignore[override]
        """Forget a kernel that has ended."""
        await self._async_cleanup_resources(restart=restart)
        _at_work.discard(self)


def kill_all() -> None:
    """Kill every kernel that this process has started; who waits for one is told that it died."""
    for manager in tuple(_at_work):
        process = getattr(manager.provisioner, "process", None)
        # Between its start and the note of it there is nothing to kill yet.
        if process is not None:
            with suppress(OSError):
                process.kill()


def kernel_in(scratch: Path, words: tuple[Path, ...] = ()) -> type[OwnKernel]:
    """Return a kernel manager whose kernels keep their settings in an empty folder."""
    # By default it would be told where to connect in a file beside this folder, which a kill would leave.
    settings: dict[str, Any] = {"scratch": str(scratch), "words": words}
    settings["connection_file"] = str(scratch / "kernel.json")
    if os.name == "posix":
        # Sockets in a folder of this kernel's own: no port that others on the machine could reach.
        settings |= {"transport": "ipc", "ip": str(scratch / "k")}
    return type("Kernel", (OwnKernel,), settings)


NAME = "reviewkit-here"


class NeedsKernel(BaseException):
    """The notebook does what only a kernel of its own can answer, such as showing a widget."""


class CellTooSlow(Exception):
    """A cell takes longer than it may."""


class _Kernel(InProcessKernel):
    @default("iopub_thread")
    def _without_thread(self) -> IOPubThread:
        # Not started, it passes on at once what is printed, and nobody waits for another thread to do so.
        return IOPubThread(self._underlying_iopub_socket, session=self.session)


class _Manager(InProcessKernelManager):
    def start_kernel(self, **_: Any) -> None:
        # The one of this process: where comms look for it.
        self.kernel = _Kernel.instance(parent=self, session=self.session)


class _Client(PapermillNotebookClient):
    """Runs the cells as the notebook client does, each message handled by the library's own code."""

    def __init__(self, notebook: Any, *, grace_s: float, **options: Any) -> None:
        super().__init__(notebook, **options)
        self._grace_s = grace_s

    def execute(self, **_: Any) -> Any:
        self.reset_execution_trackers()
        # As in a kernel of its own: nothing remembered between two runs.
        manager = _Manager(config=Config({"HistoryManager": {"enabled": False}}))
        manager.start_kernel()
        self._here = manager.client()
        self._here.start_channels()
        self.papermill_execute_cells()
        self.nb.metadata["language_info"] = InProcessKernel.language_info
        return self.nb

    def execute_cell(self, cell: Any, cell_index: int, **_: Any) -> Any:
        skipped = self.skip_cells_with_tag in cell.metadata.get("tags", [])
        if cell.cell_type != "code" or not cell.source.strip() or skipped:
            return cell
        cell.outputs = []
        cell["metadata"]["execution"] = {}
        self.clear_before_next_output = False
        with _limited(float(self.timeout_func(cell) or 0) if self.timeout_func else 0, self._grace_s):
            self._here.execute(cell.source, allow_stdin=False)
        self._take_in(cell, cell_index)
        reply = self._here.get_shell_msg(timeout=0)["content"]
        if reply["status"] == "error" and "raises-exception" not in cell.metadata.get("tags", []):
            raise CellExecutionError.from_cell_and_msg(cell, reply)
        return cell

    def _take_in(self, cell: Any, cell_index: int) -> None:
        channel = self._here.iopub_channel
        while channel.msg_ready():
            message = channel.get_msg()
            if message["msg_type"].startswith("comm"):
                raise NeedsKernel
            try:
                self.process_message(message, cell, cell_index)
            except CellExecutionComplete:
                continue


@contextmanager
def _limited(limit_s: float, grace_s: float) -> Iterator[None]:
    """Raise in the cell when its time is over; end the process if the cell does not even notice."""

    def too_slow(*_: Any) -> None:
        raise CellTooSlow(f"the cell took more than {limit_s:g} s")

    signal.signal(signal.SIGALRM, too_slow)
    signal.setitimer(signal.ITIMER_REAL, limit_s)
    if limit_s:
        # Works in a thread that needs no interpreter.
        with open(os.devnull, "w") as nowhere:  # noqa: PTH123
            faulthandler.dump_traceback_later(limit_s + grace_s, exit=True, file=os.dup(nowhere.fileno()))
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        faulthandler.cancel_dump_traceback_later()


class HereEngine(Engine):
    """What papermill calls."""

    @classmethod
    def execute_managed_notebook(
        cls,
        nb_man: Any,
        kernel_name: str,
        *,
        timeout_func: Callable[[Any], float] | None = None,
        grace_s: float = GRACE_S,
        **_: Any,
    ) -> None:
        """Run the cells of the notebook that the manager holds."""
        _Client(nb_man, timeout_func=timeout_func, grace_s=grace_s).execute()


papermill_engines.register(NAME, HereEngine)
