"""Pictures for a video and for a shared link: key figures, a card for each headline finding, a preview."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from reviewkit.drawing import ink
from reviewkit.drawing.picture import Picture, picture
from reviewkit.drawing.scales import NotDrawn
from reviewkit.drawing.strip import strip
from reviewkit.findings import CHART_MIME, PLOTLY_MIME, Finding, limit_text, verdict_text
from reviewkit.metrology import formatting, units
from reviewkit.metrology.conformity import Limit
from reviewkit.pipeline import harvest
from reviewkit.pipeline.results import Reviewed
from reviewkit.publishing import png
from reviewkit.publishing.site import exporter

FOLDER = "stills"
SCHEMES = ("light", "dark")
WIDTH, HEIGHT = 1920, 1080
PREVIEW = 1200, 630
"""Size of the picture that a shared link shows [px]: 1.91 : 1, as the Open Graph's readers crop it."""
_LEFT, _BOTTOM = 70, 1000
_COLUMN = 500
"""Width of the words beside a chart [px]."""
_CHART_WIDTH, _CHART_HEIGHT = 1260, 930
_LARGEST = 2.2
"""A chart is written for a phone; so many times as large its letters are read from a sofa."""
_SQUEEZED = 0.8
"""Part of its own height that a tall chart keeps, so that its letters may be larger."""

INKS = {
    "light": {"paper": ink.PAPER, "ink": ink.INK, "quiet": ink.QUIET},
    "dark": {
        "paper": ink.LIGHT_TO_DARK[ink.PAPER],
        "ink": ink.LIGHT_TO_DARK[ink.INK],
        "quiet": ink.LIGHT_TO_DARK[ink.QUIET],
    },
}
"""The colours of a picture in light and in dark, those of the pages."""


@dataclass(frozen=True)
class Line:
    """A line of text: where its base line lies, how large it is [px]."""

    text: str
    y: float
    size: float


@dataclass(frozen=True)
class Source:
    """Whose picture it is: stands on every one of them."""

    device: str
    notice: str


_UNCERTAINTY = re.compile(r"\u00a0±\u00a0[\d\u202f.]+(?:(?:\u00a0|\u202f)(?:[^\W\d_]+|%))?")
_AFTER_MINUTES = re.compile(r"(\d\u00a0min)\u00a0\d+(?:\.\d+)?\u00a0s\b")
_DIGITS = re.compile(r"\d+\.\d+")


def spoken(text: str) -> str:
    """Return a sentence as one would say it: no uncertainty, numbers of three digits, no seconds of hours.

    Examples
    --------
    >>> spoken("Held at 4.1854 V, cut off at 0.1205 A.")
    'Held at 4.19 V, cut off at 0.120 A.'
    """
    bare = _AFTER_MINUTES.sub(r"\1", _UNCERTAINTY.sub("", text))
    return _DIGITS.sub(lambda found: _three_digits(found.group()), bare)


def _three_digits(number: str) -> str:
    whole, part = number.split(".")
    zeros = len(part) - len(part.lstrip("0")) if not whole.strip("0") else -len(whole)
    decimals = max(0, 3 + zeros)
    return number if decimals >= len(part) else f"{float(number):.{decimals}f}"


def card_text(item: Finding) -> str:
    """Return a finding's value as a card says it: in words, or in two or three digits.

    A digit more stands there where a value would else seem to lie on its limit, or beyond it.
    """
    if isinstance(item.value, list):
        return spoken(item.note) or item.text
    if isinstance(item.value, bool) or not isinstance(item.value, int | float):
        return item.text
    if item.unit == "s" and abs(item.value) >= 3600:
        return formatting.clock(float(item.value))
    if isinstance(item.value, int) and not item.unit:
        return item.text
    scale, sign = units.for_people(float(item.value), item.unit)
    shown = float(item.value) / scale
    for digits in (2 if _is_coarse(item) else 3, 3, 4, 5):
        rounded = float(f"{shown:.{digits - 1}e}")
        if item.limit is None or _stands_alike(rounded * scale, float(item.value), item.limit):
            break
    decimals = max(0, digits - 1 - int(f"{shown:.{digits - 1}e}".split("e")[1])) if shown else 0
    return f"{formatting.number(rounded, decimals)}{formatting.NO_BREAK}{sign}".rstrip()


def _is_coarse(item: Finding) -> bool:
    """Whether a third digit would say more than is known."""
    half = item.uncertainty or ((item.high - item.low) / 2 if None not in (item.low, item.high) else 0.0)  # type: ignore[operator]
    return half > 0.01 * abs(float(item.value))  # type: ignore[arg-type]


def _stands_alike(rounded: float, value: float, limit: Limit) -> bool:
    return all(
        end is None or (rounded > end) - (rounded < end) == (value > end) - (value < end)
        for end in (limit.low, limit.high)
    )


def chart_picture(question: str, answer: str, drawn: Picture, source: Source, scheme: str) -> str:
    """Return a chart's still.

    Parameters
    ----------
    drawn : Picture
        The chart, drawn in the size that `chart_size` gives.
    scheme : {"light", "dark"}
    """
    asked = _column(question[:1].upper() + question[1:], y=190, sizes=(46, 40, 34), height=330, bold=True)
    below = asked[-1].y + 74 if asked else 190
    scale = min(_CHART_WIDTH / drawn.width, _CHART_HEIGHT / drawn.height)
    return _whole(
        source,
        scheme,
        question=asked,
        answer=_column(spoken(answer), y=below, sizes=(30, 27, 24, 21), height=_BOTTOM - below),
        svg=Markup(_level(ink.in_scheme(drawn.svg, scheme))),
        place=(WIDTH - 50 - _CHART_WIDTH, (HEIGHT - drawn.height * scale) / 2, scale),
    )


def _level(svg: str) -> str:
    """Return what is in a picture: without its frame, which would be clipped, its grid on whole pixels.

    Both are several times quicker to draw.
    """
    inside = re.sub(r"\A<svg[^>]*>|</svg>\Z", "", svg)
    return re.sub(r'(<path d="M[^"]*[VH][^"]*") ', r'\1 shape-rendering="crispEdges" ', inside)


def chart_size(height: float) -> tuple[int, float]:
    """Return width and height to draw a chart in that has a height on its page [px]."""
    wanted = max(height * _SQUEEZED, _CHART_HEIGHT / _LARGEST)
    return round(_CHART_WIDTH * wanted / _CHART_HEIGHT), min(height, wanted)


def card_picture(item: Finding, source: Source, scheme: str) -> str:
    """Return a finding's card: what, how much, the limit, the verdict.

    Parameters
    ----------
    scheme : {"light", "dark"}
    """
    label = _lines(item.label[:1].upper() + item.label[1:], y=300, sizes=(72, 60, 48), height=190)
    below = label[-1].y if label else 240.0
    told = card_text(item)
    sizes = (150, 120, 96, 76) if len(told) <= 24 else (64, 54, 46, 40)
    value = _lines(told, y=below + 60 + sizes[0], sizes=sizes, height=420, bold=True)
    limit = _lines(_limit(item), y=value[-1].y + 100, sizes=(44, 38), height=120)
    verdict = _lines(verdict_text(item), y=(limit or value)[-1].y + 110, sizes=(56, 46), height=80, room=140)
    return _whole(
        source,
        scheme,
        label=label,
        value=value,
        limit=limit,
        verdict=verdict,
        mark=item.verdict if verdict else "",
        strip=Markup(_level(ink.in_scheme(strip(item), scheme))),
    )


def _limit(item: Finding) -> str:
    told = limit_text(item)
    return f"Limit: {spoken(told)}" if told else ""


def _lines(
    text: str, *, y: float, sizes: tuple[float, ...], height: float, bold: bool = False, room: float = 0.0
) -> list[Line]:
    """Return text across the picture, its first line at `y`, as large as the height allows."""
    return _set(text, WIDTH - 2 * _LEFT - room, y, sizes, height, bold=bold)


def _column(
    text: str, *, y: float, sizes: tuple[float, ...], height: float, bold: bool = False
) -> list[Line]:
    """Return text beside a chart, as large as the height allows."""
    return _set(text, _COLUMN, y, sizes, height, bold=bold)


def _set(
    text: str, width: float, y: float, sizes: tuple[float, ...], height: float, *, bold: bool
) -> list[Line]:
    if not text.strip():
        return []
    lines, size = fitted(text, width=width, height=height, sizes=sizes, bold=bold)
    return [Line(line, y + number * 1.3 * size, size) for number, line in enumerate(lines)]


def preview(title: str, line: str, *, notice: str) -> bytes:
    """Return what a shared link shows: a PNG of 1200 × 630.

    Parameters
    ----------
    title : str
        The device's name.
    line : str
        What was found, in a sentence; a hazard is in it.
    notice : str
        "Invented data, for demonstration."; empty: none.
    """
    wide, high = PREVIEW
    room = wide - 2 * _LEFT
    name = _set(title, room, 150, (84, 70, 58, 46), 190, bold=True)
    below = name[-1].y if name else 90.0
    parts = {
        "label": _set(line, room, below + 90, (48, 42, 36, 31, 27), high - 80 - below - 60, bold=False),
        "value": name,
    }
    return png.drawn(_whole(Source("", notice), "light", size=PREVIEW, **parts), wide)


def _whole(source: Source, scheme: str, *, size: tuple[int, int] = (WIDTH, HEIGHT), **parts: Any) -> str:
    template = exporter.exporter().environment.get_template("still.svg.j2")
    head = _set(source.device, size[0] - 2 * _LEFT, 100, (38, 30), 48, bold=False)
    notice = printed(source.notice)
    return str(
        template.render(
            left=_LEFT, ink=INKS[scheme], head=head, notice=notice, size=size, font=png.FONT, **parts
        )
    )


def headlines(reviewed: Reviewed) -> list[Finding]:
    """Return the findings that a card is made of.

    They are those that the summary names, each on all its runs, and what is not within its limit.
    """
    about = reviewed.summary.section.about if reviewed.summary else None
    named = (about.cards or about.figures) if about else ()
    found = {item.key: item for item in reviewed.findings}
    chosen: dict[str, Finding] = {}
    for key in named:
        chosen |= {key: found[key]} if key in found else _on_each_run(key, found)
    beyond = {"fail", "inconclusive"}
    doubles = {(item.label, item.text) for item in chosen.values()}
    for key, item in found.items():
        if item.limit and item.verdict in beyond and (item.label, item.text) not in doubles:
            chosen[key] = item
            doubles.add((item.label, item.text))
    return [item for item in chosen.values() if item.verdict != "not tested"]


def _on_each_run(key: str, found: Mapping[str, Finding]) -> dict[str, Finding]:
    """Return the findings that stand under a key with a run's name in it."""
    head, _, tail = key.partition(".")
    return {
        name: item
        for name, item in found.items()
        if name.startswith(f"{head}.") and name.endswith(f".{tail}") and name.count(".") == 2
    }


def add(reviewed: Reviewed) -> tuple[Path, ...]:
    """Write the pictures of a review beside its pages.

    Parameters
    ----------
    reviewed : Reviewed

    Returns
    -------
    tuple of pathlib.Path
        For each picture the drawing, with a PNG of the same name beside it.
    """
    folder = reviewed.staged / FOLDER
    folder.mkdir(exist_ok=True)
    source = Source(reviewed.file.device.name, reviewed.file.review.notice)
    made: list[Path] = []
    for scheme in SCHEMES:
        for name, svg in [*_charts(reviewed, source, scheme), *_cards(reviewed, source, scheme)]:
            made.append(folder / f"{name}-{scheme}.svg")
            made[-1].write_text(svg, encoding="utf-8")
            made[-1].with_suffix(".png").write_bytes(png.drawn(svg, WIDTH))
    return tuple(made)


def _charts(reviewed: Reviewed, source: Source, scheme: str) -> Iterator[tuple[str, str]]:
    """Walk the first chart of each section, which its review's own page shows."""
    for result in reviewed.sections:
        shown = (
            data for data in harvest.outputs(result.notebook) if CHART_MIME in data and PLOTLY_MIME in data
        )
        first = next(shown, None)
        if first is None:
            continue
        about, figure = first[CHART_MIME], first[PLOTLY_MIME]
        layout = figure["layout"]
        width, height = chart_size(float(about.get("height") or 380))
        margin = {**layout.get("margin", {}), "t": about.get("margin_top") or 0}
        try:
            drawn = picture({**figure, "layout": {**layout, "margin": margin, "height": height}}, width=width)
        except NotDrawn:
            continue
        yield str(about["key"]), chart_picture(about["question"], about["answer"], drawn, source, scheme)


def _cards(reviewed: Reviewed, source: Source, scheme: str) -> Iterator[tuple[str, str]]:
    for item in headlines(reviewed):
        yield f"card-{item.key.replace('.', '-').replace('_', '-')}", card_picture(item, source, scheme)


_UNPRINTED = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def printed(text: str) -> str:
    """Return a text without what no drawing may hold."""
    return _UNPRINTED.sub("", text)


def fitted(
    text: str, *, width: float, height: float, sizes: tuple[float, ...], bold: bool = False
) -> tuple[list[str], float]:
    """Return a text in lines, and the largest of the sizes in which it fits a box [px].

    In the smallest size it is cut off where it does not fit either.
    """
    words = ((printed(text), bold),)
    for size in sizes:
        lines = ink.wrapped((words,), width, size)
        room = max(1, int(height // (ink.LEADING * size)))
        if len(lines) <= room and all(ink.width(line, size) <= width for line in lines):
            break
    told = ["".join(piece for piece, _ in line) for line in lines]
    if len(told) > room:
        told = [*told[: room - 1], f"{told[room - 1]} …"]
    return told, size
