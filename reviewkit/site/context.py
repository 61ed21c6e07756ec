"""What a page knows beside its notebook."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup


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
    review : str
        The review's title; for the name of the browser's tab.
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
    video : str
        The video beside the review; empty for none.
    words : markupsafe.Markup
        The author's own paragraphs, rendered.
    first_charts : mapping of str to mapping
        What each section displayed as its first chart, for the summary to show.
    """

    title: str
    review: str = ""
    charts: str = ""
    lead: str = ""
    disclosure: str = ""
    notice: str = ""
    draft: str = ""
    trail: tuple[Link, ...] = ()
    sections: tuple[Link, ...] = ()
    where: Mapping[str, str] = field(default_factory=dict)
    video: str = ""
    words: Markup = field(default_factory=Markup)
    first_charts: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def title_of(self, key: str) -> str:
        """Return the title of the section that a finding is from."""
        page = self.where.get(key)
        return next((link.text for link in self.sections if link.href == page), "Others")
