"""Takes out of an executed notebook what is private to the machine and the person who ran it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from reviewkit.findings.dataset import PACKED
from reviewkit.privacy import base64_content, images, text
from reviewkit.privacy.text import MARK, Private

__all__ = ["MARK", "Scrubber", "for_machine"]

_INJECTED = "injected-parameters"
_KEPT_METADATA = ("kernelspec", "language_info", "reviewkit")
_PICTURES = ("image/png", "image/jpeg")
_DRAWING = "image/svg+xml"
_NUMBERS = "bdata"
"""Key under which a chart holds numbers in base64."""
# Kinds that no page shows, and that can hold more than is seen of them.
_OPAQUE = ("image/", "audio/", "video/", "application/pdf", "application/octet-stream", "application/zip")


_DROPPED: Any = object()


class Scrubber(Private):
    """Replaces paths and names of this machine in notebooks."""

    def value(self, value: Any) -> Any:
        """Return JSON data with every text, key, picture and packed table in it cleaned."""
        if isinstance(value, str):
            return self.text(base64_content.cleaned(value, self.text))
        if isinstance(value, list):
            return [self.value(item) for item in value]
        if isinstance(value, Mapping):
            kept = ((self.text(key), self._entry(key, item)) for key, item in value.items())
            return {key: item for key, item in kept if item is not _DROPPED}
        return value

    def _entry(self, key: str, item: Any) -> Any:
        """Return what stands under a key; `_DROPPED` where it is nothing to publish."""
        if key in _PICTURES:
            return base64_content.picture("".join(item)) or _DROPPED
        if key == PACKED:
            return base64_content.packed(item, self.text)
        if key == _DRAWING:
            return self.value(images.svg("".join(item)))
        if key.startswith(_OPAQUE):
            return _DROPPED
        return item if key == _NUMBERS else self.value(item)

    def notebook(self, notebook: Mapping[str, Any], *, failure: str = "") -> dict[str, Any]:
        """Return an executed notebook fit to publish.

        Parameters
        ----------
        notebook : mapping
            As nbformat 4 has it.
        failure : str
            The line that takes the place of a failed cell's traceback.
        """
        kept = notebook["metadata"].items()
        metadata = {key: self.value(item) for key, item in kept if key in _KEPT_METADATA}
        cells = [self._cell(cell, failure) for cell in notebook["cells"] if not _is_error_banner(cell)]
        return {**notebook, "metadata": metadata, "cells": cells}

    def _cell(self, cell: Mapping[str, Any], failure: str) -> dict[str, Any]:
        kept = {key: item for key, item in cell["metadata"].items() if key in ("tags", "reviewkit")}
        clean = {**cell, "metadata": kept, "source": self.value(cell["source"])}
        if _INJECTED in kept.get("tags", ()):
            # The same in every run, as all other cells' are.
            clean["id"] = _INJECTED
        if "attachments" in cell:
            clean["attachments"] = self.value(cell["attachments"])
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
    known = text.of_machine(folder, public=public, more=more)
    return Scrubber(known.folders, known.names, known.elsewhere)


def _is_shown(output: Mapping[str, Any]) -> bool:
    return not (output["output_type"] == "stream" and output.get("name") == "stderr")


def _is_error_banner(cell: Mapping[str, Any]) -> bool:
    return "papermill-error-cell-tag" in cell["metadata"].get("tags", ())
