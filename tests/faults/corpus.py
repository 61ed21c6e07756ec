"""All entries."""

from __future__ import annotations

from .log_form import FORM
from .log_meaning import MEANING

REFUSED = (*FORM, *MEANING)
REMARKED = ()
