"""HTML that a cell has put out: what a table or a paragraph needs is kept, the rest becomes text."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from markupsafe import Markup

_TEXT = "a abbr b br code del em i ins kbd s small span strong sub sup u var wbr"
_BLOCKS = "blockquote dd details div dl dt figcaption figure h2 h3 h4 h5 h6 hr li ol p pre section summary ul"
_TABLES = "caption table tbody td tfoot th thead tr svg path circle"
# What a browser would not show as text either, such as the style that pandas puts before a table.
_UNSHOWN = re.compile(r"<(style|script)\b.*?(?:</\1\s*>|\Z)", re.DOTALL | re.IGNORECASE)
_EVERYWHERE = frozenset(
    {"class", "id", "role", "title", "aria-label", "aria-hidden", "aria-labelledby", "lang", "tabindex"}
)
_OWN = {
    "a": {"href"},
    "th": {"scope", "colspan", "rowspan"},
    "td": {"colspan", "rowspan", "data-label", "headers"},
    "ol": {"start"},
    "svg": {"viewBox", "width", "height", "focusable"},
    "path": {"d", "stroke", "stroke-width", "stroke-dasharray", "fill"},
    "circle": {"cx", "cy", "r", "fill", "stroke", "stroke-width"},
    "details": {"open"},
}


@cache
def _cleaner() -> Any:
    from bleach.sanitizer import Cleaner

    def allowed(tag: str, name: str, value: str) -> bool:
        return name in _EVERYWHERE or name in _OWN.get(tag, ())

    tags = f"{_TEXT} {_BLOCKS} {_TABLES}".split()
    return Cleaner(tags=tags, attributes=allowed, protocols={"http", "https", "mailto"})


def cleaned(html: str) -> Markup:
    """Return HTML with nothing in it that runs, loads or restyles the page.

    Parameters
    ----------
    html : str
        From any library's display; not trusted.

    Returns
    -------
    markupsafe.Markup
        Styles and scripts are left off, other elements and attributes written out as text or left off;
        links go to http, https, mail or within the site.
    """
    return Markup(_cleaner().clean(_UNSHOWN.sub("", html)))
