"""The tests with the lowest, or the newest, versions that the bounds in `pyproject.toml` allow.

    python tests/lowest.py                                  lowest versions of what the project asks for
    python tests/lowest.py --newest --python python3.13     newest versions, another Python
    python tests/lowest.py -- tests/test_logs.py            other tests than the chosen ones

Makes an environment in a temporary folder, with uv (the extra `lowest`) from the package index. Says which
versions of the project's own requirements it got, and where the lowest is not to be had beside the others.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import lock
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).parents[1]
TESTS = tuple(
    f"tests/test_{name}.py"
    for name in (
        *("warm", "runner", "cli", "evidence", "verify", "sections", "review_file", "notebooks"),
        *("site", "pages", "figures", "dataset", "finding", "examples", "golden"),
        *("logs", "clocks", "tables", "units", "uncertainty", "conformity", "instrument", "validation"),
        *("readout_section", "drain_section", "ui_states_section", "charge_numbers", "side_by_side"),
    )
)
"""What each library is used for, once: formats, kernels, pages, numbers."""


def uv(*arguments: str) -> None:
    """Run uv."""
    subprocess.run([sys.executable, "-m", "uv", *arguments], check=True)


def resolve(file: Path, *, newest: bool, python: str) -> dict[str, str]:
    """Write the versions to be installed, and return them."""
    resolution = "highest" if newest else "lowest-direct"
    uv(
        *("pip", "compile", "--quiet", "--extra", "test", "--resolution", resolution, "--python", python),
        *("--no-header", "--no-annotate", "-o", str(file), str(ROOT / "pyproject.toml")),
    )
    return lock.pinned(file)


def above_bound(versions: dict[str, str]) -> list[str]:
    """Return the project's own requirements of which the lowest is not what was found, a line each."""
    lines = []
    for item in lock.asked():
        bounds = [Version(part.version) for part in item.specifier if part.operator == ">="]
        got = versions.get(canonicalize_name(item.name))
        if got and bounds and Version(got) > max(bounds):
            lines.append(f"  {item.name}: {got}, though {item.specifier}")
    return lines


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the environment and run the tests in it."""
    parser = argparse.ArgumentParser(description="Runs tests with the lowest or newest versions allowed.")
    parser.add_argument("--newest", action="store_true", help="the newest versions instead of the lowest")
    parser.add_argument("--python", default=sys.executable, help="another Python to run them with")
    parser.add_argument("tests", nargs="*", default=TESTS, help="instead of the chosen tests")
    chosen = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        versions = resolve(folder / "versions.txt", newest=chosen.newest, python=chosen.python)
        own = [canonicalize_name(item.name) for item in lock.asked()]
        print("; ".join(f"{name} {versions[name]}" for name in dict.fromkeys(own) if name in versions))
        if not chosen.newest and (higher := above_bound(versions)):
            print(
                "not their bound's own version, as there is none or others ask for more:", *higher, sep="\n"
            )
        environment = folder / "environment"
        uv("venv", "--quiet", "--python", chosen.python, str(environment))
        programs = environment / ("Scripts" if sys.platform == "win32" else "bin")
        into = ("pip", "install", "--quiet", "--python", str(environment))
        uv(*into, "-r", str(folder / "versions.txt"))
        uv(*into, "--no-deps", "--editable", str(ROOT))
        command = [str(programs / "python"), "-m", "pytest", "-q", "-p", "no:cacheprovider", *chosen.tests]
        return subprocess.run(command, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    raise SystemExit(main())
