"""The author's own paragraphs: Markdown with findings for numbers."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from markdown_it.token import Token
from markupsafe import Markup

from reviewkit.findings import Finding, placeholders
from reviewkit.publishing.site import prose
from reviewkit.review.author_text import FILE, read


def rendered(folder: Path, findings: Mapping[str, Finding], where: Mapping[str, str]) -> Markup:
    """Return the author's words as HTML; each number leads to its finding.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    findings : mapping of str to Finding
    where : mapping of str to str
        The page that each finding is on.

    Raises
    ------
    Faults
        If a placeholder names no finding.
    """
    text = read(folder)
    placeholders.check(text, findings, file=FILE)

    def replace(content: str) -> list[Token]:
        return [
            token
            for piece, is_key in placeholders.pieces(content)
            for token in (_number(findings[piece], where.get(piece, "")) if is_key else [_text(piece)])
        ]

    html, _ = prose.rendered(text, taken=set(), replace=replace, lift=2)
    return html


def _text(content: str) -> Token:
    return Token("text", "", 0, content=content)


def _number(item: Finding, page: str) -> list[Token]:
    opening = Token("link_open", "a", 1, attrs={"href": f"{page}#{item.key}", "class": "number"})
    return [opening, _text(item.text), Token("link_close", "a", -1)] if page else [_text(item.text)]
