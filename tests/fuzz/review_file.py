"""Fuzzes the review file, up to everything `check` finds: `python tests/fuzz/review_file.py --seconds 60`."""

from __future__ import annotations

import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).parents[1]))

with atheris.instrument_imports(include=["reviewkit", "yaml"]):
    from reviewkit.charge import reading  # noqa: F401 - loaded now, so that it is watched
    from reviewkit.pipeline import loading
    from reviewkit.readout import table  # noqa: F401
    from reviewkit.sections import template
    from reviewkit.ui_states import reading as observed  # noqa: F401

import faults
from fuzz import driven

ROOM = tempfile.TemporaryDirectory(prefix="fuzz-review-")
FOLDER = faults.write(Path(ROOM.name) / "hazel")
PARTS = template.discover()


def check(data: bytes) -> None:
    """The bytes are the review file of a folder that is else good."""
    (FOLDER / "review.yaml").write_bytes(data)
    for fault in loading.faults([FOLDER], PARTS):
        assert fault.message


def seeds() -> Iterator[bytes]:
    """The review files of examples and corpus, whole and block by block."""
    root = Path(__file__).parents[2]
    whole = [path.read_bytes() for path in sorted((root / "examples").glob("*/review.yaml"))]
    good = (FOLDER / "review.yaml").read_bytes()
    yield from (good, *whole)
    for text in (good, *whole):
        blocks = re.split(rb"\n(?=\w)", text)
        yield from (b"device: {name: a}\n" + block + b"\n" for block in blocks)


def words() -> Iterator[str]:
    """Keys of all sections, values with units, and YAML's own signs."""
    for part in PARTS:
        yield from (f"{name}: " for name in sorted(part.names))
    yield from (
        "\n  - {",
        "}",
        "[",
        "]",
        ": ",
        "&a ",
        "*a",
        "!!python/name:os.system ",
        "? ",
        "<<: ",
        "|\n",
        ">-\n",
    )
    yield from (
        "1 mV",
        "500 uA",
        "±(0.5 % + 2)",
        "true",
        "null",
        "~",
        "1e999",
        "-1",
        "0",
        ".inf",
        "2026-01-01",
    )
    yield from (
        "logs/voltage.csv",
        "logs/current.csv",
        "../x",
        "/dev/zero",
        "light_percent >= 30 and cable",
        "NMC",
    )
    yield from (
        "path: ",
        "unit: ",
        "value: ",
        "sign: -1",
        "clock_offset_s: ",
        "when: ",
        "about: ",
        "at_most: ",
    )


if __name__ == "__main__":
    driven.main(check, what="review file", seeds=seeds(), words=words())
