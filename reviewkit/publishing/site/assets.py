"""What the pages carry with them: style and script in each page, the charts' script once per site."""

from __future__ import annotations

import base64
import hashlib
import importlib.util
import re
import shutil
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from markupsafe import Markup

from reviewkit.errors import InputError, KitError
from reviewkit.pipeline.results import ASSETS
from reviewkit.publishing import written
from reviewkit.system.kit import kit_folder

_REFERENCE = re.compile(r'data-charts="[^"]*?(charts-[0-9a-f]+\.js)"')


@dataclass(frozen=True)
class PageAssets:
    """Style, script and policy of a page.

    Parameters
    ----------
    tokens : markupsafe.Markup
        The colours, sizes and letters that all pages have in common, as style.
    style, script : markupsafe.Markup
        The style of a whole page, the tokens with it.
    policy : str
        Content-Security-Policy: nothing is fetched but the site's own charts' script, pictures and video, and
        no script runs but this one and that.
    """

    tokens: Markup
    style: Markup
    script: Markup
    policy: str


@cache
def page_assets() -> PageAssets:
    """Return what each page carries."""
    folder = templates()
    tokens, own = (_small((folder / name).read_text(encoding="utf-8")) for name in ("tokens.css", "page.css"))
    style = f"{tokens}\n{own}"
    script = _small((folder / "page.js").read_text(encoding="utf-8"))
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    policy = (
        "default-src 'none'; "
        # A page opened from a disk has no origin of its own to name with 'self'.
        f"script-src 'self' file: 'sha256-{digest}'; "
        # The charts' script sets styles on what it draws.
        "style-src 'unsafe-inline'; "
        "img-src 'self' file: data: blob:; media-src 'self' file: data:; base-uri 'none'; form-action 'none'"
    )
    return PageAssets(Markup(tokens), Markup(style), Markup(script), policy)


def templates() -> Path:
    """Return the folder of the page templates."""
    return kit_folder() / "html"


def _small(text: str) -> str:
    """Return style or script without comments of their own lines and without indents."""
    text = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)
    return "\n".join(line.strip() for line in text.splitlines() if line.strip())


def charts_source(given: Path | None = None) -> Path:
    """Return the file with the charts' script: the one given, else the one that plotly carries.

    Raises
    ------
    InputError
        If the one given is not there.
    """
    if given is not None:
        if not given.is_file():
            raise InputError(f"no such file '{given}'", expected="a build of plotly.js for --charts-script")
        return given
    found = importlib.util.find_spec("plotly")
    if found is None or found.origin is None:
        raise KitError("plotly is not installed")
    return Path(found.origin).parent / "package_data" / "plotly.min.js"


@cache
def charts_name(source: Path) -> str:
    """Return the script's name in a site; another script has another name, so no browser mixes them up."""
    with source.open("rb") as stream:
        return f"charts-{hashlib.file_digest(stream, 'sha256').hexdigest()[:12]}.js"


def write_charts(out: Path, source: Path) -> None:
    """Put the charts' script into a site, once, and remove those that no page asks for any more."""
    own = f"{ASSETS}/{charts_name(source)}"
    if not ((out / own).exists() and own in written.shared(out)):
        written.put(out, own, lambda part: shutil.copyfile(source, part))
    scripts = {name for name in written.shared(out) if name.startswith(f"{ASSETS}/charts-")}
    if scripts == {own}:
        return
    pages = (page for page in out.glob("*/*.html") if page.is_file())
    asked = {f"{ASSETS}/{name}" for page in pages for name in _asked(page)}
    for name in scripts - asked - {own}:
        written.remove(out, name)


def _asked(page: Path) -> list[str]:
    with page.open(encoding="utf-8", errors="replace") as stream:
        return _REFERENCE.findall(stream.read(60_000))
