"""The author's paragraphs as HTML, findings for numbers, and the disclosures at the head of a review."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection, Mapping
from functools import cache
from pathlib import Path

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markupsafe import Markup

from reviewkit.errors import InputError, add, gathered
from reviewkit.findings import Finding, finding_keys
from reviewkit.pipeline.results import Reviewed
from reviewkit.publishing.site.context import Link
from reviewkit.review import photographs
from reviewkit.review.author_text import FILE, pictured, read
from reviewkit.review.review_file import Device


@cache
def _renderer(*, pictured: bool = False) -> MarkdownIt:
    # A picture from elsewhere would be a request that leaves the page.
    return photographs.parser() if pictured else photographs.parser().disable("image")


def anchor(text: str) -> str:
    """Return a heading as an address on its page: "Is it a proper charge?" → "is-it-a-proper-charge"."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-") or "part"


def rendered(
    text: str,
    *,
    taken: set[str] | None = None,
    replace: Callable[[str], list[Token]] | None = None,
    picture: Callable[[Token], list[Token]] | None = None,
    under: int = 0,
) -> tuple[Markup, list[tuple[int, Link]]]:
    """Return Markdown as HTML, and its headings.

    Parameters
    ----------
    text : str
    taken : set of str
        Addresses in use on the page; added to.
    replace : callable, optional
        Makes tokens of each piece of plain text.
    picture : callable, optional
        Makes tokens of a picture; none is shown without.
    under : int
        The level of the heading that the text stands below: its own are set lower, and none is skipped.
        0: as they are written.

    Returns
    -------
    tuple of (markupsafe.Markup, list of (level, Link))
    """
    used = set() if taken is None else taken
    renderer = _renderer(pictured=picture is not None)
    tokens = renderer.parse(text)
    headings: list[tuple[int, Link]] = []
    outer: list[int] = []
    for index, token in enumerate(tokens):
        if token.type == "heading_open":
            heading = tokens[index + 1]
            words = "".join(child.content for child in heading.children or ())
            headings.append(
                (_level(token, tokens[index + 2], under, outer), Link(free(anchor(words), used), words))
            )
            token.attrSet("id", headings[-1][1].href)
        elif token.type == "inline":
            if picture and [child.type for child in token.children or ()] == ["image"]:
                tokens[index - 1].tag = tokens[index + 1].tag = "figure"
            token.children = [new for child in token.children or () for new in _new(child, replace, picture)]
    return Markup(renderer.renderer.render(tokens, renderer.options, {})), headings


def _level(opening: Token, closing: Token, under: int, outer: list[int]) -> int:
    """Set a heading's level; `outer` are the levels, as written, that it and the headings above it have."""
    written = int(opening.tag[1])
    outer[:] = [*(level for level in outer if level < written), written]
    level = min(6, under + len(outer)) if under else written
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


def _new(
    token: Token,
    replace: Callable[[str], list[Token]] | None,
    picture: Callable[[Token], list[Token]] | None,
) -> list[Token]:
    if token.type == "image" and picture:
        return picture(token)
    return replace(token.content) if token.type == "text" and replace else [token]


def word_faults(reviewed: Reviewed) -> list[InputError]:
    """Return what is wrong with the author's words, what a section that failed has cost them left aside."""
    found: list[InputError] = []
    known = [item.key for item in reviewed.findings]
    with gathered(found):
        text = read(reviewed.file.folder)
        add(found, photographs.faults(reviewed.file.folder, text))
        finding_keys.check(text, known, file=FILE, lost=reviewed.lost)
    return found


def author_words(
    folder: Path, findings: Mapping[str, Finding], where: Mapping[str, str], *, is_draft: bool = False
) -> Markup:
    """Return the author's words as HTML; each number leads to its finding.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
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
        finding_keys.check(text, findings, file=FILE)
    return worded(text, findings, where, folder=folder, unknown=_lost)


def worded(
    text: str,
    findings: Mapping[str, Finding],
    where: Mapping[str, str],
    *,
    folder: Path,
    unknown: Callable[[str], list[Token]],
) -> Markup:
    """Return an author's words as HTML.

    Parameters
    ----------
    folder : pathlib.Path
        Holds the photographs.
    where : mapping of str to str
        The page that each finding is on.
    unknown : callable
        Makes the tokens that stand for a placeholder that names no finding.
    """

    def replace(content: str) -> list[Token]:
        return [
            token
            for piece, is_key in finding_keys.pieces(content)
            for token in (_of_key(piece, findings, where, unknown) if is_key else [_text(piece)])
        ]

    def picture(token: Token) -> list[Token]:
        return [Token("html_inline", "", 0, content=str(_photograph(folder, token, findings)))]

    html, _ = rendered(text, taken=set(), replace=replace, picture=picture, under=2)
    return html


def _photograph(folder: Path, token: Token, findings: Mapping[str, Finding]) -> Markup:
    """Return a photograph with its caption; what stands in its place, where it can't be shown."""
    photo = photographs.source(token)
    alt, caption = (_plain(text, findings) for text in (photo.alt, str(token.attrs.get("title", ""))))
    try:
        shown = photographs.sized(folder, photo.path)
    except InputError as fault:
        # Only for the one who is writing: a review with it is not published.
        return Markup('<mark class="fault">{}</mark><small class="fault"> {}</small>').format(
            photo.path, fault.problem
        )
    pattern = '<img class="photo" src="{}" alt="{}" width="{}" height="{}" loading="lazy" decoding="async">'
    image = Markup(pattern).format(shown.name, alt, shown.width, shown.height)
    return image + Markup("<figcaption>{}</figcaption>").format(caption) if caption else image


def _plain(text: str, findings: Mapping[str, Finding]) -> str:
    parts = finding_keys.pieces(text)
    return "".join(findings[part].text if is_key and part in findings else part for part, is_key in parts)


def write_photographs(folder: Path, staged: Path) -> None:
    """Write the photographs that an author's words name into a review's staged folder."""
    for shown in pictured(folder).values():
        (staged / photographs.FOLDER).mkdir(exist_ok=True)
        (staged / shown.name).write_bytes(shown.data)


def _read_what_can_be(folder: Path) -> str:
    unread: list[InputError] = []
    with gathered(unread):
        return read(folder)
    return ""


def _of_key(
    key: str,
    findings: Mapping[str, Finding],
    where: Mapping[str, str],
    unknown: Callable[[str], list[Token]],
) -> list[Token]:
    return _number(findings[key], where.get(key, "")) if key in findings else unknown(key)


def _lost(key: str) -> list[Token]:
    return [_text(f"[{key}: not had, a section failed]")]


def marked(known: Collection[str]) -> Callable[[str], list[Token]]:
    """Return what marks a placeholder that names no finding, for the one who is writing.

    Parameters
    ----------
    known : collection of str
        The findings' keys.
    """

    def mark(key: str) -> list[Token]:
        near = finding_keys.nearest(key, known)
        told = f"there is no finding '{key}'" + (f"; did you mean {{{near}}}?" if near else "")
        html = Markup('<mark class="fault">{}</mark><small class="fault"> {}</small>').format(
            f"{{{key}}}", told
        )
        return [Token("html_inline", "", 0, content=str(html))]

    return mark


def _text(content: str) -> Token:
    return Token("text", "", 0, content=content)


def _number(item: Finding, page: str) -> list[Token]:
    opening = Token("link_open", "a", 1, attrs={"href": f"{page}#{item.key}", "class": "number"})
    return [opening, _text(item.text), Token("link_close", "a", -1)] if page else [_text(item.text)]


def about_sample(device: Device) -> str:
    """Return the device and the sample in one line."""
    kind = device.kind or "Device"
    told = [
        f"{kind} by {device.maker}" if device.maker else kind,
        f"serial {device.serial}" if device.serial else "",
        f"firmware {device.firmware}" if device.firmware else "",
    ]
    after = f"; afterwards {device.afterwards}" if device.afterwards else ""
    return (
        f"{_sentence(', '.join(part for part in told if part))} {_sentence(_sample(device.sample) + after)}"
    )


def _sample(sample: str) -> str:
    if not sample:
        return "Where the sample came from is not stated"
    return sample if "sample" in sample.lower() else f"The sample: {sample}"


def disclosure(device: Device, *, notice: str = "") -> str:
    """Return what the author discloses, in their own words or from the single answers.

    Parameters
    ----------
    notice : str
        Stands on the page already and is not said twice.
    """
    if device.disclosure:
        return _sentence(device.disclosure.removeprefix(notice).strip() or notice)
    told = [
        f"Payment: {device.payment}" if device.payment else "",
        f"Links: {device.links}" if device.links else "",
        _first_sight(device),
    ]
    said = " ".join(_sentence(part) for part in told if part)
    return said or "The author has disclosed nothing about ties to the maker."


def _first_sight(device: Device) -> str:
    if device.maker_saw_first is None:
        return ""
    seen = "saw" if device.maker_saw_first else "did not see"
    return f"The maker {seen} this review before it was published"


def _sentence(text: str) -> str:
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


_PIECES = re.compile(r"<(script|style|pre|code|title)\b.*?</\1>|<[^>]*>|[^<]+", re.DOTALL)
_UNIT = r"(?:[µmkM]?(?:V|Ah|A|Wh|W|Ω|s)|min|h|%|°C|d|days?|months?|years?)(?![\w/])"
_INSIDE_A_VALUE = re.compile(rf"(?<=[\d¼½¾]) (?={_UNIT})|(?<=[±+]) (?=\d)|(?<=\w) (?=[±+] ?\d)")


_DATE = re.compile(r"(?<![\w-])\d{4}-\d\d-\d\d(?![\w-])")


def unbroken(page: str) -> str:
    """Return a page in which no line ends inside a value: between number and unit, beside "±", in a date.

    Scripts, styles and what is set as code are left as they are.
    """
    return _PIECES.sub(lambda piece: piece[0] if piece[0].startswith("<") else _whole(piece[0]), page)


def _whole(text: str) -> str:
    text = _INSIDE_A_VALUE.sub("\u00a0", text)
    return _DATE.sub(lambda date: f'<span class="whole">{date[0]}</span>', text)
