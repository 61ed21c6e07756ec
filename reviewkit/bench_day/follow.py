"""A charge of a review followed from the command line: on a screen, in a pipe, with a command for alarms."""

from __future__ import annotations

import html
import os
import shlex
import subprocess
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from reviewkit.bench_day import entering
from reviewkit.errors import InputError
from reviewkit.findings import sentences
from reviewkit.following import Alarm, Follower, Need, State, alarm, lines, opened
from reviewkit.metrology import units
from reviewkit.review import review_file
from reviewkit.sections import template
from reviewkit.sections.template import Section
from reviewkit.system import kit
from reviewkit.tables import files

POLL_S = 5.0
"""How often the logs are looked at: three rows at one a second, and an alarm is due within 30 s (chosen)."""

PRINT_S = 900.0
"""How often a pipe gets the whole state, beside what changes (chosen)."""

_MOST_COMMANDS = 4

say = sentences.of("follow")


def follower(
    folder: str | Path,
    *,
    run: int = 0,
    templates: Iterable[str | Path] = (),
    only_templates: Iterable[str | Path] = (),
    clock: Callable[[], float] = time.time,
) -> Follower:
    """Return what follows a charge of a review folder.

    Parameters
    ----------
    folder : str or pathlib.Path
        With a review file that names the logs to come under `charge_runs`.
    run : int
        Which charge, from 1; 0: the last.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them: what they need is told.
    clock : callable
        Gives the time, in seconds since 1970.

    Raises
    ------
    InputError
        If there is no review file, or it names no charge and no meters.

    Examples
    --------
    >>> state = follower("examples/alder").poll()
    >>> state.regime, [log.rows > 1000 for log in state.logs]
    ('terminated', [True, True])
    """
    path = Path(folder)
    values = entering.values(path)
    parts = template.of_kind("section", template.discover(templates, only=only_templates))
    return opened(values, path, run=run, needs=needs(parts), filled=_filled(values, path), clock=clock)


def needs(parts: Iterable[Section]) -> tuple[Need, ...]:
    """Return what sections need, as their metadata declare it."""
    return tuple(
        Need(part.title, **{name: getattr(one, name) for name in type(one).model_fields})
        for part in parts
        for one in part.about.needs
    )


def _filled(values: Mapping[str, Any], folder: Path) -> set[str]:
    """Return the parameters under which a review has readings; a table that only has headings has none."""
    return {name for name, value in values.items() if value and not _is_bare(value, folder)}


def _is_bare(value: Any, folder: Path) -> bool:
    if not isinstance(value, str) or not value.endswith((".csv", ".tsv", ".txt")):
        return False
    try:
        text = files.locate(value, folder=folder).read_text(encoding="utf-8", errors="replace")
    except InputError:
        return True
    rows = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return len(rows) < 2


def watch(
    folder: str | Path,
    show: Callable[[Sequence[str], bool], None],
    *,
    once: bool = False,
    every_s: float = POLL_S,
    on_alarm: str = "",
    whole: bool = True,
    clock: Callable[[], float] = time.time,
    sleep: Callable[[float], None] = time.sleep,
    **options: Any,
) -> None:
    """Follow a charge until stopped.

    Parameters
    ----------
    folder : str or pathlib.Path
        Waited for where it is not there yet.
    show : callable
        Takes the lines to show, and whether an alarm is new among them.
    once : bool
        Show the state and return.
    every_s : float [s]
        Between two looks.
    on_alarm : str
        A command to run for each new alarm, without a shell: what it is about stands in the variables
        REVIEWKIT_ALARM, _ABOUT, _SAYS, _DO, _URGENT and _AT of its environment.
    whole : bool
        Show the whole state each time; else what changes, and the whole now and then.
    clock, sleep : callable
        Give the time, and let some pass.
    **options
        As for `follower`.

    Raises
    ------
    InputError
        With `once`, what is wrong with the folder; else for a command that can't be split into words.
    """
    command = Command(on_alarm)
    light()
    shown_s, regime, waiting = -PRINT_S, "", ""
    following: Follower | None = None
    seen_at = 0
    while True:
        try:
            following = following or follower(folder, clock=clock, **options)
        except InputError as fault:
            if once:
                raise
            if fault.message != waiting:
                show([f"{fault.message} Waiting for it."], False)
            waiting = fault.message
            sleep(every_s)
            continue
        seen_at = _note(following, Path(folder), seen_at)
        state = following.poll()
        command.run(state.new_alarms)
        if whole or once or state.regime != regime or clock() - shown_s >= PRINT_S:
            told = lines(state, findings=once or whole)
            told += [say("to_review", folder=folder)] if state.regime == "terminated" else []
            show(told, bool(state.new_alarms))
            shown_s, regime = clock(), state.regime
        elif state.new_alarms:
            show(list(_told(state)), True)
        if once:
            return
        sleep(every_s)


def light() -> None:
    """Keep what runs all night small: what others only look for is not loaded, freed memory is given back."""
    import pyarrow

    library: Any = pyarrow  # it carries no annotations
    library.set_memory_pool(library.system_memory_pool())
    with kit.imports_without("dask", "babel", "xarray"):
        units.factor("d", "s")


def live(folder: str | Path, *, every_s: float = POLL_S, **options: Any) -> Any:
    """Return a view of a charge that follows its logs while the notebook's kernel runs, until stopped.

    Parameters
    ----------
    folder : str or pathlib.Path
        The review folder.
    every_s : float [s]
        Between two looks.
    **options
        As for `follower`.

    Returns
    -------
    ipywidgets.VBox
        The state as text, and a button that stops following; or what is wrong with the folder.

    Examples
    --------
    >>> view = live("examples/alder")
    >>> "no safety device" in view.children[0].value
    True
    """
    import asyncio

    import ipywidgets as widgets

    try:
        following = follower(folder, **options)
    except InputError as fault:
        # Said where it is looked at: the cells below it have their own work.
        return widgets.VBox([widgets.HTML(html.escape(fault.message))])
    shown, stop = widgets.HTML(), widgets.Button(description="Stop following")

    seen_at = 0

    def look() -> None:
        nonlocal seen_at
        seen_at = _note(following, Path(folder), seen_at)
        text = html.escape("\n".join(lines(following.poll())))
        # Lines break between words: JupyterLab's own style would cut them anywhere.
        shown.value = f'<pre style="white-space: pre-wrap; word-break: normal">{text}</pre>'

    async def go_on() -> None:
        while True:
            await asyncio.sleep(every_s)
            look()

    look()
    with suppress(RuntimeError):  # without a kernel's loop it stays as it is
        task = asyncio.get_running_loop().create_task(go_on())
        stop.on_click(lambda _: task.cancel())
    return widgets.VBox([shown, stop])


def _note(following: Follower, folder: Path, seen_at: int) -> int:
    """Hand on what was entered into review file and tables since last time; return when that was written."""
    try:
        written_at = max(
            path.stat().st_mtime_ns for path in (folder / review_file.FILE, *folder.glob("*.csv"))
        )
    except OSError:
        return seen_at
    if written_at != seen_at:
        faults: list[InputError] = []
        values = review_file.read_values(folder, faults)
        if not faults:
            following.note(values, _filled(values, folder))
    return written_at


def _told(state: State) -> Iterator[str]:
    for one in state.new_alarms:
        yield from alarm(one)


class Command:
    """A command run for each new alarm, never by a shell.

    Parameters
    ----------
    text : str
        Its words; "" for none.

    Raises
    ------
    InputError
        If it can't be split into words.
    """

    def __init__(self, text: str) -> None:
        try:
            self._words = shlex.split(text, posix=os.name != "nt")
        except ValueError as failure:
            raise InputError(
                f"the command for alarms can't be read ({failure})", remedy="Close its quotes."
            ) from failure
        self._running: list[subprocess.Popen[bytes]] = []
        self.failed = ""

    def wait(self) -> None:
        """Wait until all that were started have ended."""
        for one in self._running:
            one.wait()

    def run(self, alarms: Iterable[Alarm]) -> None:
        """Start it for each of the alarms; it is not waited for."""
        self._running = [one for one in self._running if one.poll() is None]
        for one in alarms if self._words else ():
            if len(self._running) >= _MOST_COMMANDS:
                self.failed = f"{self._words[0]}: still busy with earlier alarms"
                return
            told = {
                "": one.kind, "_ABOUT": one.about, "_SAYS": one.says, "_DO": one.do,
                "_URGENT": "1" if one.urgent else "0", "_AT": f"{one.since_s:.0f}",
            }  # fmt: skip
            environment = os.environ | {f"REVIEWKIT_ALARM{name}": value for name, value in told.items()}
            try:
                started = subprocess.Popen(self._words, env=environment, stdin=subprocess.DEVNULL)
            except OSError as failure:
                self.failed = f"{self._words[0]}: {failure.strerror}"
                return
            self._running.append(started)
