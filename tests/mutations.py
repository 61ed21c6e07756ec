"""Which changes of a constant or a comparison no test of its own area notices.

    python tests/mutations.py [--areas charge drain readout ui_states summary] [--sample 100] [--seed 1]
                              [--seconds 600] [--processes 2]

One change at a time is made to a copy of one module: a number is doubled, a comparison becomes its opposite
(``>=`` for ``<``; its neighbour ``<=`` could not be told from it by any reading). Then the area's own tests
run until one fails. Printed is each change that none noticed, their share, and how many were noticed only in
that the tests did not end in time: on a busy machine that may be the machine. The tests of other areas, the
golden files and the style are left out on purpose: that a number moved is not that it is wrong.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
AREAS = ("charge", "drain", "readout", "ui_states", "summary")
_SLOW = ("test_charge_kinds", "test_honest_intervals")
"""Studies that take a minute each: an area's own quick tests have to notice."""
_OPPOSITE = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
}


@dataclass(frozen=True)
class Change:
    """One change: where, what it was and what it becomes."""

    module: Path
    line: int
    before: str
    after: str
    source: str

    @property
    def area(self) -> str:
        """The room that it is in."""
        return self.module.parts[1]


def changes(path: Path) -> Iterator[Change]:
    """Return every change of one module."""
    text = (ROOT / path).read_text(encoding="utf-8")
    tree = ast.parse(text)
    parents = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for node in ast.walk(tree):
        other = _other(node, parents)
        if other is not None:
            yield Change(path, node.lineno, ast.unparse(node), ast.unparse(other), _with(text, node, other))  # type: ignore[attr-defined]


def _other(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> ast.expr | None:
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _OPPOSITE:
        changed = copy.deepcopy(node)
        changed.ops = [_OPPOSITE[type(node.ops[0])]()]
        return changed
    if isinstance(node, ast.Constant) and type(node.value) in (int, float) and not _index(node, parents):
        return ast.Constant(2 * node.value if node.value else 1)
    return None


def _index(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    """Whether a number picks from a sequence or is the digits of a format: its change breaks the code."""
    above: ast.AST | None = node
    while (above := parents.get(above)) is not None and not isinstance(above, ast.stmt):  # type: ignore[arg-type]
        if isinstance(above, ast.Subscript | ast.FormattedValue | ast.JoinedStr):
            return True
    return False


def _with(text: str, node: ast.AST, other: ast.expr) -> str:
    lines = text.encode().splitlines(keepends=True)
    first, last = node.lineno - 1, node.end_lineno - 1  # type: ignore[attr-defined]
    head, tail = lines[first][: node.col_offset], lines[last][node.end_col_offset :]  # type: ignore[attr-defined]
    lines[first : last + 1] = [head + f"({ast.unparse(other)})".encode() + tail]
    return b"".join(lines).decode()


def tests_of(area: str) -> list[str]:
    """Return the area's own tests."""
    found = sorted((ROOT / "tests").glob(f"test_{area}*.py"))
    return [str(path.relative_to(ROOT)) for path in found if path.stem not in _SLOW]


def noticed(change: Change, seconds: float) -> str:
    """Return "failed" where one of the tests fails with the change, "hung" where one doesn’t end, else ""."""
    with tempfile.TemporaryDirectory() as place:
        copied = Path(place)
        for name in ("reviewkit", "templates", "tests", "examples"):
            shutil.copytree(ROOT / name, copied / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", copied)
        (copied / change.module).write_text(change.source, encoding="utf-8")
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider"]
        try:
            done = subprocess.run(
                [*command, *tests_of(change.area)],
                cwd=copied,
                env={**os.environ, "PYTHONPATH": str(copied), "PYTHONDONTWRITEBYTECODE": "1"},
                capture_output=True,
                timeout=seconds,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return "hung"
    return "failed" if done.returncode else ""


def sample(areas: Sequence[str], count: int, seed: int) -> list[Change]:
    """Return changes drawn at random, each area by its share of them."""
    rng = random.Random(seed)
    modules = [
        path.relative_to(ROOT) for area in areas for path in sorted((ROOT / "reviewkit" / area).glob("*.py"))
    ]
    known = [change for path in modules for change in changes(path)]
    return rng.sample(known, min(count, len(known)))


def main() -> None:
    """Run the sample and print what was not noticed."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--areas", nargs="+", choices=AREAS, default=AREAS)
    asked.add_argument("--sample", type=int, default=100)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=600.0)
    asked.add_argument("--processes", type=int, default=2)
    wish = asked.parse_args()
    drawn = sample(wish.areas, wish.sample, wish.seed)
    with ThreadPoolExecutor(wish.processes) as pool:
        seen = list(pool.map(lambda change: noticed(change, wish.seconds), drawn))
    for change, known in zip(drawn, seen, strict=True):
        if not known:
            print(f"{change.module}:{change.line}: {change.before}  →  {change.after}")
    lost = seen.count("")
    told = f"not noticed by their own area's tests ({100 * lost / len(seen):.0f} in 100)"
    print(f"{len(seen)} changes, {lost} {told}, {seen.count('hung')} hung")


if __name__ == "__main__":
    main()
