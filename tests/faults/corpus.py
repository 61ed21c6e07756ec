"""All entries."""

from __future__ import annotations

from .log_form import FORM
from .log_meaning import MEANING
from .notebooks import FAILING
from .packed import PACKED
from .places import PLACES
from .review_file import REVIEW
from .tables import TABLES
from .taken import TAKEN
from .words import WORDS

REFUSED = (*FORM, *MEANING, *PACKED, *TABLES, *PLACES, *REVIEW, *WORDS)
REMARKED = TAKEN

__all__ = ["FAILING", "REFUSED", "REMARKED"]
