"""Runs notebooks and stores in them what they show, without what differs from run to run.

    python tests/store_outputs.py notebooks/*.ipynb

Kept are the texts and tables of the cells tagged `nbval-check-output`, which the tests compare. Figures,
paths, times and versions are not.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import nbformat
from nbclient import NotebookClient

CHECKED = "nbval-check-output"
KEPT = ("text/html", "text/markdown", "text/plain")


def stored(notebook: Any) -> Any:
    """Return an executed notebook with nothing in it that a second run would change."""
    notebook.metadata = {
        "kernelspec": notebook.metadata["kernelspec"],
        "language_info": {"name": "python"},
    }
    for cell in notebook.cells:
        tags = cell.metadata.get("tags", [])
        cell.metadata = {"tags": tags} if tags else {}
        if cell.cell_type == "code":
            cell.outputs = [_bare(item) for item in cell.outputs if CHECKED in tags and "data" in item]
    return notebook


def _bare(output: Any) -> Any:
    output.data = {mime: output.data[mime] for mime in KEPT if mime in output.data}
    output.metadata = {}
    return output


def store(path: Path) -> None:
    """Run a notebook in its own folder and write it back."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=1200, resources={"metadata": {"path": str(path.parent)}}).execute()
    text = nbformat.writes(stored(notebook), indent=1, ensure_ascii=False)
    path.write_text(text.rstrip("\n") + "\n", encoding="utf-8")


if __name__ == "__main__":
    for name in sys.argv[1:]:
        store(Path(name))
