"""Trees of other people's files for the kit to work beside, and a tiny review to publish among them."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
from pathlib import Path

FILES = Path(__file__).parent / "files"
TEMPLATES = [FILES / "templates"]
_REVIEW = (
    "device: {{name: {name}}}\nreview: {{edition: {edition}}}\nlux: {lux}\ngrams: 182\nlog: logs/lux.csv\n"
)


def bench(folder: Path, *, name: str = "Lantern", edition: int = 1, lux: float = 410.5) -> Path:
    """Write, or write again, a tiny review's folder."""
    shutil.copytree(FILES / "lantern", folder, dirs_exist_ok=True)
    text = _REVIEW.format(name=name, edition=edition, lux=lux)
    (folder / "review.yaml").write_text(text, encoding="utf-8")
    (folder / "notes.txt").write_text(f"seen by hand: {name}\n", encoding="utf-8")
    return folder


def sums(*roots: Path) -> dict[str, str]:
    """Return the SHA-256 of every file below some folders, and where each link leads."""
    found = {}
    for root in roots:
        for place, folders, names in os.walk(root):
            for name in [*folders, *names]:
                path = Path(place, name)
                if path.is_symlink():
                    found[str(path)] = f"-> {path.readlink()}"
                elif path.is_file():
                    found[str(path)] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


_NAMES = (
    *("index.html", "reviews.html", "about.html", ".lock", ".htaccess", "reviewkit.sha256", "robots.txt"),
    *("lantern", "lantern.draft", "lantern.edition-1", "torch", "lantern-and-torch", "assets", "photos"),
    *(".staging-lantern-x1y2z3w4", ".staging-lantern-0a1b2c3d", ".old-lantern", ".old-lantern-0a1b2c3d"),
    *("assets/charts-0123456789ab.js", "assets/style.css", "index.html.1234567", "lantern/index.html"),
    *("lantern/findings.json", "torch/notes.md", "torch/findings.json", ".reviewkit.journal"),
)
_TEXTS = ("mine\n", "{}", "<title>All reviews</title>", "\0\xff", '{"schema": 1}', "[1, 2", "")


def scatter(folder: Path, chance: random.Random, *, most: int = 6) -> None:
    """Leave some of a stranger's files in a folder, under names that the kit itself might use."""
    for name in chance.sample(_NAMES, chance.randint(0, most)):
        place = folder / name
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
        except (FileExistsError, NotADirectoryError):
            continue
        if os.path.lexists(place) or not place.parent.is_dir():
            continue
        if "." not in name.lstrip("."):
            place.mkdir()
            place = place / "page.html"
        # An empty file of a name of the kit's own is one that a kill left.
        texts = [text for text in _TEXTS if text or not name.startswith(".reviewkit")]
        place.write_bytes(chance.choice(texts).encode("latin-1"))
