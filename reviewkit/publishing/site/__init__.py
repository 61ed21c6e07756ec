"""Published pages: a review's own, one for each section, and the list of all reviews."""

from reviewkit.publishing.site.context import PREVIEW, Link, PageContext, charts_source
from reviewkit.publishing.site.exporter import rendered
from reviewkit.publishing.site.pages import (
    write_charts,
    write_comparison,
    write_index,
    write_review,
    write_sections,
    write_shelf,
)
from reviewkit.publishing.site.prose import word_faults
from reviewkit.publishing.site.shelf import COMPARED, beside
from reviewkit.publishing.site.single_file import join

__all__ = [
    "COMPARED",
    "PREVIEW",
    "Link",
    "PageContext",
    "beside",
    "charts_source",
    "join",
    "rendered",
    "word_faults",
    "write_charts",
    "write_comparison",
    "write_index",
    "write_review",
    "write_sections",
    "write_shelf",
]
