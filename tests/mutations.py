"""Which changes of a constant or a comparison no test of its own area notices.

    python tests/mutations.py [--areas charge drain readout ui_states summary] [--sample 100] [--seed 1]
                              [--at charge/reading.py:154 …] [--seconds 600] [--processes 1]

One change at a time is made to one module: a number is doubled, a comparison becomes its opposite (``>=`` for
``<``; its neighbour ``<=`` could not be told from it by any reading). Then the area's own tests run until one
fails. Printed is each change that none noticed, their share by area, and how many were noticed only in that
the tests did not end in time: on a busy machine that may be the machine. The tests of other areas, the golden
files and the style are left out on purpose: that a number moved is not that it is wrong. A seed draws the
same changes as long as they are there: an edit elsewhere in the module moves none of them.

Where the machine can fork, what knows nothing of the kit is imported and simulated once, and a change meets
first the tests that run its line, the quickest first. Elsewhere each is made in a copy of the project.
"""

from __future__ import annotations

import argparse
import ast
import copy
import hashlib
import importlib.machinery
import importlib.util
import multiprocessing
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import coverage
import pytest

ROOT = Path(__file__).resolve().parents[1]
AREAS = ("charge", "drain", "readout", "ui_states", "summary")
_SLOW = ("test_charge_kinds", "test_honest_intervals")
"""Studies that take a minute each: an area's own quick tests have to notice."""
_KEPT = "pybamm_charges"
"""Simulates cells and knows nothing of the kit: what it has simulated serves every change."""
_PYTEST = ("-x", "-q", "-n", "0", "-p", "no:cacheprovider")
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
    before_it: int
    """How many of the same wording stand above it in the module."""

    @property
    def area(self) -> str:
        """The room that it is in."""
        return self.module.parts[1]

    @property
    def place(self) -> str:
        """Module and line, as `--at` takes them."""
        return f"{self.area}/{self.module.name}:{self.line}"

    def lot(self, seed: int) -> str:
        """Return what it is drawn by: its wording and not its line, so that it stays drawn."""
        told = f"{seed} {self.module.as_posix()} {self.before} {self.before_it}"
        return hashlib.sha256(told.encode()).hexdigest()


def changes(path: Path) -> Iterator[Change]:
    """Return every change of one module."""
    text = (ROOT / path).read_text(encoding="utf-8")
    tree = ast.parse(text)
    parents = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    alike: Counter[str] = Counter()
    for node in ast.walk(tree):
        other = _other(node, parents)
        if other is not None:
            before = ast.unparse(node)
            yield Change(
                path, node.lineno, before, ast.unparse(other), _with(text, node, other), alike[before]
            )  # type: ignore[attr-defined]
            alike[before] += 1


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


@dataclass
class Tests:
    """An area's tests: how long each takes, and which run which line; a plugin of pytest that finds out."""

    area: str
    seconds: dict[str, float] = field(default_factory=dict)
    running: dict[tuple[str, int], set[str]] = field(default_factory=dict)

    def measure(self) -> None:
        """Run them all once, unchanged."""
        room = ROOT / "reviewkit" / self.area
        self._cover = coverage.Coverage(data_file=None, include=[f"{room}/*"])
        self._cover.start()
        status = pytest.main([*_PYTEST, *tests_of(self.area)], plugins=[self])
        self._cover.stop()
        if status:
            sys.exit(f"{self.area}: a test fails without any change")
        data = self._cover.get_data()
        for path in data.measured_files():
            for line, tests in data.contexts_by_lineno(path).items():
                self.running[Path(path).name, line] = set(tests)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, Any, Any]:
        self._cover.switch_context(item.nodeid)
        start = time.perf_counter()
        done = yield
        self.seconds[item.nodeid] = time.perf_counter() - start
        return done

    def of(self, change: Change) -> tuple[Quickest, Quickest]:
        """Return the tests that run the changed line (outside all functions, its module), then all others.

        What a test keeps for the next one is run by the first of them alone.
        """
        of_line = self.running.get((change.module.name, change.line), set())
        of_module = (tests for (module, _), tests in self.running.items() if module == change.module.name)
        kept = (of_line - {""}) or set().union(*of_module)
        first = {test: seconds for test, seconds in self.seconds.items() if test in kept}
        return Quickest(first), Quickest({test: self.seconds[test] for test in self.seconds.keys() - kept})


@dataclass(frozen=True)
class Quickest:
    """A plugin of pytest that lets some tests run, the quickest first."""

    seconds: dict[str, float]

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = [item for item in items if item.nodeid in self.seconds]
        items.sort(key=lambda item: self.seconds[item.nodeid])


class Changed(importlib.machinery.SourceFileLoader):
    """Finds and loads one module as it is with a change."""

    def __init__(self, change: Change) -> None:
        name = ".".join(change.module.with_suffix("").parts).removesuffix(".__init__")
        super().__init__(name, str(ROOT / change.module))
        self._source = change.source

    def find_spec(self, name: str, path: object = None, target: object = None) -> Any:
        return (
            importlib.util.spec_from_file_location(name, self.path, loader=self)
            if name == self.name
            else None
        )

    def get_code(self, fullname: str) -> Any:
        return compile(self._source, self.path, "exec")


def _forked(change: Change | None, tests: Quickest) -> None:
    """Run these tests in this child, in which nothing of the kit is loaded yet."""
    ours = tuple(str(ROOT / name) for name in ("reviewkit", "tests", "examples"))
    for name, module in list(sys.modules.items()):
        if str(getattr(module, "__file__", "")).startswith(ours) and name not in (_KEPT, "__main__"):
            del sys.modules[name]
    if change is not None:
        sys.meta_path.insert(0, Changed(change))
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    files = dict.fromkeys(test.split("::")[0] for test in tests.seconds)
    os._exit(int(pytest.main([*_PYTEST, *files], plugins=[tests])))


def noticed_forked(change: Change, tests: tuple[Quickest, Quickest], seconds: float) -> str:
    """Return "failed" where a test fails with the change, "hung" where one doesn’t end, else ""."""
    return _noticed(change, tests[0], seconds) or _noticed(change, tests[1], seconds)


def _noticed(change: Change | None, tests: Quickest, seconds: float) -> str:
    if not tests.seconds:
        return ""
    child = multiprocessing.get_context("fork").Process(target=_forked, args=(change, tests))
    child.start()
    child.join(seconds)
    if child.exitcode is None:
        child.kill()
        child.join()
        return "hung"
    return "failed" if child.exitcode else ""


def noticed_in_a_copy(change: Change, seconds: float) -> str:
    """The same without a fork: in a copy of the project, by a Python of its own."""
    with tempfile.TemporaryDirectory() as place:
        copied = Path(place)
        for name in ("reviewkit", "templates", "tests", "examples"):
            shutil.copytree(ROOT / name, copied / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", copied)
        (copied / change.module).write_text(change.source, encoding="utf-8")
        try:
            done = subprocess.run(
                [sys.executable, "-m", "pytest", *_PYTEST, *tests_of(change.area)],
                cwd=copied,
                env={**os.environ, "PYTHONPATH": str(copied), "PYTHONDONTWRITEBYTECODE": "1"},
                capture_output=True,
                timeout=seconds,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return "hung"
    return "failed" if done.returncode else ""


def known(areas: Sequence[str]) -> list[Change]:
    """Return every change of these areas."""
    rooms = [ROOT / "reviewkit" / area for area in areas]
    return [
        change
        for room in rooms
        for path in sorted(room.glob("*.py"))
        for change in changes(path.relative_to(ROOT))
    ]


def sample(areas: Sequence[str], count: int, seed: int) -> list[Change]:
    """Return changes drawn at random, each area by its share of them."""
    return sorted(known(areas), key=lambda change: change.lot(seed))[:count]


def outcomes(drawn: Sequence[Change], seconds: float, processes: int) -> Iterator[str]:
    """Return for each change how it was noticed, in their order."""
    if "fork" not in multiprocessing.get_all_start_methods():
        with ProcessPoolExecutor(processes) as pool:
            yield from pool.map(noticed_in_a_copy, drawn, [seconds] * len(drawn))
        return
    areas = {area: Tests(area) for area in dict.fromkeys(change.area for change in drawn)}
    for area, tests in areas.items():
        tests.measure()
        if _noticed(None, Quickest(tests.seconds), seconds):
            sys.exit(f"{area}: a test fails in another order, without any change")
    with ProcessPoolExecutor(processes, multiprocessing.get_context("fork")) as pool:
        chosen = [areas[one.area].of(one) for one in drawn]
        yield from pool.map(noticed_forked, drawn, chosen, [seconds] * len(drawn))


def main() -> None:
    """Run the sample and print what was not noticed."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--areas", nargs="+", choices=AREAS, default=AREAS)
    asked.add_argument("--sample", type=int, default=100)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--at", nargs="+", help="all changes at these places instead of a sample")
    asked.add_argument("--seconds", type=float, default=600.0)
    asked.add_argument("--processes", type=int, default=1)
    wish = asked.parse_args()
    drawn = sample(wish.areas, wish.sample, wish.seed)
    if wish.at:
        drawn = [change for change in known(AREAS) if change.place in wish.at]
    os.chdir(ROOT)
    sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "examples")]
    seen = []
    for change, outcome in zip(drawn, outcomes(drawn, wish.seconds, wish.processes), strict=True):
        seen.append((change.area, outcome))
        if not outcome:
            print(f"{change.place}: {change.before}  →  {change.after}", flush=True)
    for area in dict.fromkeys(area for area, _ in sorted(seen)):
        told = [outcome for other, outcome in seen if other == area]
        print(f"{area}: {len(told)} changes, {told.count('')} not noticed, {told.count('hung')} hung")
    lost = [outcome for _, outcome in seen].count("")
    print(
        f"{lost} of {len(seen)} not noticed by their own area's tests ({100 * lost / len(seen):.0f} in 100)"
    )


if __name__ == "__main__":
    main()
