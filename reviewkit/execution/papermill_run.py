"""A notebook to execute, what its process may know of this machine, and its run with papermill."""

from __future__ import annotations

import json
import logging
import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError
from reviewkit.system import kit
from reviewkit.system.kit import WORDS_VARIABLE

CELL_LIMIT_S = 900.0
NOTEBOOK_LIMIT_S = 3600.0
PRINTED_LIMIT = 10_000_000
GRACE_S = 10.0


@dataclass(frozen=True)
class Task:
    """One notebook to execute.

    Parameters
    ----------
    values : mapping
        Values of the parameters that the template declares, none else.
    folder : pathlib.Path
        The working directory of its cells.
    cell_limit_s, notebook_limit_s : float [s]
        Longest that one cell, and all of them together, may take.
    printed_limit : int
        Most characters that its cells may print; what they display is not counted.
    grace_s : float [s]
        How long a cell that is to stop may take to do so.
    words : tuple of pathlib.Path
        Template folders whose wording comes before the kit's own.
    """

    template: Path
    values: Mapping[str, Any]
    folder: Path
    cell_limit_s: float = CELL_LIMIT_S
    notebook_limit_s: float = NOTEBOOK_LIMIT_S
    printed_limit: int = PRINTED_LIMIT
    grace_s: float = GRACE_S
    words: tuple[Path, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """How the execution ended.

    Parameters
    ----------
    notebook : str
        The executed notebook as its file would hold it, whole or up to the cell that failed; with
        everything in it that must not be published (`reviewkit.privacy.notebook`).
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


_PASSED_ON = (
    *("PATH", "HOME", "LANG", "VIRTUAL_ENV", "PYTHONPATH", "PYTHONUSERBASE", "LD_LIBRARY_PATH", "TMPDIR"),
    *("SYSTEMROOT", "WINDIR", "COMSPEC", "PATHEXT", "TEMP", "TMP", "APPDATA", "LOCALAPPDATA", "USERPROFILE"),
    *("JUPYTER_RUNTIME_DIR", "XDG_RUNTIME_DIR"),
    *("LC_ALL", "LC_CTYPE", "LC_COLLATE", "LC_MESSAGES", "LC_MONETARY", "LC_NUMERIC", "LC_TIME"),
)
_PASSED_ON_PREFIXES = ("OPENBLAS_", "OMP_", "MKL_", "DYLD_")
_SINGLE = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def environment(scratch: str, words: Iterable[Path] = ()) -> dict[str, str]:
    """Return what a section's process may know of this machine: where programs are, and little else.

    Parameters
    ----------
    scratch : str
        Empty folder in place of the user's own IPython settings, which would change what a review does.
    words : iterable of pathlib.Path
        Template folders whose wording comes before the kit's own.
    """
    kept = {
        name: value
        for name, value in os.environ.items()
        if name.upper() in _PASSED_ON or name.upper().startswith(_PASSED_ON_PREFIXES)
    }
    # The same zone, hash order and order of additions everywhere: a review is the same wherever it runs.
    return (
        kept
        | dict.fromkeys(_SINGLE, "1")
        | {
            "TZ": "UTC",
            "PYTHONHASHSEED": "0",
            "PYTHONUTF8": "1",
            # What lies in the current folder is data: nothing there is imported.
            "PYTHONSAFEPATH": "1",
            "PYDEVD_DISABLE_FILE_VALIDATION": "1",
            "IPYTHONDIR": scratch,
            # A figure is shown as data for the page's own script, or as a picture; never as a script.
            "PLOTLY_RENDERER": "plotly_mimetype",
            "MPLBACKEND": "module://matplotlib_inline.backend_inline",
            WORDS_VARIABLE: os.pathsep.join(map(str, words)),
        }
    )


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
    import asyncio

    from jupyter_core.utils import ensure_event_loop

    loop = ensure_event_loop()
    try:
        yield
    finally:
        if not loop.is_running():
            loop.close()
            asyncio.set_event_loop(None)


def _run_cells(task: Task, written: Path, engine: Mapping[str, Any]) -> None:
    # A formatter would write the same parameters otherwise on a machine, or in a process, that has it.
    with kit.imports_without("black", even_imported=True), kit.imports_without(*kit.SCHEMA_EXTRAS):
        import papermill

        logging.getLogger("papermill").setLevel(logging.CRITICAL)
        program: Any = papermill.execute
        program.write_ipynb = _written
        program.execute_notebook(
            _as_pattern(task.template),
            _as_pattern(written),
            parameters=dict(task.values),
            kernel_name="python3",
            progress_bar=False,
            request_save_on_cell_execute=False,
            timeout_func=limit_of_next_cell(task),
            **engine,
        )


def _written(notebook: Any, path: str) -> None:
    """Write an executed notebook for this kit to read: indented for people, it would take far longer."""
    from nbformat.v4.nbjson import BytesEncoder

    Path(path).write_text(json.dumps(notebook, ensure_ascii=False, cls=BytesEncoder), encoding="utf-8")


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
