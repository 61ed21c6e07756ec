"""Devices to review, and the commands whose time is taken."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ALDER = ROOT / "examples" / "alder"
TEMPLATES = ROOT / "templates"
SECTIONS = ("readout", "charge", "drain", "ui_states")
PROGRAMS = Path(sys.executable).parent
CHANGED_LOG = "logs/drain-standby.csv"
# What Python and Jinja compile of the kit's own files stays, as it does where the kit is installed.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


class Bench:
    """A folder with devices to review, and the commands run there.

    Parameters
    ----------
    folder : pathlib.Path
        Empty.
    devices : int
    """

    def __init__(self, folder: Path, devices: int = 50) -> None:
        self.folder = folder
        self._kept = 0
        self.devices = [self.device(number) for number in range(devices)]

    def device(self, number: int, kind: str = "alder") -> Path:
        """Return a device of its own: Alder under another name."""
        place = Path(shutil.copytree(ALDER, self.folder / "devices" / f"{kind}-{number:03}"))
        words = (place / "review.yaml").read_text(encoding="utf-8")
        named = words.replace("name: Alder", f"name: Alder {number}", 1)
        (place / "review.yaml").write_text(named, encoding="utf-8")
        return place

    def run(self, devices: Sequence[Path], *options: str, kept: bool = False) -> float:
        """Run the kit's command; return how long it took [s]. What it keeps is its own unless `kept`."""
        self._kept += not kept
        return self.command("run", *map(str, devices), "-o", str(self.site), *options)

    @property
    def site(self) -> Path:
        """The folder that the last run published in."""
        return self.folder / f"site-{self._kept}"

    @property
    def next_site(self) -> Path:
        """The folder that the next run with nothing kept publishes in."""
        return self.folder / f"site-{self._kept + 1}"

    @property
    def surroundings(self) -> dict[str, str]:
        """The environment of the last run: with what it kept."""
        return {**os.environ, "REVIEWKIT_CACHE": str(self.folder / f"kept-{self._kept}")}

    def command(self, *arguments: str) -> float:
        """Run a command of the kit's; return how long it took [s]. It has at hand what the last run kept."""
        command = [str(PROGRAMS / "reviewkit"), *arguments]
        return timed(lambda: done(command, cwd=self.folder, env=self.surroundings))

    def check(self, device: Path) -> float:
        """Return how long the kit's command takes to check a device [s], with what the last run kept."""
        return self.command("check", str(device))

    @contextmanager
    def preview(self, device: Path) -> Iterator[str]:
        """Hold a preview; give its address."""
        command = [str(PROGRAMS / "reviewkit"), "preview", str(device)]
        own = {**os.environ, "REVIEWKIT_CACHE": str(self.folder / "kept-preview"), "PYTHONUNBUFFERED": "1"}
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=own) as process:
            assert process.stdout
            yield process.stdout.readline().strip()
            process.terminate()

    def by_command_lines(self) -> float:
        """Run one device's notebooks and render them, each by the two command lines [s]."""
        self._kept += 1
        site = self.folder / f"site-{self._kept}"
        out = Path(tempfile.mkdtemp(dir=self.folder))
        self.run(self.devices[:1], kept=True)  # findings for the summary to read: not timed
        found = site / self.devices[0].name / "findings.json"
        shutil.copy(found, out)
        return timed(lambda: self._notebooks(out))

    def _notebooks(self, out: Path) -> None:
        for name in SECTIONS:
            self._executed(name, out, cwd=self.devices[0])
        self._executed("summary", out, cwd=out)

    def _executed(self, name: str, out: Path, *, cwd: Path) -> None:
        values = self.devices[0] / "review.yaml"
        made = out / f"{name}.ipynb"
        template = str(TEMPLATES / f"{name}.ipynb")
        done(
            [str(PROGRAMS / "papermill"), "-f", str(values), template, str(made), "--no-progress-bar"],
            cwd=cwd,
        )
        done(
            [str(PROGRAMS / "jupyter"), "nbconvert", "--to", "html", "--log-level", "ERROR", str(made)],
            cwd=cwd,
        )

    def change(self, device: Path) -> None:
        """Change one of the device's logs: its last row goes."""
        log = device / CHANGED_LOG
        log.write_text(
            "".join(log.read_text(encoding="utf-8").splitlines(keepends=True)[:-1]), encoding="utf-8"
        )
        # A published edition is not run again from other data.
        words = device / "review.yaml"
        text = words.read_text(encoding="utf-8")
        edition = next(line for line in text.splitlines() if line.strip().startswith("edition:"))
        number = int(edition.partition(":")[2].split("#")[0])
        words.write_text(
            text.replace(edition, edition.replace(str(number), str(number + 1), 1), 1), encoding="utf-8"
        )


def done(command: list[str], **options: object) -> None:
    """Run a command; end with what it says where it fails."""
    done = subprocess.run(command, capture_output=True, text=True, **options)  # type: ignore[call-overload]
    if done.returncode:
        raise SystemExit(f"{' '.join(command)}\n{done.stderr}")


def timed(work: Callable[[], object]) -> float:
    """Return how long something takes [s]."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
