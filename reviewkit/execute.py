"""Executes one notebook: in a child of the warm server where there is one, else in a kernel of its own."""

from __future__ import annotations

from reviewkit import cells, scratch, warm
from reviewkit.task import Outcome, Task


def execute(task: Task) -> Outcome:
    """Execute a template; never raises for what happens inside it.

    Parameters
    ----------
    task : Task

    Returns
    -------
    Outcome
    """
    return warm.execute(task) or execute_in_kernel(task)


def execute_in_kernel(task: Task) -> Outcome:
    """Execute a template in a kernel started for it: slower, and the same everywhere.

    Parameters
    ----------
    task : Task
    """
    from reviewkit.kernel import kernel_in

    with scratch.folder() as place:
        return cells.run(
            task,
            place,
            kernel_manager_class=kernel_in(place),
            # The kernel's folder, not this process's: several notebooks are executed at once.
            resources={"metadata": {"path": str(task.folder)}},
        )
