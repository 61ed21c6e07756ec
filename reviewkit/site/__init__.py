"""Published pages: a review's own, one for each section, and the list of all reviews."""

from reviewkit.site.assets import charts_source
from reviewkit.site.context import Link, PageContext
from reviewkit.site.exporter import rendered
from reviewkit.site.joined import join
from reviewkit.site.pages import (
    write_charts,
    write_comparison,
    write_index,
    write_review,
    write_sections,
    write_shelf,
)
from reviewkit.site.shelf import beside

__all__ = [
    "Link",
    "PageContext",
    "beside",
    "charts_source",
    "join",
    "rendered",
    "write_charts",
    "write_comparison",
    "write_index",
    "write_review",
    "write_sections",
    "write_shelf",
]
