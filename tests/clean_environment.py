"""An environment that holds what the kit asks for and nothing else, made in seconds and without a network.

The packages that the kit's requirements lead to are linked from the environment that runs the tests. What is
there besides (the tests' own tools, the kit in editable form, the source tree) can't be reached.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
from importlib import metadata
from pathlib import Path

import lock


class CleanEnvironment:
    """A virtual environment of its own.

    Parameters
    ----------
    folder : pathlib.Path
        Made here.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        venv.EnvBuilder(symlinks=os.name != "nt").create(folder)
        places = {"base": str(folder), "platbase": str(folder)}
        self.packages = Path(sysconfig.get_path("purelib", "venv", places))
        self.programs = Path(sysconfig.get_path("scripts", "venv", places))
        self.python = self.programs / Path(sys.executable).name
        for name in lock.closure(lock.asked(tools=False)):
            self._link(metadata.distribution(name))

    def _link(self, package: metadata.Distribution) -> None:
        """Link a package's files: modules, metadata and what it shares; its programs name another Python."""
        for file in package.files or ():
            source = Path(str(package.locate_file(file)))
            target = Path(os.path.normpath(self.packages / file))
            if target.is_relative_to(self.programs) or target.exists() or not source.is_file():
                continue
            target.parent.mkdir(parents=True, exist_ok=True)
            try:
                os.link(source, target)
            except OSError:  # another disk
                shutil.copy2(source, target)

    def install(self, wheel: Path) -> None:
        """Install a wheel, and none of what it asks for."""
        options = ("--no-deps", "--no-index", "--quiet", "--disable-pip-version-check")
        subprocess.run(
            [sys.executable, "-m", "pip", "--python", str(self.python), "install", *options, str(wheel)],
            check=True,
        )

    def run(self, program: str, *arguments: str, folder: Path) -> str:
        """Run one of its programs in a folder and return what it prints; nothing leads to the source tree."""
        own = {name: text for name, text in os.environ.items() if not name.startswith(("PYTHON", "COV_"))}
        done = subprocess.run(
            [str(self.programs / program), *arguments],
            cwd=folder,
            env={**own, "REVIEWKIT_CACHE": str(self.folder / "kept"), "PYTHONUTF8": "1"},
            capture_output=True,
            encoding="utf-8",
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout
