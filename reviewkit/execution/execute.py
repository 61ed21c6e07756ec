"""Executes notebooks: in a child of the server where there is one, in a kernel, or by a cluster."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import ExitStack, contextmanager
from typing import Any

from reviewkit.errors import InputError
from reviewkit.execution import forkserver, papermill_run
from reviewkit.execution.papermill_run import Outcome, Task
from reviewkit.system import disk


def execute(task: Task) -> Outcome:
    """Execute a template; never raises for what happens inside it.

    Raises
    ------
    OSError
        If the disk for temporary files is full: that is no notebook's fault.
    """
    outcome = forkserver.execute(task) or execute_in_kernel(task)
    if not (outcome.ok or outcome.input_faults):
        disk.refuse_no_room()
    return outcome


def abandon() -> None:
    """End every notebook that this process has under way; each ends as one that was stopped."""
    forkserver.abandon()
    # Where no kernel has been started, what starts them need not be loaded.
    if kernel := sys.modules.get("reviewkit.execution.kernel"):
        kernel.kill_all()


def execute_in_kernel(task: Task) -> Outcome:
    """Execute a template in a kernel started for it: slower, and the same everywhere."""
    from reviewkit.execution.kernel import kernel_in

    with disk.temporary_folder() as folder:
        return papermill_run.run(
            task,
            folder,
            kernel_manager_class=kernel_in(folder, task.words),
            # The kernel's folder, not this process's: several notebooks are executed at once.
            resources={"metadata": {"path": str(task.folder)}},
        )


_CONNECT_S = 10.0


@contextmanager
def executor(address: str) -> Iterator[Executor]:
    """Hold an executor whose work is done by the workers of a cluster.

    The workers have the kit installed and see the review folders under the same paths.

    Parameters
    ----------
    address : str
        Of the scheduler: ``tcp://bench:8786``.

    Raises
    ------
    InputError
        If `reviewkit[cluster]` is not installed, or no scheduler answers.
    """
    try:
        from distributed import Client
    except ImportError:
        remedy = "Install it: pip install 'reviewkit[cluster]'."
        raise InputError("no cluster can be asked: 'distributed' is not installed", remedy=remedy) from None
    try:
        client = Client(address, timeout=_CONNECT_S)
    except (OSError, ValueError) as error:
        remedy = "Give the address that the scheduler names when it starts, such as tcp://bench:8786."
        raise InputError(f"no scheduler answers at '{address}'", remedy=remedy) from error
    with client:
        client.register_plugin(_ready_workers())
        yield client.get_executor(pure=False)


def _ready_workers() -> Any:
    """Return what has each worker keep a server at hand for as long as it works."""
    from distributed import WorkerPlugin

    class Ready(WorkerPlugin):
        """Loads once what every section needs."""

        name = "reviewkit"

        def setup(self, worker: Any) -> None:
            self._open = ExitStack()
            self._open.enter_context(forkserver.serving())

        def teardown(self, worker: Any) -> None:
            self._open.close()

    return Ready()
