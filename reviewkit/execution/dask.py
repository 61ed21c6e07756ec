"""Runs notebooks on a cluster of Dask workers, for whoever keeps thousands of reviews."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import ExitStack, contextmanager
from typing import Any

from reviewkit.errors import InputError
from reviewkit.execution import forkserver

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
