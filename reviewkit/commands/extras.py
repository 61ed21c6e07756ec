"""What a run may be asked for beyond the pages themselves."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from reviewkit.pipeline.cache import RunOptions


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
    """

    single_file: bool
    program: Path | None
    charts_script: Path | None


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
    return Extras(options.single_file, program, script)
