"""What a cell displayed, as pieces of a page: charts, findings, tables, plain output, cleaned HTML."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from markupsafe import Markup

from reviewkit.findings import CHART_MIME, PLOTLY_MIME, Finding

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


_CONFIG = {
    "responsive": True,
    # A picture with a sentence and a table beside it needs no buttons of its own.
    "displayModeBar": False,
    "showTips": False,
    "doubleClick": "reset",
}


@dataclass(frozen=True)
class ChartBundle:
    """A chart as its template wants it.

    Parameters
    ----------
    anchor, question, answer, note : str
    columns : list of str
    rows : list of list of str
    height : int
        In pixels.
    pictures : mapping of str to markupsafe.Markup
        The chart drawn, by the room it is drawn for: "narrow" and "wide"; none of another maker's.
    data : markupsafe.Markup
        JSON that a script element can hold.
    """

    anchor: str
    question: str
    answer: str
    note: str
    columns: list[str]
    rows: list[list[str]]
    height: int
    pictures: Mapping[str, Markup]
    data: Markup


def chart(data: Mapping[str, Any], anchor: str = "") -> ChartBundle:
    """Return a displayed chart's bundle; a plotly figure of another maker's is taken too."""
    figure = data[PLOTLY_MIME]
    about = data.get(CHART_MIME) or {"question": _question(figure["layout"])}
    layout = _without_words(figure["layout"], about)
    pictures: Mapping[str, Any] = about.get("pictures") or {}
    return ChartBundle(
        anchor=anchor or str(about.get("key", "chart")),
        question=about.get("question", ""),
        answer=about.get("answer", ""),
        note=about.get("note", ""),
        columns=about.get("columns", []),
        rows=about.get("rows", []),
        height=int(layout.get("height") or 380),
        pictures={
            room: Markup(drawn["svg"]) for room, drawn in pictures.items()
        },  # drawn by the kit: escaped
        data=script_json(
            {
                "data": figure["data"],
                "layout": layout,
                "config": _CONFIG,
                "dark": about.get("dark", {}),
                "frames": {room: drawn["frame"] for room, drawn in pictures.items()},
            }
        ),
    )


def _question(layout: Mapping[str, Any]) -> str:
    """Return what a figure that says no question of its own shows: its title, else its axes."""
    title, *axes = (
        (layout.get(name) or {}).get("text")
        or ((layout.get(name) or {}).get("title") or {}).get("text")
        or ""
        for name in ("title", "yaxis", "xaxis")
    )
    return str(title or " against ".join(filter(None, axes)) or "Chart")


def _without_words(layout: Mapping[str, Any], about: Mapping[str, Any]) -> dict[str, Any]:
    """Return a chart's layout without question and answer, which the page sets as text."""
    margin = {**layout.get("margin", {})}
    if "margin_top" in about:
        margin["t"] = about["margin_top"]
    return {**layout, "title": None, "margin": margin, "height": about.get("height") or layout.get("height")}


def script_json(value: Any) -> Markup:
    """Return JSON in which nothing can end, or open a comment in, the script element that holds it."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign, escaped in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026")):
        text = text.replace(sign, escaped)
    return Markup(text.replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))


def plain(output: Mapping[str, Any], name: str = "Table") -> Markup:
    """Return an output of no kind of the kit's own: a table, called `name`, a picture, text."""
    data: Mapping[str, Any] = output.get("data", {})
    if "text/html" in data:
        return Markup('<div class="scroll" tabindex="0" role="region" aria-label="{}">{}</div>').format(
            name, cleaned(data["text/html"])
        )
    for mime in ("image/png", "image/jpeg", "image/svg+xml"):
        if mime in data:
            return _picture(mime, data[mime], data.get("text/plain", ""))
    text = output.get("text") or data.get("text/plain", "")
    return Markup('<pre class="output" tabindex="0">{}</pre>').format(text) if text.strip() else Markup()


def _picture(mime: str, content: str, words: str) -> Markup:
    coded = (
        base64.b64encode(content.encode()).decode() if mime == "image/svg+xml" else "".join(content.split())
    )
    return Markup('<img alt="{}" src="data:{};base64,{}">').format(words.strip("<>"), mime, coded)


_ORDER = ("fail", "inconclusive", "pass")


def urgency(item: Finding) -> tuple[bool, int]:
    """Whether the charge ends stands first, then what is outside its limit."""
    return not item.key.endswith(".terminates"), _ORDER.index(str(item.verdict))
