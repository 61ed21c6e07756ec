"""Published pages: a review's own, one for each section, and the list of all reviews."""

from reviewkit.site.pages import write_review, write_shelf

__all__ = ["write_review", "write_shelf"]
