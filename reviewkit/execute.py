"""Executes one template with its parameters and leaves the executed notebook in a file."""

from __future__ import annotations

import asyncio
import logging
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError

CELL_LIMIT_S = 900.0


@dataclass(frozen=True)
class Task:
    """One notebook to execute; plain data, so that it can travel to another process.

    Parameters
    ----------
    template : pathlib.Path
    values : mapping
        Values of the parameters that the template declares, none else.
    folder : pathlib.Path
        The kernel's working directory.
    cell_limit_s : float [s]
        Longest that one cell may take.
    """

    template: Path
    values: Mapping[str, Any]
    folder: Path
    cell_limit_s: float = CELL_LIMIT_S


@dataclass(frozen=True)
class Outcome:
    """How the execution ended.

    Parameters
    ----------
    notebook : str
        The executed notebook as its file would hold it, whole or up to the cell that failed; with
        everything in it that must not be published (`reviewkit.scrub`).
    message : str
        Empty if it went well; else what failed, in a line fit to publish.
    input_faults : tuple of str
        Messages about the review folder; empty if the fault is not the input's.
    detail : str
        For whoever mends the template: the error as Python tells it. Never published.
    """

    notebook: str = field(repr=False)
    message: str = ""
    input_faults: tuple[str, ...] = ()
    detail: str = field(default="", repr=False)

    @property
    def ok(self) -> bool:
        """Whether all cells ran."""
        return not self.message


def execute(task: Task) -> Outcome:
    """Execute a template; never raises for what happens inside it.

    Parameters
    ----------
    task : Task

    Returns
    -------
    Outcome
    """
    from nbclient.exceptions import CellTimeoutError, DeadKernelError
    from papermill.exceptions import PapermillExecutionError

    with tempfile.TemporaryDirectory(prefix="reviewkit-") as scratch:
        written = Path(scratch) / "executed.ipynb"
        outcome = Outcome("")
        try:
            with _event_loop():
                _run_cells(task, written)
        except PapermillExecutionError as error:
            outcome = _failed(error)
        except (CellTimeoutError, DeadKernelError, RuntimeError) as error:
            outcome = Outcome("", "it was stopped: too slow, or out of memory", detail=str(error))
        left = written if written.exists() else task.template
        return replace(outcome, notebook=left.read_text(encoding="utf-8"))


@contextmanager
def _event_loop() -> Iterator[None]:
    """Close the loop that the notebook client opens for this thread, unless it was there before."""
    from jupyter_core.utils import ensure_event_loop

    loop = ensure_event_loop()
    try:
        yield
    finally:
        if not loop.is_running():
            loop.close()
            asyncio.set_event_loop(None)


def _run_cells(task: Task, written: Path) -> None:
    import papermill

    from reviewkit.kernel import kernel_in

    logging.getLogger("papermill").setLevel(logging.ERROR)
    run: Any = papermill.execute_notebook  # type: ignore[attr-defined]
    run(
        _as_pattern(task.template),
        _as_pattern(written),
        parameters=dict(task.values),
        kernel_name="python3",
        progress_bar=False,
        request_save_on_cell_execute=False,
        kernel_manager_class=kernel_in(written.parent),
        execution_timeout=task.cell_limit_s,
        # The kernel's folder, not this process's: several notebooks are executed at once.
        resources={"metadata": {"path": str(task.folder)}},
    )


def _as_pattern(path: Path) -> str:
    """Return the path as papermill wants it, which takes paths for format strings."""
    return str(path).replace("{", "{{").replace("}", "}}")


def _failed(error: Any) -> Outcome:
    """Tell a fault of the input, which the kit's own errors describe, from any other."""
    detail = "\n".join(error.traceback)
    if error.ename in _input_errors():
        faults = tuple(line for line in str(error.evalue).splitlines() if line.strip())
        return Outcome("", " ".join(faults), input_faults=faults, detail=detail)
    return Outcome("", f"its cell {error.cell_index + 1} failed ({error.ename})", detail=detail)


def _input_errors() -> set[str]:
    names, left = set(), [InputError]
    while left:
        kind = left.pop()
        names.add(kind.__name__)
        left.extend(kind.__subclasses__())
    return names
