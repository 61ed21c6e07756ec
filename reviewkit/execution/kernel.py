"""The kernel that sections run in: this interpreter's own, with an environment that holds nothing private."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager

from reviewkit.execution.papermill_run import environment

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
