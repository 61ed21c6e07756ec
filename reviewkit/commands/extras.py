"""What a run may be asked for beyond the pages themselves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from reviewkit.pipeline.cache import RunOptions
from reviewkit.publishing import written


@dataclass(frozen=True)
class Extras:
    """What is wanted of the pages beyond themselves.

    Parameters
    ----------
    single_file : bool
        Whether all pages are to be written into one file as well.
    program : pathlib.Path or None
        The browser that draws pictures for a video; none: no pictures.
    charts_script : pathlib.Path or None
        A smaller build of the charts' script.
    home : str
        The page that lists all reviews.
    """

    single_file: bool
    program: Path | None
    charts_script: Path | None
    home: str


def settled(options: RunOptions, place: Path) -> RunOptions:
    """Return the options with nothing left open: what was asked for once stays until it is said otherwise.

    Parameters
    ----------
    options : RunOptions
    place : pathlib.Path
        The published folder of the review that is to be replaced.
    """
    before = written.files(place)
    single = f"{place.name.partition('.')[0]}.html" in before
    stills = any(name.startswith("stills/") for name in before)
    return replace(
        options,
        single_file=single if options.single_file is None else options.single_file,
        stills=stills if options.stills is None else options.stills,
    )


def wanted(options: RunOptions) -> Extras:
    """Return what the options of a run ask for.

    Raises
    ------
    InputError
        If there is no such browser, or no such script.
    """
    program = script = None
    # Neither is light, and few runs ask for them.
    if options.stills:
        from reviewkit.publishing import stills as drawing

        program = drawing.browser(options.browser or "")
    if options.charts_script:
        from reviewkit.publishing import site

        script = site.charts_source(Path(options.charts_script))
    return Extras(bool(options.single_file), program, script, options.list_name)
