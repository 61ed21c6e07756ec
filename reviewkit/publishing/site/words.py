"""The author's own paragraphs: Markdown with findings for numbers."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from markdown_it.token import Token
from markupsafe import Markup

from reviewkit.errors import InputError, gathered
from reviewkit.findings import Finding, placeholders
from reviewkit.pipeline.results import Reviewed
from reviewkit.publishing.site import prose
from reviewkit.review.author_text import FILE, read


def faults(reviewed: Reviewed) -> list[InputError]:
    """Return what is wrong with the author's words, what a section that failed has cost them left aside."""
    found: list[InputError] = []
    known = [item.key for item in reviewed.findings]
    with gathered(found):
        placeholders.check(read(reviewed.file.folder), known, file=FILE, lost=reviewed.lost)
    return found


def rendered(
    folder: Path, findings: Mapping[str, Finding], where: Mapping[str, str], *, is_draft: bool = False
) -> Markup:
    """Return the author's words as HTML; each number leads to its finding.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    findings : mapping of str to Finding
    where : mapping of str to str
        The page that each finding is on.
    is_draft : bool
        Whether a section has failed: where its number would stand, that is said.

    Raises
    ------
    Faults
        If a placeholder names no finding.
    """
    text = _read_what_can_be(folder) if is_draft else read(folder)
    if not is_draft:
        placeholders.check(text, findings, file=FILE)

    def replace(content: str) -> list[Token]:
        return [
            token
            for piece, is_key in placeholders.pieces(content)
            for token in (_of_key(piece, findings, where) if is_key else [_text(piece)])
        ]

    html, _ = prose.rendered(text, taken=set(), replace=replace, lift=2)
    return html


def _read_what_can_be(folder: Path) -> str:
    unread: list[InputError] = []
    with gathered(unread):
        return read(folder)
    return ""


def _of_key(key: str, findings: Mapping[str, Finding], where: Mapping[str, str]) -> list[Token]:
    if key not in findings:
        return [_text(f"[{key}: not had, a section failed]")]
    return _number(findings[key], where.get(key, ""))


def _text(content: str) -> Token:
    return Token("text", "", 0, content=content)


def _number(item: Finding, page: str) -> list[Token]:
    opening = Token("link_open", "a", 1, attrs={"href": f"{page}#{item.key}", "class": "number"})
    return [opening, _text(item.text), Token("link_close", "a", -1)] if page else [_text(item.text)]
