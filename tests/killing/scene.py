"""Where a run is killed: a review folder, what is published of it, and every other place it may write to."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from .victim import COUNTED, SENT

FILES = Path(__file__).parents[1] / "files"
EXAMPLE = FILES.parents[1] / "examples" / "alder"
_REVIEW = (
    "device: {{name: Lantern}}\n"
    "review: {{title: A lantern, edition: {edition}}}\n"
    "lux: {lux}\ngrams: 182\nlog: logs/lux.csv\n"
)
_OLD_LUX, _NEW_LUX = 410.5, 399.0
_PATIENCE_S = 60.0

Tree = dict[str, bytes]


def tree(folder: Path) -> Tree:
    """Return every file below a folder, hidden ones too, with its content; folders end in a slash."""
    return {
        path.relative_to(folder).as_posix() + "/" * path.is_dir(): b"" if path.is_dir() else path.read_bytes()
        for path in folder.rglob("*")
    }


@dataclass(frozen=True)
class Scene:
    """The folders of a run.

    Parameters
    ----------
    root : pathlib.Path
        Holds them all.
    edition : int
        Of the old review: 0, a working copy that the new one takes the place of; or 1, and the new one is the
        second edition.
    """

    root: Path
    edition: int = 0
    name: ClassVar[str] = "lantern"
    _templates: ClassVar[tuple[str, ...]] = ("--only-templates", str(FILES / "templates"))

    @property
    def out(self) -> Path:
        """The published folder."""
        return self.root / "out"

    @property
    def temporary(self) -> Path:
        """Where temporary files go."""
        return self.root / "tmp"

    @property
    def environment(self) -> dict[str, str]:
        """What a run is to find in its environment."""
        names = {"TMPDIR": "tmp", "REVIEWKIT_CACHE": "cache", "XDG_RUNTIME_DIR": "ready", "HOME": "home"}
        return {variable: str(self.root / name) for variable, name in names.items()}

    @property
    def arguments(self) -> list[str]:
        """The command."""
        return ["run", str(self.bench), "-o", str(self.out), *self._templates]

    def lay(self, published: Path | None = None) -> None:
        """Empty every folder but the one of the server that stays; publish what another folder holds."""
        for name in ("out", "tmp", "cache", "home", "ready"):
            if name != "ready":
                _emptied(self.root / name)
            (self.root / name).mkdir(parents=True, exist_ok=True, mode=0o700)
        if published:
            shutil.copytree(published, self.out, dirs_exist_ok=True)

    def measure(self, *, new: bool) -> None:
        """Write the review folder: with the old data, or the new."""
        edition = self.edition + (1 if new and self.edition else 0)
        shutil.copytree(FILES / self.name, self.bench, dirs_exist_ok=True)
        text = _REVIEW.format(edition=edition, lux=_NEW_LUX if new else _OLD_LUX)
        (self.bench / "review.yaml").write_text(text, encoding="utf-8")

    @property
    def bench(self) -> Path:
        """The review folder."""
        return self.root / self.name

    @property
    def told(self) -> Path:
        """What a run prints."""
        return self.root / "told.txt"

    def counted(self) -> dict[str, float]:
        """Return how many changes to the disk a run that came to its end has made."""
        told: dict[str, float] = json.loads(self.told.with_suffix(COUNTED).read_text(encoding="utf-8"))
        return told

    def sent(self) -> float:
        """Return when a run has sent itself a signal, on the system's clock [s]; 0 where it has not."""
        return float(self.told.with_suffix(SENT).read_text(encoding="utf-8") or 0)

    def keep(self, name: str) -> Path:
        """Keep a copy of what is published."""
        return Path(shutil.copytree(self.out, self.root / name))

    def state(self, old: Tree, new: Tree) -> str:
        """Return which review is published, whole, with all around it: "old" or "new"; else what is wrong."""
        now = tree(self.out)
        review, before = _part(now, f"{self.name}/"), _part(now, f"{self.name}.edition-1/")
        found = (
            "old"
            if review == _part(old, f"{self.name}/")
            else "new"
            if review == _part(new, f"{self.name}/")
            else ""
        )
        if not found:
            return f"torn: {sorted(review)[:4]}" if review else "absent"
        kept = _part(new, f"{self.name}.edition-1/")
        if before != kept and (before or found == "new"):
            return "an edition not kept whole"
        if now.get("index.html") not in (old["index.html"], new["index.html"]):
            return "a torn list of reviews"
        scripts = {name: text for name, text in _part(now, "assets/").items() if name.endswith(".js")}
        return found if scripts.items() <= new.items() and scripts else "a torn script"

    def added(self, old: Tree, new: Tree) -> Tree:
        """Return what a run writes to the published folder before it takes anything away."""
        return _part(new, f"{self.name}/") | {name: text for name, text in new.items() if name not in old}

    @staticmethod
    def is_server(number: int) -> bool:
        """Whether a process is a server, and none of its children."""
        try:
            command = Path(f"/proc/{number}/cmdline").read_bytes()
            parent = int(
                Path(f"/proc/{number}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[1]
            )
        except OSError:
            return False
        return b"reviewkit.execution.forked" in command and not _is_child(parent, command)

    def left(self) -> list[str]:
        """Return what should not be there once a run has ended."""
        found = [f"tmp/{name}" for name in tree(self.temporary) if not self._of_server(name)]
        found += [f"home/{name}" for name in tree(self.root / "home")]
        found += [f"out/{path.name}" for path in self.out.iterdir() if path.name.startswith(".")]
        cached = (path for path in (self.root / "cache").rglob("*.*") if path.suffix[1:].isdigit())
        return found + [f"cache/{path.name}" for path in cached]

    def _of_server(self, name: str) -> bool:
        """Whether a temporary folder is that of the server that stays ready."""
        owner = re.match(r"reviewkit-(\d+)-", name)
        return owner is not None and self.is_server(int(owner[1]))

    def alive(self) -> list[int]:
        """Return the processes that work in these folders, but for the server that stays ready."""
        mark = f"TMPDIR={self.temporary}\0".encode()
        found = []
        for place in Path("/proc").glob("[0-9]*"):
            try:
                ours = mark in (place / "environ").read_bytes() + b"\0"
                ended = "\nState:\tZ" in (place / "status").read_text(encoding="utf-8")
                command = (place / "cmdline").read_bytes()
                parent = (place / "stat").read_text(encoding="utf-8").rpartition(")")[2].split()[1]
            except OSError:
                continue
            stays = b"reviewkit.execution.forked" in command and not _is_child(int(parent), command)
            if ours and not ended and not stays:
                found.append(int(place.name))
        return found

    def quiet(self) -> list[int]:
        """Wait until none of them lives; return those that live on."""
        end = time.monotonic() + _PATIENCE_S
        while (found := self.alive()) and time.monotonic() < end:
            time.sleep(0.02)
        return found


class WholeScene(Scene):
    """The folders of a run of a whole review, one of the examples."""

    name = EXAMPLE.name
    _templates = ()

    def measure(self, *, new: bool) -> None:
        """Write the review folder as a working copy: as the example is, or measured in a warmer room."""
        shutil.copytree(EXAMPLE, self.bench, dirs_exist_ok=True)
        path = self.bench / "review.yaml"
        text = path.read_text(encoding="utf-8").replace("  edition: 1\n", "  edition: 0\n")
        text = text.replace("  ambient_C: 21\n", f"  ambient_C: {22 if new else 21}\n")
        path.write_text(text, encoding="utf-8")


def _part(whole: Tree, start: str) -> Tree:
    return {name: text for name, text in whole.items() if name.startswith(start)}


def _is_child(parent: int, command: bytes) -> bool:
    """Whether a process was forked by one of the same command: a server's child."""
    try:
        return Path(f"/proc/{parent}/cmdline").read_bytes() == command
    except OSError:
        return False


def _emptied(folder: Path) -> None:
    """Empty a folder from which a server that stays may be taking its own files at the same moment."""
    while left := list(folder.iterdir()) if folder.exists() else []:
        for path in left:
            with suppress(FileNotFoundError):
                if path.is_dir():
                    shutil.rmtree(path)
                else:
                    path.unlink()


@contextmanager
def small_disk(folder: Path, size: int) -> Iterator[None]:
    """Have a folder lie on a disk of its own, which takes only so much [B]; what it holds is put there.

    Raises
    ------
    PermissionError
        If this user may not mount one.
    """
    aside = folder.with_name(f"{folder.name}-aside")
    folder.rename(aside)
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size},mode=0700", "killed", str(folder)]
    try:
        done = subprocess.run(mount, capture_output=True, text=True, check=False)
        if done.returncode:
            raise PermissionError(done.stderr.strip())
        try:
            shutil.copytree(aside, folder, dirs_exist_ok=True)
            yield
            shutil.rmtree(aside)
            shutil.copytree(folder, aside)
        finally:
            subprocess.run(["umount", "-l", str(folder)], check=True)
    finally:
        folder.rmdir()
        aside.rename(folder)
