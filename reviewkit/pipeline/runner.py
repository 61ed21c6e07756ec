"""Runs the sections of any number of reviews in one queue and collects what they found."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Collection, Generator, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from reviewkit.execution import forkserver
from reviewkit.execution.execute import abandon, execute
from reviewkit.execution.papermill_run import Outcome, Task
from reviewkit.findings import findings_file
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.pipeline import cache, harvest, results
from reviewkit.pipeline.cache import SectionCache
from reviewkit.pipeline.results import Reviewed, SectionResult
from reviewkit.privacy.notebook import Scrubber, for_machine
from reviewkit.review import review_file, video
from reviewkit.review.fingerprints import Fingerprint
from reviewkit.review.review_file import ReviewFile
from reviewkit.sections import template
from reviewkit.sections.template import Section
from reviewkit.system import disk

_GIVE_UP_S = 0.05


@dataclass
class _Work:
    """A review under way."""

    file: ReviewFile
    staged: Path
    scrubber: Scrubber
    waiting: int
    results: list[SectionResult] = field(default_factory=list)
    keys: dict[str, str] = field(default_factory=dict)


Waiting = dict["Future[Outcome]", tuple[_Work, Section]]
Collect = Callable[[Section, Outcome, Scrubber, Path], SectionResult]


class Progress:
    """Told which section is done; this one keeps it to itself."""

    def start(self, total: int) -> None:
        """Note how many notebooks there are."""

    def done(self, review: str, title: str) -> None:
        """Note that one has ended."""


def run(
    reviews: Sequence[tuple[ReviewFile, Path]],
    templates: Iterable[Section],
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
    keep: SectionCache | None = None,
    closed: Callable[[Reviewed], None] | None = None,
    collect: Collect = results.collected,
) -> Generator[Reviewed, None, None]:
    """Run all sections of all reviews, then each review's summary; yield each review when it is done.

    Parameters
    ----------
    reviews : sequence of (ReviewFile, pathlib.Path)
        Each with the empty folder to leave its files in.
    templates : iterable of Section
    executor : concurrent.futures.Executor, optional
        What runs the notebooks. Default: as many threads as there are processors, each of which minds
        one notebook.
    progress : Progress, optional
    keep : SectionCache, optional
        Where outcomes of earlier runs are, and go: a section is not run again that depends on nothing new.
    closed : callable, optional
        Given each review when its sections have ended and its summary is on its way.
    collect : callable
        Makes a result of what a section's notebook came to.

    Yields
    ------
    Reviewed
        A section that failed is among its `failed` and has cost the others nothing.
    """
    parts = tuple(templates)
    bodies = template.of_kind("section", parts)
    summary = next(iter(template.of_kind("summary", parts)), None)
    told = progress or Progress()
    told.start(len(reviews) * (len(bodies) + (summary is not None)))
    with _ready(executor) as pool:
        waiting: Waiting = {}
        with _given_up_together(waiting if executor is None else ()):
            for file, staged in reviews:
                (staged / results.NOTEBOOKS).mkdir(parents=True)
                scrubber = for_machine(file.folder, public=_words(file), more=(staged.parent,))
                work = _Work(file, staged, scrubber, len(bodies))
                for section in bodies:
                    waiting[_submit(section, work, pool, keep)] = work, section
            yield from _collect(waiting, pool, summary, told, closed or _wait, keep, collect)


@contextmanager
def _given_up_together(waiting: Collection[Future[Outcome]]) -> Iterator[None]:
    """Where the block is left for any reason but its end, end all notebooks that are under way here."""
    try:
        yield
    except BaseException:
        left = [future for future in waiting if not future.cancel()]
        # One that was just about to start its kernel is met the next time.
        while left and wait(left, timeout=_GIVE_UP_S).not_done:
            abandon()
        raise


@contextmanager
def _ready(executor: Executor | None) -> Iterator[Executor]:
    """Hold the executor given, or one of our own that an interruption does not leave working."""
    disk.sweep()
    if executor is not None:
        yield executor
        return
    own = ThreadPoolExecutor(os.cpu_count() or 1)
    try:
        # Left by an interruption, the inner block ends what the threads wait for.
        with forkserver.serving():
            yield own
    finally:
        own.shutdown(cancel_futures=True)


def _words(file: ReviewFile) -> str:
    return json.dumps(file.values, ensure_ascii=False, default=str)


def _submit(section: Section, work: _Work, pool: Executor, keep: SectionCache | None) -> Future[Outcome]:
    """Have a section run, or take what it found when everything it depends on was the same."""
    task = _task(section, work.file.values, work.file.folder)
    if keep is None or not section.about.repeatable:
        return pool.submit(execute, task)
    own = review_file.named_in(task.values, work.file.folder)
    key = cache.key(task, (seen for seen in work.file.seen if seen.path in own))
    return _kept_or_run(task, key, section, work, pool, keep)


def _kept_or_run(
    task: Task, key: str, section: Section, work: _Work, pool: Executor, keep: SectionCache
) -> Future[Outcome]:
    known = keep.get(key)
    if known is None:
        work.keys[section.name] = key
        return pool.submit(execute, task)
    taken: Future[Outcome] = Future()
    taken.set_result(known)
    return taken


def _submit_summary(
    section: Section, work: _Work, pool: Executor, keep: SectionCache | None
) -> Future[Outcome]:
    """Have the summary run, or take what it said when it had the same findings to tell of."""
    task = _task(section, {**work.file.values, "findings": JSON_FILE}, work.staged)
    if keep is None or not section.about.repeatable:
        return pool.submit(execute, task)
    # The folder that it is staged in has another name each time.
    steady = replace(task, folder=work.staged.parent / work.file.name)
    told = findings_file.digests(work.staged)
    key = cache.key(steady, (Fingerprint(name, sha256, 0) for name, sha256 in told.items()))
    return _kept_or_run(task, key, section, work, pool, keep)


def _task(section: Section, values: Mapping[str, Any], folder: Path) -> Task:
    return Task(section.path, section.handed(values), folder, words=section.words)


def _wait(_: Reviewed) -> None:
    """Leave a closed review alone until its summary has ended."""


def _collect(
    waiting: Waiting,
    pool: Executor,
    summary: Section | None,
    told: Progress,
    closed: Callable[[Reviewed], None],
    keep: SectionCache | None,
    collect: Collect,
) -> Iterator[Reviewed]:
    while waiting:
        ended, _ = wait(waiting, return_when=FIRST_COMPLETED)
        for future in ended:
            work, section = waiting.pop(future)
            result = collect(section, future.result(), work.scrubber, work.staged)
            told.done(work.file.device.name, section.title)
            if section.kind == "summary":
                yield _reviewed(work, result)
                continue
            work.results.append(result)
            if len(work.results) == work.waiting:
                done = _close(work, waiting, pool, summary, keep)
                closed(done)
                if summary is None:
                    yield done


def _close(
    work: _Work, waiting: Waiting, pool: Executor, summary: Section | None, keep: SectionCache | None
) -> Reviewed:
    """Write down what the sections found and send the summary after them."""
    work.results.sort(key=lambda result: (result.section.place, result.section.name))
    work.results = results.with_moments(results.without_doubles(work.results), work.file.chapters)
    done = _reviewed(work)
    harvest.write_findings(
        work.staged, work.file, [result.entry() for result in done.sections], done.findings
    )
    harvest.write_tables(work.staged, work.file.title, done.tables)
    video.write(work.staged, work.file)
    if summary is not None:
        waiting[_submit_summary(summary, work, pool, keep)] = work, summary
    return done


def _reviewed(work: _Work, summary: SectionResult | None = None) -> Reviewed:
    ran = [*work.results, *([summary] if summary else [])]
    new = ((work.keys.get(result.section.name), result.outcome) for result in ran if result.ok)
    made = {key: outcome for key, outcome in new if key}
    return Reviewed(work.file, work.staged, tuple(work.results), summary, made)


class Bar(Progress):
    """Shown where there is a terminal to show it on."""

    def __init__(self) -> None:
        self._bar: Any = None

    def start(self, total: int) -> None:
        """Show the empty bar."""
        from tqdm import tqdm

        layout = "{l_bar}{bar}| {n_fmt} of {total_fmt} [{elapsed}]"
        self._bar = tqdm(total=total, desc="starting", leave=False, disable=None, bar_format=layout)

    def done(self, review: str, title: str) -> None:
        """Name the section that has ended; the last one takes the bar away."""
        self._bar.set_description(f"{review}: {title}")
        self._bar.update()
        if self._bar.n >= self._bar.total:
            self._bar.close()
