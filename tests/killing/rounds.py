"""One moment after another: a run is killed, what it left is judged, the next run heals it."""

from __future__ import annotations

import os
import random
import signal
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from multiprocessing.process import BaseProcess
from pathlib import Path

from .scene import Scene, Tree, small_disk, tree
from .victim import At, forked

STAYING, OWN, KERNELS = "a server that stays", "a server of its own", "kernels"
CLOCK, CHANGE, PUTTING = "any time", "a change to the disk", "putting it in place"
ALL, CHILD, SERVER = "SIGKILL to all at once", "its notebooks' processes", "its server"
SITE_FULL, TEMPORARY_FULL = "full disk: the site's", "full disk: temporary"
SIGNALS = {"SIGKILL": signal.SIGKILL, "SIGINT": signal.SIGINT, "SIGTERM": signal.SIGTERM}
_TOLD = {
    128 + signal.SIGINT: "Interrupted. ",
    128 + signal.SIGTERM: "Interrupted. ",
    2: "no space is left on",
}
_PAGE = 4096
_EARLY = 0.3
_TEMPORARY_BYTES = 80_000
_LONGEST_S = 300.0


@dataclass(frozen=True)
class Way:
    """How a run is ended.

    Parameters
    ----------
    how, run_with, when : str
        When, for disks that are full: how much they take is what is left to chance.
    """

    how: str
    run_with: str = STAYING
    when: str = CLOCK


@dataclass
class Ended:
    """What became of a moment.

    Parameters
    ----------
    found : str
        The review in its place at once: old, new, or what else.
    took_s : float [s]
        From the signal to the end.
    faults : list of str
        What should not be; none if all is well.
    """

    found: str = ""
    took_s: float = 0.0
    faults: list[str] = field(default_factory=list)
    healed: bool = False
    left: list[str] = field(default_factory=list)


@dataclass
class Rounds:
    """The old review and the new one, published undisturbed, and runs between them that are not.

    Parameters
    ----------
    scene : Scene
    rng : random.Random
    """

    scene: Scene
    rng: random.Random

    def __post_init__(self) -> None:
        self.scene.lay()
        self._trees: list[Tree] = []
        for new in (False, True):
            self.scene.measure(new=new)
            self._undisturbed(STAYING)
            self._trees.append(tree(self.scene.out))
            if not new:
                self._old = self.scene.keep("published-old")
        self._usual: dict[str, Mapping[str, float]] = {}

    def _undisturbed(self, run_with: str) -> Mapping[str, float]:
        start = time.monotonic()
        process = self._start(run_with, At())
        process.join()
        if process.exitcode:
            raise RuntimeError(self._printed())
        return {"s": time.monotonic() - start, **self.scene.counted()}

    def _start(self, run_with: str, at: At) -> BaseProcess:
        more = ["--stay-ready", "900"] if run_with == STAYING else []
        return forked(
            [*self.scene.arguments, *more],
            environment=self.scene.environment,
            told=self.scene.told,
            kernels=run_with == KERNELS,
            at=at,
        )

    def _printed(self) -> str:
        return self.scene.told.read_text(encoding="utf-8", errors="replace")

    def usual(self, run_with: str) -> Mapping[str, float]:
        """Return how long an undisturbed run takes, and how many changes to the disk it makes."""
        if run_with not in self._usual:
            self.scene.lay(self._old)
            self._usual[run_with] = self._undisturbed(run_with)
        return self._usual[run_with]

    def round(self, way: Way) -> Ended:
        """Kill a run and let the next one heal what it left.

        Parameters
        ----------
        way : Way
        """
        usual = self.usual(way.run_with)
        self.scene.lay(self._old)
        bench, ended = tree(self.scene.bench), Ended()
        with ExitStack() as disks:
            self._fill(way.how, disks)
            process = self._start(way.run_with, self._at(way, usual))
            self._end(way, process, usual["s"], ended)
            self._judge(way.how, process.exitcode, ended)
            if living := self.scene.quiet():
                ended.faults.append(f"{len(living)} processes live on")
        self._heal(ended)
        if tree(self.scene.bench) != bench:
            ended.faults.append("the review folder has changed")
        return ended

    def _at(self, way: Way, usual: Mapping[str, float]) -> At:
        if way.when == CLOCK:
            return At()
        putting = way.when == PUTTING
        most = usual["made"] - (usual["until_put"] if putting else 0)
        return At(self.rng.randrange(int(most)), putting, SIGNALS[way.how])

    def _fill(self, how: str, disks: ExitStack) -> None:
        if how == SITE_FULL:
            size = _pages(self._trees[0]) + self.rng.randrange(_pages(self.scene.added(*self._trees)))
            disks.enter_context(small_disk(self.scene.out, size * _PAGE))
        elif how == TEMPORARY_FULL:
            size = self.rng.randrange(_PAGE, _TEMPORARY_BYTES)
            disks.enter_context(small_disk(self.scene.temporary, size))

    def _end(self, way: Way, process: BaseProcess, usual_s: float, ended: Ended) -> None:
        """Wait for the moment, if it is one of the clock, and then for the end."""
        if way.when == CLOCK and way.how not in (SITE_FULL, TEMPORARY_FULL):
            # Notebooks' processes are there for a part of the time, from its start on.
            process.join(self.rng.uniform(0, usual_s * (_EARLY if way.how == CHILD else 1)))
            for number, sent in self._meant(way.how, process):
                with suppress(ProcessLookupError):
                    os.kill(number, sent)
        start = time.monotonic()
        process.join(_LONGEST_S)
        ended.took_s = time.monotonic() - (self.scene.sent() or start)
        if process.exitcode is None:
            ended.faults.append("it does not end")
            process.kill()
            process.join()

    def _meant(self, how: str, process: BaseProcess) -> Iterator[tuple[int, int]]:
        own = process.pid or 0
        if how in SIGNALS:
            yield own, SIGNALS[how]
            return
        while not (meant := self._others(how)) and how != ALL and process.exitcode is None:
            process.join(0.02)
        for number in [own, *meant] if how == ALL else meant:
            yield number, signal.SIGKILL

    def _others(self, how: str) -> list[int]:
        alive = self.scene.alive()
        servers = [number for number in alive if self.scene.is_server(number)]
        return {ALL: alive, SERVER: servers}.get(how) or [
            number for number in alive if how == CHILD and number not in servers
        ]

    def _judge(self, how: str, status: int | None, ended: Ended) -> None:
        """Look at once at what is published, and at what the run has said."""
        ended.found = self.scene.state(*self._trees)
        if ended.found not in ("old", "new"):
            ended.faults.append(f"published is {ended.found}")
        said = self._printed()
        killed = how == ALL or how in SIGNALS
        usual = {0, *([-SIGNALS[how], 128 + SIGNALS[how]] if how in SIGNALS else ())}
        usual |= {-signal.SIGKILL} if killed else {1} if how == CHILD else set()
        usual |= {2} if how in (SITE_FULL, TEMPORARY_FULL) else set()
        if status not in usual:
            ended.faults.append(f"status {status}: {said.strip()[-300:]}")
        if "Traceback" in said or _TOLD.get(status or 0, "") not in said:
            ended.faults.append(f"said with status {status}: {said.strip()[-300:]}")

    def _heal(self, ended: Ended) -> None:
        """Run again to the end: then all is as if nothing had happened."""
        process = self._start(STAYING, At())
        process.join(_LONGEST_S)
        now = tree(self.scene.out)
        ended.left = [*self.scene.left(), *map(str, self.scene.quiet())]
        ended.healed = process.exitcode == 0 and now == self._trees[1]
        if not ended.healed:
            differ = sorted(
                name
                for name in now.keys() | self._trees[1].keys()
                if now.get(name) != self._trees[1].get(name)
            )
            ended.faults.append(
                f"not healed: {process.exitcode} {differ[:5]} {self._printed().strip()[-300:]}"
            )
        if ended.left:
            ended.faults.append(f"left behind: {ended.left[:5]}")


def _pages(taken: Tree) -> int:
    return sum(-(-len(text) // _PAGE) + 1 for text in taken.values())


def stop(rounds: Rounds) -> None:
    """End the server that has stayed ready."""
    for place in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            if str(rounds.scene.root / "ready").encode() in (place / "cmdline").read_bytes():
                os.kill(int(place.name), signal.SIGTERM)
