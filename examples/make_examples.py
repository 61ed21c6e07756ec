"""Make the invented example data again, byte for byte: ``python examples/make_examples.py [FOLDER]``.

Each section has a module in `simulate` that writes its part of a device's folder and says what is true of
it. The review files, the author's words and the chapters are written by hand and not touched.
"""

from __future__ import annotations

import importlib
import json
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
DEVICES = ("alder", "birch")
SECTIONS = ("charge", "drain", "ui_states", "readout")
"""Modules of `simulate`, each with ``write(folder, known)``.

`folder` is the device's review folder, whose name says which device; `known` is a dictionary that takes the
truth under the section's name.
"""


def make(target: Path) -> list[Path]:
    """Write the data of both devices, and the truth about them, under `target`.

    Returns
    -------
    list of Path
        The files of truth.
    """
    made = []
    for device in DEVICES:
        folder = target / device
        folder.mkdir(parents=True, exist_ok=True)
        known: dict[str, Any] = {"about": "Exact values behind the invented data of this example."}
        for section in SECTIONS:
            importlib.import_module(f"simulate.{section}").write(folder, known)
        made.append(target / "truth" / f"{device}.json")
        made[-1].parent.mkdir(exist_ok=True)
        text = json.dumps(known, indent=2, ensure_ascii=False) + "\n"
        made[-1].write_text(text, encoding="utf-8", newline="\n")
    return made


if __name__ == "__main__":
    sys.path.insert(0, str(HERE))
    for path in make(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE):
        print(f"wrote {path}")
