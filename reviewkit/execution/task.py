"""A notebook to execute, what its process may know of this machine, and how its execution ended."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

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
