"""The lock, `.ci/constraints.txt`, held against what the project asks for and what is installed.

    python tests/lock.py            whole, nothing superfluous, within the bounds, consistent, licences
    python tests/lock.py --index    also asks the index for pinned releases that were withdrawn (needs uv)

Known vulnerabilities are another service's to tell; DEVELOPERS.md names the command.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
FILE = ROOT / ".ci" / "constraints.txt"
BY_HAND = ("fuzz", "lowest")
"""Extras of tools that are run by hand: neither of the README's commands installs them."""

HERE: Mapping[str, str] = {}
ELSEWHERE = tuple(
    {
        "python_version": python,
        "python_full_version": f"{python}.0",
        "sys_platform": system,
        "os_name": family,
    }
    for python in ("3.11", "3.12", "3.13", "3.14")
    for system, family in (("linux", "posix"), ("darwin", "posix"), ("win32", "nt"))
)
"""What a requirement may depend on: other Pythons and systems than this one."""

# What may be shipped beside, or under, the MIT licence without any duty on the kit's own code.
_FREE = re.compile(
    r"\b(MIT|BSD|Apache|ISC|PSF|PSFL|Python Software Foundation|MPL|Mozilla Public|0BSD|Zlib|CC0)\b"
)
# Weaker or stronger duties on a whole that holds them.
_BINDING = re.compile(r"\b([AL]?GPL|GNU|SSPL|BUSL|EUPL|Proprietary|Non-?Commercial)", re.IGNORECASE)


def pinned(path: Path = FILE) -> dict[str, str]:
    """Return version by name."""
    found = {}
    for line in path.read_text(encoding="utf-8").split():
        name, mark, version = line.partition("==")
        if not mark or canonicalize_name(name) in found:
            raise ValueError(f"{path.name}: '{line}': a name==version once for each was expected")
        found[canonicalize_name(name)] = version
    return found


def asked(*, tools: bool = True) -> list[Requirement]:
    """Return what the project asks for; with the tools, also what its extras do."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"].items() if tools else ()
    more = [text for name, texts in extras if name not in BY_HAND for text in texts]
    return [Requirement(text) for text in (*project["dependencies"], *more)]


def applies(wanted: Requirement, extras: Iterable[str], environment: Mapping[str, str]) -> bool:
    """Return whether a requirement holds in an environment, with these extras of the one who states it."""
    if wanted.marker is None:
        return True
    return any(wanted.marker.evaluate({**environment, "extra": extra}) for extra in ("", *extras))


@cache
def requirements(name: str) -> tuple[Requirement, ...]:
    """Return what an installed package asks for; nothing where it is not installed."""
    try:
        return tuple(map(Requirement, metadata.requires(name) or ()))
    except metadata.PackageNotFoundError:
        return ()


def stated(name: str, extras: Iterable[str], environment: Mapping[str, str]) -> Iterator[Requirement]:
    """Yield what an installed package asks for with these extras, in an environment."""
    yield from (wanted for wanted in requirements(name) if applies(wanted, extras, environment))


def closure(
    wanted: Iterable[Requirement], environment: Mapping[str, str] = HERE
) -> dict[str, list[Requirement]]:
    """Return everything that requirements lead to, and for each what is asked of it."""
    found: dict[str, list[Requirement]] = {}
    done: set[tuple[str, frozenset[str]]] = set()
    open_ends = [item for item in wanted if applies(item, (), environment)]
    while open_ends:
        item = open_ends.pop()
        name = canonicalize_name(item.name)
        found.setdefault(name, []).append(item)
        if (name, frozenset(item.extras)) not in done:
            done.add((name, frozenset(item.extras)))
            open_ends.extend(stated(name, item.extras, environment))
    return found


@cache
def needed_somewhere() -> frozenset[str]:
    """Return the names of what is needed on any Python and system."""
    return frozenset().union(*(closure(asked(), other) for other in (HERE, *ELSEWHERE)))


def installed(name: str) -> str:
    """Return the version of an installed package; empty if it is not."""
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return ""


def faults(lock: Mapping[str, str]) -> list[str]:
    """Return what is wrong with the lock, a line each."""
    needed = closure(asked())
    lines = [f"{name}: needed, not pinned" for name in sorted(needed.keys() - lock.keys())]
    lines += [f"{name}: pinned, not needed" for name in sorted(lock.keys() - needed_somewhere())]
    for name in sorted(needed.keys() & lock.keys()):
        if installed(name) != lock[name]:
            lines.append(f"{name}: pinned {lock[name]}, installed {installed(name) or 'not at all'}")
        lines += [
            f"{name}: pinned {lock[name]}, '{item}' is asked for"
            for item in needed[name]
            if not item.specifier.contains(lock[name], prereleases=True)
        ]
    return lines


def licence(name: str) -> str:
    """Return what an installed package says of its licence, in its metadata or else in its licence's file."""
    about = metadata.metadata(name)
    if about.get("License-Expression"):
        return str(about["License-Expression"])
    classes = [text for text in about.get_all("Classifier") or () if text.startswith("License ::")]
    first = (about.get("License") or "").strip().partition("\n")[0]
    said = "; ".join([text.rpartition(" :: ")[2] for text in classes] or [first])
    return said or ("MIT" if any(map(_grants_as_mit, metadata.files(name) or ())) else "")


def _grants_as_mit(file: metadata.PackagePath) -> bool:
    """Whether a file is the text that SPDX lists as MIT."""
    if not file.name.upper().startswith("LICEN"):
        return False
    text = " ".join(file.read_text(encoding="utf-8").split())
    return all(part in text for part in _MIT)


_MIT = (
    "to deal in the Software without restriction",
    "The above copyright notice and this permission notice",
    "NONINFRINGEMENT",
)


def is_free(text: str) -> bool:
    """Return whether a licence lays no duty on the kit's own code; one of several offered is enough."""
    return any(_FREE.search(part) and not _BINDING.search(part) for part in text.split(" OR "))


def binding() -> list[str]:
    """Return what the kit leads to when it is installed, and whose licence may bind it, a line each."""
    names = sorted(closure(asked(tools=False)))
    return [f"{name}: licence '{licence(name)}'" for name in names if not is_free(licence(name))]


def withdrawn() -> list[str]:
    """Return the pinned releases that the index says were withdrawn, a line each.

    Raises
    ------
    RuntimeError
        If the index did not answer for all of them.
    """
    command = [
        sys.executable,
        "-m",
        "uv",
        "pip",
        "compile",
        "--no-deps",
        "--no-header",
        "--refresh",
        str(FILE),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False, encoding="utf-8")
    if done.returncode:
        raise RuntimeError(f"the index was not asked: {done.stderr.strip()}")
    return [line.removeprefix("warning: ") for line in done.stderr.splitlines() if "yanked" in line]


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the faults, and what was looked at."""
    parser = argparse.ArgumentParser(description="Holds the lock against the project and the environment.")
    parser.add_argument("--index", action="store_true", help="ask the index for withdrawn releases")
    ask = parser.parse_args(arguments).index
    lock = pinned()
    lines = faults(lock) + binding() + (withdrawn() if ask else [])
    print("\n".join(lines), end="\n" if lines else "")
    print(
        f"{len(lock)} pinned, {len(closure(asked(tools=False)))} of them for a review; {len(lines)} at fault"
    )
    print("withdrawn releases: asked" if ask else "withdrawn releases: not asked (--index)")
    return 1 if lines else 0


if __name__ == "__main__":
    raise SystemExit(main())
