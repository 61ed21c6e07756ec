"""A small version of a review that stands alone: to embed in another page, or to send."""

from __future__ import annotations

from collections.abc import Iterator

from reviewkit.findings import CHART_MIME, PART_MIME, PLOTLY_MIME
from reviewkit.pipeline import harvest
from reviewkit.pipeline.results import Reviewed, SectionResult
from reviewkit.publishing.site import bundles, exporter
from reviewkit.publishing.site.bundles import ChartBundle, cleaned
from reviewkit.publishing.site.context import PageContext

CARD = "card.html"
HOME = "index.html"


def write(reviewed: Reviewed, page: PageContext) -> str:
    """Write the small version beside the review's pages and return where it is.

    It holds the title, what the bench found, one picture and the way to the review; nothing in it is fetched
    and no script runs.

    Parameters
    ----------
    reviewed : Reviewed
    page : PageContext
        The review's own page.

    Returns
    -------
    str
        Empty, and nothing is written, where a section's page has that name.
    """
    place = reviewed.staged / CARD
    if CARD in {result.page for result in reviewed.sections} | page.pages:
        return ""
    found = exporter.led(cleaned(opening(reviewed, "text/html")), page, home=HOME)
    about = reviewed.file.review
    edition = f"Edition {about.edition}" if about.edition else "Working copy"
    told = ", ".join(part for part in (edition, about.date, about.author) if part)
    chart = next(_pictured(reviewed), None)
    text = exporter.template("card.html.j2", page, home=HOME, found=found, told=told, chart=chart)
    place.write_text(text, encoding="utf-8")
    return CARD


def opening(reviewed: Reviewed, mime: str) -> str:
    """Return what the bench found, as the summary says it: "text/plain" or "text/html"."""
    shown = harvest.outputs(reviewed.summary.notebook) if reviewed.summary else ()
    parts = (data for data in shown if data.get(PART_MIME, {}).get("name") == "opening")
    return next(("".join(data[mime]) for data in parts), "")


_ON_THE_LINE = ("ends", "wrong", "full_in")


def key_line(reviewed: Reviewed) -> str:
    """Return the few of a review's key figures that a shared link has room for; empty if it shows none."""
    shown = harvest.displayed(reviewed.summary.notebook, PART_MIME) if reviewed.summary else ()
    figures = [item for part in shown for item in part.get("figures", ()) if item["name"] in _ON_THE_LINE]
    return " · ".join(f"{item['head']}: {item['text']}" for item in figures)


def _pictured(reviewed: Reviewed) -> Iterator[ChartBundle]:
    """Walk each section's first picture, that section's first from which the most urgent finding is."""
    judged = [item for item in reviewed.findings if item.is_judged]
    first = min(judged, key=exporter.urgency, default=None)

    def has_it(result: SectionResult) -> bool:
        return first is not None and first.key in {item.key for item in result.findings}

    for result in sorted(reviewed.sections, key=has_it, reverse=True):
        for data in harvest.outputs(result.notebook):
            if PLOTLY_MIME in data and data.get(CHART_MIME, {}).get("pictures"):
                yield bundles.chart(data)
                break
