"""Published pages: a review's own, one for each section, and the list of all reviews."""

from reviewkit.publishing.site.context import PREVIEW, Link, PageContext, charts_name, charts_source
from reviewkit.publishing.site.pages import (
    KnownPages,
    write_charts,
    write_comparison,
    write_index,
    write_preview,
    write_review,
    write_sections,
)
from reviewkit.publishing.site.preview import preview_of_nothing, preview_script, with_preview
from reviewkit.publishing.site.prose import word_faults
from reviewkit.publishing.site.rendering import kept, rendered, trim
from reviewkit.publishing.site.review_list import COMPARED, beside, write_list
from reviewkit.publishing.site.single_file import join, key_line, opening

__all__ = [
    "COMPARED",
    "PREVIEW",
    "KnownPages",
    "Link",
    "PageContext",
    "beside",
    "charts_name",
    "charts_source",
    "join",
    "kept",
    "key_line",
    "opening",
    "preview_of_nothing",
    "preview_script",
    "rendered",
    "trim",
    "with_preview",
    "word_faults",
    "write_charts",
    "write_comparison",
    "write_index",
    "write_list",
    "write_preview",
    "write_review",
    "write_sections",
]
