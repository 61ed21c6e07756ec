"""What the processes that run sections may know of this machine."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from reviewkit.system.locations import WORDS_VARIABLE

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
