"""The kernel that sections run in: this interpreter's own, with an environment that holds nothing private."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager

_PASSED_ON = (
    *("PATH", "HOME", "LANG", "VIRTUAL_ENV", "PYTHONPATH", "PYTHONUSERBASE", "LD_LIBRARY_PATH", "TMPDIR"),
    *("SYSTEMROOT", "WINDIR", "COMSPEC", "PATHEXT", "TEMP", "TMP", "APPDATA", "LOCALAPPDATA", "USERPROFILE"),
    *("JUPYTER_RUNTIME_DIR", "XDG_RUNTIME_DIR"),
)
_PASSED_ON_PREFIXES = ("LC_", "OPENBLAS_", "OMP_", "MKL_", "DYLD_")


def environment(scratch: str) -> dict[str, str]:
    """Return what a section's process may know of this machine: where programs are, and little else.

    Parameters
    ----------
    scratch : str
        Empty folder in place of the user's own IPython settings, which would change what a review does.
    """
    kept = {
        name: value
        for name, value in os.environ.items()
        if name.upper() in _PASSED_ON or name.upper().startswith(_PASSED_ON_PREFIXES)
    }
    # The same clock zone and hash order everywhere: a review is the same wherever it is run.
    return kept | {
        "TZ": "UTC",
        "PYTHONHASHSEED": "0",
        "PYTHONUTF8": "1",
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
        "IPYTHONDIR": scratch,
    }


class OwnKernel(AsyncKernelManager):
    """Starts kernels of the running interpreter, whatever kernels are registered on the machine."""

    scratch: str = ""

    @property
    def kernel_spec(self) -> KernelSpec:
        """The one specification there is."""
        command = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
        quiet = ["--HistoryManager.enabled=False", "--log-level=CRITICAL"]
        return KernelSpec(argv=[*command, *quiet], language="python", display_name="Python 3")

    async def start_kernel(self, **options: Any) -> None:  # type: ignore[override]
        """Start the kernel in the pared-down environment."""
        await self._async_start_kernel(**options, env=environment(self.scratch))


def kernel_in(scratch: Path) -> type[OwnKernel]:
    """Return a kernel manager whose kernels keep their settings in an empty folder."""
    settings: dict[str, Any] = {"scratch": str(scratch)}
    if os.name == "posix":
        # Sockets in a folder of this kernel's own: no port that others on the machine could reach.
        settings |= {"transport": "ipc", "ip": str(scratch / "k")}
    return type("Kernel", (OwnKernel,), settings)
