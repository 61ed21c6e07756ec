"""What programs read of a review's page: schema.org's Review as JSON-LD, and Open Graph's tags."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from reviewkit.publishing.site.bundles import script_json
from reviewkit.review.review_file import Device, ReviewFile
from reviewkit.review.video import Film

_DATE = re.compile(r"\d{4}-\d\d-\d\d")


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
    review : ReviewFile
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
            "uploadDate": _date(review),
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
        "article:published_time": _date(review),
        "article:author": review.review.author,
        "og:video": film.href if film and not film.kind else "",
    }
    return tuple((name, content) for name, content in tags.items() if content)


def _filled(values: dict[str, Any]) -> dict[str, Any]:
    """Return the values without those that say nothing."""
    return {name: value for name, value in values.items() if value or value == 0}
