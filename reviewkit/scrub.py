"""Takes out of an executed notebook what is private to the machine and the person who ran it."""

from __future__ import annotations

import getpass
import re
import socket
import sys
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.dataset import PACKED

MARK = "…"
_INJECTED = "injected-parameters"
_KEPT_METADATA = ("kernelspec", "language_info", "reviewkit")
_COMMON_NAMES = frozenset(
    {"root", "user", "admin", "guest", "runner", "localhost", "home", "debian", "ubuntu"}
)
_USUAL_PLACES = re.compile(
    r"(?<![\w.])(?:/(?:home|Users|root|tmp|private|var|opt|mnt|media|etc|usr)/|[A-Za-z]:\\(?=[\w\\]))[^\s\"'<>|]*"
)


@dataclass(frozen=True)
class Scrubber:
    """Replaces paths and names of this machine in texts.

    Parameters
    ----------
    folders : tuple of str
        Folders whose names are cut off; what lies below stays as a relative path.
    names : tuple of str
        Words that are replaced wherever they stand alone.
    """

    folders: tuple[str, ...]
    names: tuple[str, ...]

    def text(self, text: str) -> str:
        """Return the text without them."""
        for folder in self.folders:
            text = re.sub(re.escape(folder) + r"(?![\w.-])[\\/]*", "", text)
        text = _USUAL_PLACES.sub(MARK, text)
        for name in self.names:
            text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", MARK, text)
        return text

    def value(self, value: Any) -> Any:
        """Return JSON data with every text in it cleaned; pictures and packed tables stay as they are."""
        if isinstance(value, str):
            return self.text(value)
        if isinstance(value, list):
            return [self.value(item) for item in value]
        if isinstance(value, Mapping):
            return {key: item if _is_no_text(key) else self.value(item) for key, item in value.items()}
        return value

    def notebook(self, notebook: Mapping[str, Any], *, failure: str = "") -> dict[str, Any]:
        """Return an executed notebook fit to publish.

        Parameters
        ----------
        notebook : mapping
            As nbformat 4 has it.
        failure : str
            The line that takes the place of a failed cell's traceback.
        """
        metadata = {key: item for key, item in notebook["metadata"].items() if key in _KEPT_METADATA}
        cells = [self._cell(cell, failure) for cell in notebook["cells"] if not _is_error_banner(cell)]
        return {**notebook, "metadata": metadata, "cells": cells}

    def _cell(self, cell: Mapping[str, Any], failure: str) -> dict[str, Any]:
        kept = {key: item for key, item in cell["metadata"].items() if key in ("tags", "reviewkit")}
        clean = {**cell, "metadata": kept, "source": self.value(cell["source"])}
        if _INJECTED in kept.get("tags", ()):
            # The same in every run, as all other cells' are.
            clean["id"] = _INJECTED
        if "outputs" in cell:
            clean["outputs"] = [self._output(item, failure) for item in cell["outputs"] if _is_shown(item)]
        return clean

    def _output(self, output: Mapping[str, Any], failure: str) -> dict[str, Any]:
        if output["output_type"] == "error":
            return {"output_type": "error", "ename": "SectionError", "evalue": failure, "traceback": []}
        return {key: self.value(item) for key, item in output.items()}


def for_machine(folder: Path, *, public: str = "", more: Iterable[Path] = ()) -> Scrubber:
    """Return the scrubber for this machine and one review folder.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    public : str
        What the author wrote; a name that stands in it is the author's to publish.
    more : iterable of pathlib.Path
        More folders that no reader needs to know.
    """
    known = [folder, *more, Path.home(), Path.cwd(), Path(tempfile.gettempdir()), Path(sys.prefix)]
    known += [Path(__file__).parent, Path(sys.base_prefix)]
    spelled = {text for path in known for text in _spellings(path) if len(text) > 3}
    names = (name for name in _machine_names() if not re.search(rf"\b{re.escape(name)}\b", public))
    # The longest first: a folder inside another one is cut off whole.
    return Scrubber(tuple(sorted(spelled, key=len, reverse=True)), tuple(names))


def _spellings(path: Path) -> set[str]:
    both = {str(path), str(path.resolve())}
    return both | {text.replace("\\", "/") for text in both} | {text.replace("\\", "\\\\") for text in both}


def _machine_names() -> set[str]:
    names = {socket.gethostname(), socket.gethostname().partition(".")[0]}
    # No name to be had is no name to hide.
    with suppress(OSError, KeyError, ImportError):
        names.add(getpass.getuser())
    return {
        name for name in names if len(name) > 2 and not name.isdigit() and name.lower() not in _COMMON_NAMES
    }


def _is_no_text(key: str) -> bool:
    return key == PACKED or (key.startswith("image/") and key != "image/svg+xml")


def _is_shown(output: Mapping[str, Any]) -> bool:
    return not (output["output_type"] == "stream" and output.get("name") == "stderr")


def _is_error_banner(cell: Mapping[str, Any]) -> bool:
    return "papermill-error-cell-tag" in cell["metadata"].get("tags", ())
