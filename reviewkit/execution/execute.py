"""Executes one notebook: in a child of the warm server where there is one, else in a kernel of its own."""

from __future__ import annotations

import sys

from reviewkit.execution import forkserver, papermill_run
from reviewkit.execution.task import Outcome, Task
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

    with disk.temporary_folder() as place:
        return papermill_run.run(
            task,
            place,
            kernel_manager_class=kernel_in(place, task.words),
            # The kernel's folder, not this process's: several notebooks are executed at once.
            resources={"metadata": {"path": str(task.folder)}},
        )
