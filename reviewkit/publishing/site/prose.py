"""Markdown to HTML: raw HTML is shown as text, headings get addresses, no picture is fetched."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from functools import cache

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markupsafe import Markup

from reviewkit.publishing.site.context import Link


@cache
def _renderer() -> MarkdownIt:
    # A picture from elsewhere would be a request that leaves the page.
    return MarkdownIt("commonmark", {"html": False}).enable("table").disable("image")


def anchor(text: str) -> str:
    """Return a heading as an address on its page: "Is it a proper charge?" → "is-it-a-proper-charge"."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-") or "part"


def rendered(
    text: str,
    *,
    taken: set[str] | None = None,
    replace: Callable[[str], list[Token]] | None = None,
    lift: int = 0,
) -> tuple[Markup, list[tuple[int, Link]]]:
    """Return Markdown as HTML, and its headings.

    Parameters
    ----------
    text : str
    taken : set of str
        Addresses in use on the page; added to.
    replace : callable, optional
        Makes tokens of each piece of plain text.
    lift : int
        By how many levels each heading is set lower.

    Returns
    -------
    tuple of (markupsafe.Markup, list of (level, Link))
    """
    used = set() if taken is None else taken
    tokens = _renderer().parse(text)
    headings = []
    for place, token in enumerate(tokens):
        if token.type == "heading_open":
            heading = tokens[place + 1]
            words = "".join(child.content for child in heading.children or ())
            headings.append((_level(token, tokens[place + 2], lift), Link(free(anchor(words), used), words)))
            token.attrSet("id", headings[-1][1].href)
        elif token.type == "inline" and replace:
            token.children = [new for child in token.children or () for new in _new(child, replace)]
    options = _renderer().options
    return Markup(_renderer().renderer.render(tokens, options, {})), headings


def _level(opening: Token, closing: Token, lift: int) -> int:
    level = min(6, int(opening.tag[1]) + lift)
    opening.tag = closing.tag = f"h{level}"
    return level


def free(name: str, used: set[str]) -> str:
    """Return an address that the page does not use yet, and note it as used."""
    number, free = 1, name
    while free in used:
        number += 1
        free = f"{name}-{number}"
    used.add(free)
    return free


def _new(token: Token, replace: Callable[[str], list[Token]]) -> list[Token]:
    return replace(token.content) if token.type == "text" else [token]
