"""Render the invented film of Birch's readout: ``python examples/make_film.py [FOLDER]``.

It is made from the truth behind Birch's table, and isn't kept with the other data: encoders differ from
version to version, byte for byte. It takes the renderer of `tests/films`, and what `.[film]` installs.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def make(folder: Path = HERE / "films") -> Path:
    """Render the film into a folder, `examples/films` if none is named."""
    sys.path[:0] = [str(HERE), str(HERE.parent)]
    from simulate import film

    folder.mkdir(exist_ok=True)
    return film.write(folder)


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description="Render the invented film of Birch's readout.")
    asked.add_argument("folder", nargs="?", type=Path, default=HERE / "films", help="where it is written")
    print(f"wrote {make(asked.parse_args().folder)}")
