"""The browser that draws: found on the system, never downloaded; started once for all pictures."""

from __future__ import annotations

import importlib.util
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError

VARIABLE = "REVIEWKIT_BROWSER"
"""Environment variable that names the browser's program."""

_NAMES = ("chromium", "chromium-browser")
_QUIET = (
    *("--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
)


def browser(given: str | Path | None = None) -> Path:
    """Return the program that draws the pictures.

    Parameters
    ----------
    given : str or pathlib.Path, optional
        The program as the user names it. Default: the one that the environment names, else the first found
        on the PATH.

    Raises
    ------
    InputError
        If there is none, or the library that drives it is not installed; with what to do.
    """
    if importlib.util.find_spec("playwright") is None:
        raise InputError(
            "stills need a library that is not installed",
            remedy="In the kit's folder: python -m pip install '.[stills]'. Or run without --stills.",
        )
    named = given or os.environ.get(VARIABLE)
    found = [path for name in ([named] if named else _NAMES) if (path := shutil.which(name))]
    if not found:
        raise InputError(
            f"there is no browser '{named}'" if named else "no browser was found to draw the stills",
            expected="Chromium or one of its kin",
            remedy=f"Install it, or name its program with --browser or {VARIABLE}. Or run without --stills.",
        )
    return Path(found[0])


@contextmanager
def started(program: Path) -> Iterator[Any]:
    """Start the browser, cut off from every network, and close it in the end.

    Yields
    ------
    playwright.sync_api.Browser

    Raises
    ------
    InputError
        If it does not start, or fails at its work.
    """
    from playwright.sync_api import Error, sync_playwright

    try:
        with sync_playwright() as driver:
            running = driver.chromium.launch(executable_path=program, args=list(_QUIET))
            yield running
            running.close()
    except Error as error:
        raise InputError(
            f"the browser '{program.name}' did not draw the stills ({error.message.splitlines()[0]})",
            remedy="Try another with --browser, or run without --stills.",
        ) from None
