"""Fuzzes the tables typed by hand: `python tests/fuzz/tables.py --seconds 60`."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).parents[1]))

with atheris.instrument_imports(include=["reviewkit"]):
    from reviewkit import readout, ui_states
    from reviewkit.errors import InputError
    from reviewkit.findings.finding_keys import FindingKeys
    from reviewkit.readout import table  # noqa: F401 - loaded now, so that it is watched
    from reviewkit.review import author_text, chapters, strict_yaml
    from reviewkit.ui_states import reading  # noqa: F401

import faults
from fuzz import driven

ROOM = tempfile.TemporaryDirectory(prefix="fuzz-tables-")
FOLDER = faults.write(Path(ROOM.name) / "hazel")
VALUES = strict_yaml.load(FOLDER / "review.yaml")
READOUT = readout.inputs(
    **{name: VALUES[name] for name in ("voltmeter", "readout_table", "readout_resolution_V")}
)
STATES = ui_states.inputs(**{name: value for name, value in VALUES.items() if name.startswith("ui_")})
FILES = ("readout.csv", "transitions.csv", "chapters.csv", "words.md")


def check(data: bytes) -> None:
    """The first byte says which file the rest is."""
    which = (data[0] if data else 0) % 4
    (FOLDER / FILES[which]).write_bytes(data[1:])
    with suppress(InputError):
        if which == 0:
            readout.check(READOUT, FOLDER)
        elif which == 1:
            ui_states.check(STATES, FOLDER)
        elif which == 2:
            chapters.cues(chapters.read(FOLDER))
        else:
            author_text.faults(FOLDER, FindingKeys({"charge.": {}}))


def seeds() -> Iterator[bytes]:
    """The tables of examples and corpus."""
    root = Path(__file__).parents[2]
    for folder in (FOLDER, *sorted((root / "examples").glob("*/"))):
        for number, name in enumerate(FILES):
            if (folder / name).is_file():
                yield bytes([number]) + (folder / name).read_bytes()


WORDS = (
    *(
        ",",
        ";",
        "\t",
        "|",
        '"',
        "\n",
        "\r\n",
        "#",
        "\ufeff",
        "reference (V)",
        "reference (mV)",
        "shown",
        "load (mA)",
    ),
    *(
        "uncertainty",
        "warning",
        "3.605",
        "3,6",
        "1e999",
        "-0",
        "n/a",
        "3 blinks, pause, 9 blinks",
        "state",
        "event",
    ),
    *(
        "next",
        "seen",
        "tried",
        "remark",
        "video",
        "cable in",
        "power lost",
        "1:02:03",
        "time,title,about",
        "charge.",
    ),
    *("{charge.plateau_current}", "PK\x03\x04", "0:99", "٣", "½"),
)

if __name__ == "__main__":
    driven.main(check, what="tables", seeds=seeds(), words=WORDS)
