"""The command line.

Exit status: 0 done, 2 the input is at fault or a disk is full, 1 a fault of the kit; 130 ended by Ctrl-C,
143 by the system.
"""

from __future__ import annotations

import atexit
import gc
import json
import shlex
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType, ModuleType
from typing import TYPE_CHECKING, Any

import click

from reviewkit.errors import Faults, InputError, ReviewKitError
from reviewkit.system import disk, kit

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from reviewkit.bench_day import Noted
    from reviewkit.commands import Published
    from reviewkit.pipeline.results import SectionResult

DONE, KIT_AT_FAULT, INPUT_AT_FAULT = 0, 1, 2
_SIGNALLED = 128
"""What shells add to a signal's number to tell how a program ended."""
_STAY_READY_S = 300.0

_folders = click.argument(
    "folders", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FOLDER…"
)


def _templates(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the two options that say where section notebooks are."""
    folder = click.Path(path_type=Path)
    added = click.option(
        "--templates",
        multiple=True,
        type=folder,
        metavar="FOLDER",
        help="Take section notebooks from here too, and before the kit's own of the same name. May be given "
        "several times. They are programs: use only folders you trust.",
    )
    only = click.option(
        "--only-templates",
        multiple=True,
        type=folder,
        metavar="FOLDER",
        help="Take section notebooks from here in place of the kit's own.",
    )
    return added(only(command))


_list = click.option(
    "--list",
    "list_name",
    default="",
    metavar="NAME.html",
    help="What the page that lists all reviews is called. Default: as it was; at first index.html, or "
    "reviews.html where another index.html lies.",
)


# When it ends, Python would look once more through all that the libraries have made.
atexit.register(gc.freeze)


def _seldom_collecting() -> None:
    """Have Python look for unused cycles seldom: a command that ends by itself makes few of them.

    By default it does after every 700 objects, most of which are libraries being loaded.
    """
    gc.set_threshold(100_000, 10, 10)


class Terminated(KeyboardInterrupt):
    """The system, or another program, has asked this one to end."""


@contextmanager
def _by_termination() -> Iterator[None]:
    """Have a request to terminate end the block as Ctrl-C does, so that nothing is left behind."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, _terminate)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _terminate(_signal: int, _frame: FrameType | None) -> None:
    raise Terminated


class _Group(click.Group):
    """Says every expected failure in plain lines and turns it into the exit status."""

    def invoke(self, context: click.Context) -> Any:
        disk.settle()
        try:
            kit.refuse_unreadable_paths([*sys.argv[1:], *context.args, str(Path.cwd())])
            with _by_termination():
                return super().invoke(context)
        except KeyboardInterrupt as error:
            click.echo("Interrupted. Every published review is whole, as it was or new.", err=True)
            context.exit(_SIGNALLED + (signal.SIGTERM if isinstance(error, Terminated) else signal.SIGINT))
        except InputError as error:
            _say_faults([error])
            context.exit(INPUT_AT_FAULT)
        except OSError as error:
            if not disk.is_full(error):
                raise
            click.echo(f"No space is left on the disk. {disk.REMEDY}", err=True)
            context.exit(INPUT_AT_FAULT)
        except ReviewKitError as error:
            click.echo(f"The kit itself is at fault: {error}", err=True)
            context.exit(KIT_AT_FAULT)


@click.group(cls=_Group)
@click.version_option(package_name="reviewkit")
def main() -> None:
    """Turn bench measurements of a built-in lithium-ion charger into a published review."""


@main.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE…")
def look(files: tuple[Path, ...]) -> None:
    """Say what a meter's file holds and how it would be read, with the entry to paste."""
    from reviewkit import commands

    sights, faults = commands.look_at(*files)
    for sight in sights:
        click.echo(f"{sight}\n")
    if faults:
        _say_faults(faults)
        click.get_current_context().exit(INPUT_AT_FAULT)


@main.command()
@click.argument("word", default="")
@click.option(
    "--json-schema", is_flag=True, help="As JSON Schema, for editors that complete and explain keys."
)
@click.option("--markdown", is_flag=True, help="All of them as a page, in Markdown.")
@_templates
def keys(word: str, json_schema: bool, markdown: bool, **templates: tuple[Path, ...]) -> None:
    """List the keys of a review file, or those about a WORD."""
    from reviewkit import commands

    if json_schema:
        click.echo(json.dumps(commands.json_schema(**templates), ensure_ascii=False, indent=1))
        return
    if markdown:
        click.echo(commands.keys_page(**templates), nl=False)
        return
    from reviewkit.sections.key_list import told_once

    found = tuple(told_once(commands.keys(word, **templates)))
    title: tuple[str, ...] | None = None
    for key in found:
        if key.sections != title:
            title = key.sections
            click.echo(f"\n{', '.join(title) or 'The review itself'}")
        click.echo(key)
    if not found:
        click.echo(f"no key about '{word}'; 'reviewkit keys' lists all", err=True)
        click.get_current_context().exit(INPUT_AT_FAULT)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path), default=".")
def instruments(folder: Path) -> None:
    """Show one's own meters (instruments.yaml), which review uses what, and what is missing."""
    from reviewkit import commands

    click.echo(commands.instruments_of(folder))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("logs", nargs=-1, type=click.Path(path_type=Path), metavar="[LOG…]")
@click.option("--name", default="", help="The device's name. Default: the folder's.")
@click.option("--all", "every_key", is_flag=True, help="Write every key there is, not only the first ones.")
@click.option("--notebooks", is_flag=True, help="Also the sections' notebooks, to fill in and run by hand.")
@_templates
def start(folder: Path, logs: tuple[Path, ...], **options: Any) -> None:
    """Make a review folder to fill in, with a bench sheet to print; logs are copied into it and named."""
    from reviewkit import commands

    # The options are named as the function's own.
    made = commands.start(folder, *logs, **options)
    for path in made.files:
        click.echo(path)
    for line in made.told:
        click.echo(line, err=True)


@main.command()
@_folders
@click.option("-o", "--out", type=click.Path(path_type=Path), default="site", help="Default: site/ here.")
@click.option(
    "--single-file/--no-single-file",
    default=None,
    help="Also write NAME/NAME.html: all pages in one, to mail. Once written it stays, until said otherwise.",
)
@click.option(
    "--stills/--no-stills",
    default=None,
    help="Also write NAME/stills/: pictures for a video. They stay likewise.",
)
@click.option(
    "--charts-script",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A smaller build of the script that draws the charts.",
)
@click.option(
    "--stay-ready",
    type=click.FloatRange(min=0),
    metavar="SECONDS",
    help="How long what has been loaded stays ready for the next run. Default: 300 at a terminal, else 0.",
)
@click.option(
    "--scheduler",
    default="",
    metavar="ADDRESS",
    help="Run the notebooks on this Dask cluster. For thousands of reviews; needs reviewkit[cluster].",
)
@_list
@click.option("--fresh", is_flag=True, help="Run everything, also what has not changed since the last run.")
@_templates
def run(
    folders: tuple[Path, ...],
    out: Path,
    templates: tuple[Path, ...],
    only_templates: tuple[Path, ...],
    fresh: bool,
    stay_ready: float | None,
    scheduler: str,
    **options: Any,
) -> None:
    """Run whole reviews: notebooks executed, findings collected, pages published.

    A review of which nothing has changed is left as it is; of one that has changed, the sections are run
    that depend on the change.
    """
    _seldom_collecting()
    from reviewkit.pipeline import cache

    # Who brings templates of their own may have them read anything.
    own: dict[str, Any] = {"templates": templates, "only_templates": only_templates}
    wanted = cache.RunOptions(out, **options)
    done = {} if fresh or any(own.values()) else cache.among(folders, wanted)
    if left := [folder for folder in folders if folder not in done]:
        with _executor(scheduler, stay_ready, ahead=not cache.is_reworded(left, wanted)) as executor:
            # While the server loads what the sections need, this process loads what it needs itself.
            from reviewkit.system import kit

            with kit.imports_without("pyarrow", *kit.SCHEMA_EXTRAS):
                from reviewkit.commands import reviews
            # The options are named as the function's own.
            _report(reviews.run(*left, out=out, executor=executor, fresh=fresh, **own, **options))
    _say_unchanged(done)


@contextmanager
def _executor(scheduler: str, stay_ready: float | None, *, ahead: bool) -> Iterator[Executor | None]:
    """Hold what runs the notebooks: a cluster, or None for this machine, got ready."""
    if scheduler:
        from reviewkit.execution import execute

        with execute.executor(scheduler) as executor:
            yield executor
        return
    from reviewkit.execution import forkserver

    at_terminal = sys.stderr.isatty()
    linger_s = stay_ready if stay_ready is not None else _STAY_READY_S * at_terminal
    with forkserver.serving(linger_s=linger_s, ahead=ahead):
        yield None


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@_templates
def sheet(folder: Path, **templates: tuple[Path, ...]) -> None:
    """Write FOLDER's bench sheet anew, for this device: two pages of A4 to print and write on."""
    from reviewkit import bench_day

    click.echo(_from_here(bench_day.sheet(folder, **templates)))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("word", default="")
@click.option("--json", "as_json", is_flag=True, help="For editors that complete placeholders.")
@_templates
def findings(folder: Path, word: str, as_json: bool, **templates: tuple[Path, ...]) -> None:
    """List what words.md can name, or what has WORD in it: each finding's key, present value and label."""
    from reviewkit import commands

    listed = commands.findings(folder, word, **templates)
    if as_json:
        click.echo(json.dumps([item.to_dict() for item in listed.items], ensure_ascii=False, indent=1))
    else:
        wide = max((len(item.key) for item in listed.items), default=0) + 4
        title = ""
        for item in listed.items:
            if item.section != title:
                title = item.section
                click.echo(f"\n{title}")
            click.echo(f"{f'{{{item.key}}}':<{wide}}{item.text}  ({item.label})")
    for told in listed.failed:
        click.echo(f"failed: {told}", err=True)
    if not listed.items:
        near = f"; near it: {', '.join(listed.near)}" if listed.near else ""
        click.echo(f"no finding about '{word}'{near}", err=True)
        click.get_current_context().exit(INPUT_AT_FAULT)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Default: any that is free.")
@click.option("--open", "in_browser", is_flag=True, help="Open it in the browser.")
@_templates
def preview(folder: Path, port: int, in_browser: bool, **templates: tuple[Path, ...]) -> None:
    """Show the review on this machine only, and anew whenever a file of the folder is saved.

    Faults stand on the page. Nothing is published. Ctrl-C ends it.
    """
    from reviewkit.preview import session

    with session.opened(folder, port=port, **templates) as (address, follow):
        click.echo(f"{address.url}\nFor this machine alone. Ctrl-C ends it.")
        if in_browser:
            click.launch(address.url)
        try:
            follow()
        except Terminated:
            raise
        except KeyboardInterrupt:
            click.echo("The preview has ended; nothing was published.", err=True)


@main.command()
@_folders
@click.option("-o", "--out", type=click.Path(path_type=Path), default="site", help="Default: site/ here.")
@_list
@_templates
def compare(folders: tuple[Path, ...], out: Path, list_name: str, **templates: Any) -> None:
    """Run reviews and publish them side by side: two to twelve devices, or editions of one.

    A review of which nothing has changed is left as it is.
    """
    _seldom_collecting()
    from reviewkit.pipeline import cache

    wanted = cache.RunOptions(out, list_name=list_name)
    done = {} if any(templates.values()) else cache.among(folders, wanted)
    with _executor("", 0, ahead=True):
        from reviewkit import commands

        together = commands.compare(*folders, out=out, list_name=list_name, unchanged=done, **templates)
    _report(together.reviews)
    _say_unchanged(done)
    if not together.result.ok:
        _say_failure(together.place.name, together.result)
        click.get_current_context().exit(KIT_AT_FAULT)
    click.echo(_from_here(together.index))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--once", is_flag=True, help="Say how it stands, and end.")
@click.option(
    "--run", type=click.IntRange(min=1), help="Which of the charges under charge_runs. Default: the last."
)
@click.option(
    "--every", "every_s", type=click.FloatRange(min=0.5), default=5.0, metavar="SECONDS", show_default=True
)
@click.option(
    "--on-alarm",
    default="",
    metavar="COMMAND",
    help="Run this for each new alarm, without a shell; REVIEWKIT_ALARM_SAYS, _DO, _ABOUT and _URGENT in its "
    "environment tell what it is.",
)
@_templates
def follow(
    folder: Path, once: bool, run: int | None, every_s: float, on_alarm: str, **templates: Any
) -> None:
    """Follow a charge while its logs grow: what the charger does, what is coming, what needs a hand.

    It only reads, and is no safety device: it replaces no one who watches.
    """
    from reviewkit.bench_day import follow as following

    screen = sys.stdout.isatty() and not once

    def show(lines: Sequence[str], alarmed: bool) -> None:
        if screen:
            click.clear()
        click.echo("\n".join([*lines, ""]) + ("\a" if alarmed and screen else ""))
        sys.stdout.flush()

    following.watch(
        folder, show, once=once, every_s=every_s, on_alarm=on_alarm, run=run or 0, whole=screen, **templates
    )


@main.command()
@_folders
@click.option("-o", "--out", type=click.Path(path_type=Path), default="site", help="Default: site/ here.")
@_templates
def check(folders: tuple[Path, ...], out: Path, **templates: tuple[Path, ...]) -> None:
    """Say everything that can be known before running: files, columns, units, what is missing.

    What a run would refuse of the place to publish in is told as well.
    """
    _seldom_collecting()
    from reviewkit import commands

    faults = commands.check(*folders, out=out, **templates)
    if faults:
        _say_faults(faults)
        click.get_current_context().exit(INPUT_AT_FAULT)
    seen = commands.looked_over(*folders, **templates)
    for remark in seen.remarks:
        click.echo(f"To look at: {remark}")
    for folder in seen.idle:
        click.echo(f"{folder.name}: nothing is connected yet; a run would find nothing.")
    if not seen.idle:
        click.echo("Nothing at fault.")


@main.group(invoke_without_command=True)
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.pass_context
def note(context: click.Context, folder: Path) -> None:
    """Enter readings, trials, drains and cable times at the bench; hear what they tell.

    Without a command it asks for one after the other: 'reading 3.912 3.9', then 'end' or an empty line.
    What was entered stands in FOLDER's tables at once, and in bench-notes.csv with its time.
    """
    context.obj = folder
    if context.invoked_subcommand is None:
        _note_lines(folder)


def _note_lines(folder: Path) -> None:
    """Take an entry a line from standard input; one that is at fault is said, and the next one asked for."""
    for typed in iter(lambda: click.prompt("note", default="", show_default=False, err=True), ""):
        if typed.strip() == "end":
            return
        try:
            note.main([str(folder), *shlex.split(typed)], standalone_mode=False)
        except InputError as fault:
            _say_faults([fault])
        except (click.ClickException, ValueError) as fault:
            click.echo(fault.format_message() if isinstance(fault, click.ClickException) else fault, err=True)
        except click.exceptions.Exit:
            pass


_sure = click.option("--sure", is_flag=True, help="Write it although it looks impossible beside the others.")
_remark = click.option("--remark", default="", help="Stands beside it in the table.")


def _say_noted(noted: Noted) -> None:
    for line in noted.told:
        click.echo(line)


@note.command()
@click.argument("reference")
@click.argument("shown")
@click.option("--load", default="", help="The device's own load meanwhile, such as '15 mA'.")
@click.option("--warning", default="", help="What else shows, such as 'half'.")
@_remark
@_sure
@click.pass_obj
def reading(folder: Path, /, reference: str, shown: str, **more: Any) -> None:
    """Enter a reading of the readout: REFERENCE voltage, and what the device has SHOWN."""
    from reviewkit import bench_day

    _say_noted(bench_day.reading(folder, reference, shown, **more))


@note.command()
@click.argument("state")
@click.argument("event")
@click.argument("to")
@click.option("--times", default=1, help="How many times running it was done with this outcome.")
@_remark
@_sure
@click.pass_obj
def trial(folder: Path, /, state: str, event: str, to: str, **more: Any) -> None:
    """Enter a trial: in STATE the EVENT, which led TO a state ('n/a' if it can't occur there)."""
    from reviewkit import bench_day

    _say_noted(bench_day.trial(folder, state, event, to, **more))


@note.command()
@click.argument("state")
@click.argument("current")
@click.option("--range", "on_range", default="", help="The ammeter's range in use, such as '600 uA'.")
@click.pass_obj
def drain(folder: Path, state: str, current: str, on_range: str) -> None:
    """Enter a single reading of what a STATE draws, with its unit: 'locked out' '2.4 uA'."""
    from reviewkit import bench_day

    _say_noted(bench_day.drain(folder, state, current, on_range=on_range))


@note.command("cable-out")
@click.option("--at", "moment_s", type=float, help="Seconds on the voltage log's own clock. Default: now.")
@click.option("--charge", "run", default=1, help="Which charge of the review, from 1.")
@click.pass_obj
def cable_out(folder: Path, moment_s: float | None, run: int) -> None:
    """Enter that the cable is pulled after a charge, now or at a moment."""
    from reviewkit import bench_day

    _say_noted(bench_day.cable(folder, moment_s, run=run))


@note.command()
@click.pass_obj
def clap(folder: Path) -> None:
    """Clap before the camera as you press Enter: what follows has its time in the film."""
    from reviewkit import bench_day

    _say_noted(bench_day.clap(folder))


@note.command()
@click.pass_obj
def undo(folder: Path) -> None:
    """Take the last entry back."""
    from reviewkit import bench_day

    _say_noted(bench_day.undo(folder))


class _Numbers(click.ParamType[tuple[float, ...]]):
    """Numbers between commas, as many as their names."""

    def __init__(self, name: str) -> None:
        self.name = name

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, ...]:
        try:
            found = tuple(float(part) for part in str(value).split(","))
        except ValueError:
            found = ()
        if len(found) != len(self.name.split(",")):
            self.fail(f"'{value}' is not {self.name} in pixels", param, ctx)
        return found


class _Moment(click.ParamType[float]):
    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        from reviewkit.tables import csv_table

        try:
            return csv_table.seconds(str(value))
        except ValueError:
            self.fail(f"'{value}' is no time such as 0:43 or 43.5", param, ctx)


def _films() -> ModuleType:
    """Return what reads films, or say what it needs."""
    try:
        from reviewkit.bench_day import films
    except ModuleNotFoundError as missing:
        if (missing.name or "").partition(".")[0] != "av":
            raise
        raise InputError(
            "what decodes films is not installed",
            remedy="Install it: python -m pip install 'reviewkit[film]'.",
        ) from None
    return films


def _part_of_film(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command a film and the part of it to look at."""
    start = click.option("--from", "start_s", type=_Moment(), default="0", help="From here, as 0:43.")
    end = click.option("--to", "end_s", type=_Moment(), help="Up to here in the film, as 1:30.")
    film = click.argument("film", type=click.Path(path_type=Path))
    return film(start(end(command)))


_at = click.option("--at", type=_Numbers("X,Y"), metavar="X,Y", help="Where the light is, from left and top.")
_box = click.option(
    "--box", type=_Numbers("X,Y,W,H"), metavar="X,Y,W,H", help="Where to look: left, top, width, height."
)
_review_folder = click.option(
    "--folder", type=click.Path(exists=True, file_okay=False, path_type=Path), help="A review folder."
)


@main.command()
@_part_of_film
@_at
@_box
@_review_folder
@click.option("--log", default="", help="A voltage log of that folder that ran meanwhile.")
@click.option("--same", default="", metavar="FILM=LOG", help="A moment on both clocks, such as 0:12=83.5.")
@click.option(
    "--accept", is_flag=True, help="Then enter what was confirmed there into the review, thumbnails too."
)
def blinks(film: Path, folder: Path | None, accept: bool, **part: Any) -> None:
    """Read what a light in a FILM tells by blinks: count, pauses, time in the film, and how sure that is.

    With --folder the readings go into FOLDER/film-readings.csv, with thumbnails to confirm them by eye.
    Needs reviewkit[film]. No picture leaves this machine but the thumbnails you confirm, with words.md.
    """
    for line in _films().read(film, folder, accepting=accept, **part):
        click.echo(line)


@main.command()
@_part_of_film
@_at
@_box
@_review_folder
def flashes(film: Path, folder: Path | None, **part: Any) -> None:
    """Say how fast a light in a FILM flashes, as far as its pictures tell, and whether that may harm.

    With --folder a caution goes into FOLDER/review.yaml where it may: it stands before the review's video.
    """
    for line in _films().flashes(film, folder, **part):
        click.echo(line)


@main.command()
@_part_of_film
@_box
@_review_folder
@click.option("--accept", is_flag=True, help="Take what was chosen there into chapters and trials.")
def moments(film: Path, folder: Path | None, accept: bool, **part: Any) -> None:
    """Say when the light in a FILM comes on, goes off or changes.

    With --folder the moments go into FOLDER/film-moments.csv, to choose chapters and trials from.
    """
    for line in _films().moments(film, folder, accepting=accept, **part):
        click.echo(line)


@main.command()
@click.argument(
    "places", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path), metavar="OUT…"
)
@_templates
def verify(places: tuple[Path, ...], **templates: Any) -> None:
    """Run published reviews again from their raw data and say which findings still stand.

    OUT is a published review, its evidence.zip, or a folder that holds several reviews. Exit status 2 where
    a finding does not stand, or where the evidence can't be used.
    """
    from reviewkit.commands import verification

    verified = verification.verify(*places, **templates)
    for item in verified:
        for check in item.checks:
            click.echo(f"{'stands ' if check.stands else 'CHANGED'}  {check.text}")
        for result in item.failed:
            _say_failure(item.name, result)
        click.echo(item.text)
    if not all(item.stands for item in verified):
        failed = [result for item in verified for result in item.failed]
        click.get_current_context().exit(_status(failed))


def _status(failed: Sequence[SectionResult]) -> int:
    """Return the exit status where sections failed, or findings do not stand."""
    return INPUT_AT_FAULT if all(result.outcome.input_faults for result in failed) else KIT_AT_FAULT


def _report(published: Sequence[Published]) -> None:
    """Say where each review is, and what is gone; leave with a status where a section failed."""
    for item in published:
        click.echo(f"{'draft only: ' if item.is_draft else ''}{_from_here(item.index)}")
        if item.gone:
            click.echo(f"no longer published in {item.place.name}: {', '.join(item.gone)}", err=True)
    failed = [(item.review.file.name, result) for item in published for result in item.review.failed]
    for name, result in failed:
        _say_failure(name, result)
    for item in published:
        _say_faults(item.faults)
    if failed:
        click.get_current_context().exit(_status([result for _, result in failed]))


def _say_unchanged(pages: Mapping[Path, Path]) -> None:
    for page in pages.values():
        click.echo(f"unchanged: {_from_here(page)}")


def _say_failure(name: str, result: SectionResult) -> None:
    for line in result.outcome.input_faults or (result.message,):
        click.echo(f"{name}, {result.section.title}: {line}", err=True)


def _say_faults(faults: Any) -> None:
    for error in faults:
        for fault in error.faults if isinstance(error, Faults) else (error,):
            click.echo(fault.message, err=True)


def _from_here(path: Path) -> Path:
    return path.relative_to(Path.cwd()) if path.is_relative_to(Path.cwd()) else path
