"""Fuzzes the reader of logs: `python tests/fuzz/log_reader.py --seconds 60`."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).parents[1]))

with atheris.instrument_imports(include=["reviewkit"]):
    from reviewkit import logs
    from reviewkit.errors import InputError
    from reviewkit.schema.blocks import LogBlock

import faults
from fuzz import driven

QUANTITIES = ("V", "A", "degC")
ENTRIES = ({}, {"unit": "mA"}, {"time": "1", "value": "2"}, {"value": "Current", "sign": -1})
ROOM = tempfile.TemporaryDirectory(prefix="fuzz-logs-")
FOLDER = Path(ROOM.name)


def read(data: bytes) -> None:
    """The first byte says which quantity is asked for, and how; the rest is the file."""
    choice = data[0] if data else 0
    (FOLDER / "any.csv").write_bytes(data[1:])
    entry = LogBlock(path="any.csv", **ENTRIES[choice // 4 % 4])
    with suppress(InputError):
        found = logs.read(entry, QUANTITIES[choice % 3], folder=FOLDER)
        found.report.sentences()
        assert found.series.index.is_monotonic_increasing


def seeds() -> Iterator[bytes]:
    """Heads of the examples' logs, and the logs of the corpus, good and damaged."""
    root = Path(__file__).parents[2]
    for path in sorted((root / "examples").glob("*/logs/*.csv")):
        head = path.read_bytes()[:3000]
        yield from (bytes([choice]) + head for choice in range(2))
    for number, entry in enumerate((None, *faults.REFUSED)):
        folder = faults.write(FOLDER / f"seed-{number}")
        if entry and (entry.needs() or "hundred million" in entry.name):
            continue
        if entry:
            entry.damage(folder)
        for place, path in enumerate(("logs/voltage.csv", "logs/current.csv", "logs/standby.csv")):
            found = folder / path
            if found.is_file() and not found.is_symlink():
                yield bytes([place]) + found.read_bytes()[:4000]


WORDS = (
    *(
        ",",
        ";",
        "\t",
        "|",
        '"',
        "\n",
        "\r\n",
        "\0",
        "\ufeff",
        "OL",
        "-OL",
        "9.9E37",
        "nan",
        "inf",
        "1e999",
        "---",
    ),
    *(
        "Time",
        "Date",
        "Time (s)",
        "Time (hh:mm)",
        "Voltage (V)",
        "Current (mA)",
        "(µA)",
        "Unit",
        "Temperature (°C)",
    ),
    *(
        "2026-02-10 21:38:00",
        "2026-02-10T21:38:00Z",
        "+01:00",
        "10.02.2026",
        "02/10/26",
        "9:38 PM",
        "23:59:59",
    ),
    *("1,234", "1.234", "1,234.5", "-0", "1e308", "4.2 V", "1 234,5", "1d 02:03:04", "PAR1", "PK\x03\x04"),
)

if __name__ == "__main__":
    driven.main(read, what="log reader", seeds=seeds(), words=WORDS)
