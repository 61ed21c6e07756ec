"""What a page has beside its notebook: style and script, links, what programs read (JSON-LD, Open Graph)."""

from __future__ import annotations

import base64
import hashlib
import importlib.util
import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from markupsafe import Markup

from reviewkit.errors import InputError, KitError
from reviewkit.pipeline.results import ASSETS
from reviewkit.publishing import written
from reviewkit.publishing.site.bundles import script_json
from reviewkit.review.review_file import Device, ReviewFile
from reviewkit.review.video import Film
from reviewkit.system.kit import kit_folder

_DATE = re.compile(r"\d{4}-\d\d-\d\d")
PREVIEW = "preview.png"
"""What a shared link shows, beside the review's page."""


@dataclass(frozen=True)
class Described:
    """A review as programs see it.

    Parameters
    ----------
    linked : markupsafe.Markup
        JSON-LD that a script element can hold.
    tags : tuple of (str, str)
        Property and content of each Open Graph tag.
    summary : str
        What the bench found, in a paragraph.
    """

    linked: Markup
    tags: tuple[tuple[str, str], ...]
    summary: str


def described(review: ReviewFile, found: str, film: Film | None) -> Described:
    """Return what a review's page says to programs.

    Parameters
    ----------
    found : str
        What the bench found, in a paragraph.
    film : Film or None
        The video beside the review.

    Notes
    -----
    There is no rating: the review has none.
    """
    return Described(script_json(_review(review, found, film)), _tags(review, found, film), found)


def _date(review: ReviewFile) -> str:
    """Return the review's date where it is one that programs read (ISO 8601)."""
    return review.review.date if _DATE.fullmatch(review.review.date) else ""


def _review(review: ReviewFile, found: str, film: Film | None) -> dict[str, Any]:
    about = review.review
    return _filled(
        {
            "@context": "https://schema.org",
            "@type": "Review",
            "name": review.title,
            "inLanguage": "en",
            "itemReviewed": _product(review.device),
            "author": about.author and {"@type": "Person", "name": about.author},
            "datePublished": _date(review),
            "version": about.edition or "",
            "reviewBody": found,
            "url": review.address("index.html"),
            "image": review.address(PREVIEW),
            "video": film and _video(review, found, film),
        }
    )


def _product(device: Device) -> dict[str, Any]:
    return _filled(
        {
            "@type": "Product",
            "name": device.name,
            "category": device.kind,
            "manufacturer": device.maker and {"@type": "Organization", "name": device.maker},
            "additionalProperty": device.firmware
            and {"@type": "PropertyValue", "name": "firmware", "value": device.firmware},
        }
    )


def _video(review: ReviewFile, found: str, film: Film) -> dict[str, Any]:
    return _filled(
        {
            "@type": "VideoObject",
            "name": review.title,
            "description": found,
            "uploadDate": review.review.video_date,
            "thumbnailUrl": review.address(PREVIEW),
            # An address elsewhere is a page with a player on it; a file beside the pages is the video itself.
            "contentUrl" if film.kind else "url": film.href,
            "encodingFormat": film.kind,
            "hasPart": [
                {
                    "@type": "Clip",
                    "name": cue.title,
                    "startOffset": cue.start_s,
                    **({} if cue.end_s is None else {"endOffset": cue.end_s}),
                    "url": film.at(cue.start_s),
                }
                for cue in film.cues
            ],
        }
    )


def _tags(review: ReviewFile, found: str, film: Film | None) -> tuple[tuple[str, str], ...]:
    tags = {
        "og:type": "article",
        "og:title": review.title,
        "og:description": found,
        "og:locale": "en",
        "og:url": review.address("index.html"),
        "og:image": review.address(PREVIEW) or PREVIEW,
        "og:image:alt": found,
        "article:published_time": _date(review),
        "article:author": review.review.author,
        "og:video": film.href if film and not film.kind else "",
    }
    return tuple((name, content) for name, content in tags.items() if content)


def _filled(values: dict[str, Any]) -> dict[str, Any]:
    """Return the values without those that say nothing."""
    return {name: value for name, value in values.items() if value or value == 0}


@dataclass(frozen=True)
class Link:
    """Where a link leads and what it says."""

    href: str
    text: str


@dataclass(frozen=True)
class PageContext:
    """What a page shows around the cells of its notebook.

    Parameters
    ----------
    title : str
        The page's heading.
    review, device : str
        The review's title, for the name of the browser's tab, and its device's name.
    charts : str
        Where the charts' script lies, seen from the page.
    lead, disclosure : str
        The lines under the heading: the sample, and who has what to do with whom.
    notice : str
        What every page of the review must say first, such as that its data are invented.
    draft : str
        Why this is a draft; empty if it is none.
    trail : tuple of Link
        The way back, from the list of all reviews.
    sections : tuple of Link
        The review's other pages.
    where : mapping of str to str
        The page that each finding is on.
    film : Film or None
        The video beside the review.
    moments : mapping of str to float [s]
        When the video shows each finding and each section that it shows.
    words : markupsafe.Markup
        The author's own paragraphs, rendered.
    first_charts : mapping of str to mapping
        What each section displayed as its first chart, for the summary to show.
    extra_pages : mapping of str to tuple of Link
        The pages of their own that each section makes.
    is_letter : bool
        Whether the page is such a one.
    section : str
        The name of the section that the page is; empty for another page.
    described : Described or None
        What programs read of the page.
    earlier : tuple of Link
        The review's earlier editions, as they were published.
    card : str
        Where the small version of the review is that stands alone; empty if there is none.
    description : str
        What is on the page, in a sentence or two, for search.
    address : str
        Where it stands on the web; empty where the review file doesn't say so.
    is_preview : bool
        Whether it is for the one who is writing the review, and no publication.
    """

    title: str
    review: str = ""
    device: str = ""
    charts: str = ""
    lead: str = ""
    disclosure: str = ""
    notice: str = ""
    draft: str = ""
    trail: tuple[Link, ...] = ()
    sections: tuple[Link, ...] = ()
    where: Mapping[str, str] = field(default_factory=dict)
    film: Film | None = None
    moments: Mapping[str, float] = field(default_factory=dict)
    words: Markup = field(default_factory=Markup)
    first_charts: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    extra_pages: Mapping[str, tuple[Link, ...]] = field(default_factory=dict)
    is_letter: bool = False
    section: str = ""
    described: Described | None = None
    earlier: tuple[Link, ...] = ()
    card: str = ""
    description: str = ""
    address: str = ""
    is_preview: bool = False

    @property
    def pages(self) -> frozenset[str]:
        """The files of the pages that sections make beside their own."""
        return frozenset(link.href for links in self.extra_pages.values() for link in links)

    def moment(self, name: str, own_s: float | None = None) -> str:
        """Return where the video shows a finding or section; nothing where it does not.

        Parameters
        ----------
        name : str
            A finding's key or a section's name.
        own_s : float or None [s]
            The moment that the finding itself knows.
        """
        moment_s = self.moments.get(name, own_s)
        return self.film.at(moment_s) if self.film and moment_s is not None else ""

    def title_of(self, key: str) -> str:
        """Return the title of the section that a finding is from."""
        page = self.where.get(key)
        return next((link.text for link in self.sections if link.href == page), "Others")


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
