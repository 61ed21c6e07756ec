"""A review that has been run gets its pages, its evidence, whatever else was asked for, and its place."""

from __future__ import annotations

import base64
from dataclasses import dataclass, replace
from pathlib import Path

from reviewkit.errors import Faults, InputError
from reviewkit.pipeline.cache import RunOptions
from reviewkit.pipeline.results import Reviewed
from reviewkit.publishing import atomic, editions, evidence, png, site, written


@dataclass(frozen=True)
class Extras:
    """What is wanted of the pages beyond themselves.

    Parameters
    ----------
    single_file : bool
        Whether all pages are to be written into one file as well.
    stills : bool
        Whether pictures for a video are to be drawn as well.
    charts_script : pathlib.Path or None
        A smaller build of the charts' script.
    home : str
        The page that lists all reviews.
    fresh : bool
        Whether to render, too, what comes out as it did before.
    """

    single_file: bool
    stills: bool
    charts_script: Path | None
    home: str
    fresh: bool = False


def settled(options: RunOptions, path: Path) -> RunOptions:
    """Return the options with nothing left open: what was asked for once stays until it is said otherwise.

    Parameters
    ----------
    path : pathlib.Path
        The published folder of the review that is to be replaced.
    """
    before = written.files(path)
    single = f"{path.name.partition('.')[0]}.html" in before
    stills = any(name.startswith("stills/") for name in before)
    return replace(
        options,
        single_file=single if options.single_file is None else options.single_file,
        stills=stills if options.stills is None else options.stills,
    )


def wanted(options: RunOptions, *, fresh: bool = False) -> Extras:
    """Return what the options of a run ask for.

    Raises
    ------
    InputError
        If there is no such script.
    """
    script = site.charts_source(Path(options.charts_script)) if options.charts_script else None
    return Extras(bool(options.single_file), bool(options.stills), script, options.list_name, fresh)


def begin(closed: Reviewed, extras: Extras) -> None:
    """Write the pages of a review's sections, while its summary is still to come."""
    site.write_sections(closed, charts_script=extras.charts_script, home=extras.home, fresh=extras.fresh)


def put(ended: Reviewed, out: Path, extras: Extras) -> tuple[Path, tuple[str, ...], tuple[InputError, ...]]:
    """Write a review's own page and its evidence, and move it into its place.

    Parameters
    ----------
    ended : Reviewed
        What `begin` was given, with its summary.
    out : pathlib.Path
        The published folder.

    Returns
    -------
    place : pathlib.Path
        Where it is now.
    gone : tuple of str
        Files that were published there before, and are not any more.
    faults : tuple of InputError
        Of a draft: what else is wrong, with the author's own words.

    Raises
    ------
    Faults
        What is wrong with the author's own words where no section failed: the review is not published.
    """
    faults = [*ended.strange_chapters(), *site.word_faults(ended)]
    # What a section stumbled over comes first: its draft is written, whatever else is wrong.
    if faults and not ended.failed:
        raise Faults(faults)
    script = extras.charts_script
    site.write_index(ended, charts_script=script, home=extras.home, fresh=extras.fresh)
    _write_shared_picture(ended, fresh=extras.fresh)
    evidence.write(ended)
    if extras.single_file:
        pages = [result.page for result in ended.sections]
        site.join(ended.staged, ended.file.name, sections=pages, carried=evidence.ZIP, charts_script=script)
    if extras.stills and not ended.failed:
        from reviewkit.publishing import stills

        stills.add(ended)
    site.write_charts(out, charts_script=script)
    file = ended.file
    good = not ended.failed and editions.is_to_replace(out, file.name, file.review.edition)
    before = written.files(out / (file.name if good else file.name + atomic.DRAFT))
    folder = atomic.put(ended.staged, out, file.name, good=good)
    return folder, tuple(sorted(before - written.files(folder))), tuple(faults)


def _write_shared_picture(ended: Reviewed, *, fresh: bool) -> None:
    """Leave what a shared link shows beside a review's page."""
    file = ended.file
    line = site.key_line(ended) or site.opening(ended, "text/plain")
    told = file.device.name, line, file.review.notice

    def drawn() -> str:
        from reviewkit.publishing import stills

        return base64.b64encode(stills.preview(told[0], line, notice=told[2])).decode()

    # With other letters, it is as this machine's fonts have them.
    fresh = fresh or not png.is_carried("".join(told))
    picture = site.kept(("shared picture", told), drawn, fresh=fresh)
    (ended.staged / site.PREVIEW).write_bytes(base64.b64decode(picture))


def list_all(out: Path, extras: Extras) -> None:
    """Write what the reviews of a published folder share."""
    site.write_list(out, charts_script=extras.charts_script, home=extras.home, fresh=extras.fresh)
    site.trim()
