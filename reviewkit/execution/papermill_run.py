"""Runs the cells of one template with papermill, in whatever kernel it is given."""

from __future__ import annotations

import asyncio
import json
import logging
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError
from reviewkit.execution.task import Outcome, Task
from reviewkit.system import kit

TOO_SLOW = "CellTooSlow"
"""Name of the error that a cell ends with which takes longer than it may."""


def run(task: Task, scratch: Path, **engine: Any) -> Outcome:
    """Run all cells; never raises for what happens inside them.

    Parameters
    ----------
    task : Task
    scratch : pathlib.Path
        Empty folder for the executed notebook.
    **engine
        What papermill is to know of the kernel.
    """
    with kit.imports_without(*kit.SCHEMA_EXTRAS):
        from nbclient.exceptions import CellTimeoutError, DeadKernelError
        from papermill.exceptions import PapermillExecutionError

    written = scratch / "executed.ipynb"
    outcome = Outcome("")
    try:
        with _event_loop():
            _run_cells(task, written, engine)
    except PapermillExecutionError as error:
        outcome = _failed(error, task)
    except (CellTimeoutError, DeadKernelError, RuntimeError) as error:
        outcome = stopped(task, str(error))
    except Exception as error:
        if type(error).__name__ == TOO_SLOW:
            return stopped(task, str(error))
        # Such as an output that no notebook may hold: a fault of the template, and of no other section.
        outcome = Outcome("", f"it can't be run ({type(error).__name__})", detail=repr(error))
    left = written if written.exists() else task.template
    return _not_too_long(replace(outcome, notebook=left.read_text(encoding="utf-8")), task)


def stopped(task: Task, detail: str) -> Outcome:
    """Return how a notebook ended whose kernel was killed or gave no answer in time."""
    notebook = task.template.read_text(encoding="utf-8")
    return Outcome(notebook, "it was stopped: too slow, or out of memory", detail=detail)


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


def _run_cells(task: Task, written: Path, engine: Mapping[str, Any]) -> None:
    # A formatter would write the same parameters otherwise on a machine that has it.
    with kit.imports_without("black", *kit.SCHEMA_EXTRAS):
        import papermill

        logging.getLogger("papermill").setLevel(logging.CRITICAL)
        execute: Any = papermill.execute_notebook  # type: ignore[attr-defined]
        execute(
            _as_pattern(task.template),
            _as_pattern(written),
            parameters=dict(task.values),
            kernel_name="python3",
            progress_bar=False,
            request_save_on_cell_execute=False,
            timeout_func=limit_of_next_cell(task),
            **engine,
        )


def limit_of_next_cell(task: Task) -> Callable[[Any], float]:
    """Return what tells how long the next cell may take [s], from now on."""
    end = time.monotonic() + task.notebook_limit_s

    def limit_s(_: Any = None) -> float:
        return max(0.1, min(task.cell_limit_s, end - time.monotonic()))

    return limit_s


def _as_pattern(path: Path) -> str:
    """Return the path as papermill wants it, which takes paths for format strings."""
    return str(path).replace("{", "{{").replace("}", "}}")


def _failed(error: Any, task: Task) -> Outcome:
    """Tell a fault of the input, which the kit's own errors describe, from any other."""
    detail = "\n".join(error.traceback)
    if error.ename in _input_errors():
        faults = tuple(line for line in str(error.evalue).splitlines() if line.strip())
        return Outcome("", " ".join(faults), input_faults=faults, detail=detail)
    if error.ename == TOO_SLOW:
        return stopped(task, detail)
    return Outcome("", f"its cell {error.cell_index + 1} failed ({error.ename})", detail=detail)


def _input_errors() -> set[str]:
    names, left = set(), [InputError]
    while left:
        kind = left.pop()
        names.add(kind.__name__)
        left.extend(kind.__subclasses__())
    return names


def _not_too_long(outcome: Outcome, task: Task) -> Outcome:
    """Refuse a notebook that prints without end: nobody could open its page."""
    if len(outcome.notebook) <= task.printed_limit or _printed(outcome.notebook) <= task.printed_limit:
        return outcome
    message = f"it prints more than {task.printed_limit} characters"
    return Outcome(task.template.read_text(encoding="utf-8"), message)


def _printed(notebook: str) -> int:
    outputs = (item for cell in json.loads(notebook)["cells"] for item in cell.get("outputs", ()))
    return sum(len("".join(item["text"])) for item in outputs if item["output_type"] == "stream")
