"""What stands on a picture, and where: a frame for video, 1920 × 1080, as SVG."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from reviewkit.findings import Finding, limit_text, verdict_text
from reviewkit.publishing.site import exporter

WIDTH, HEIGHT = 1920, 1080
_LEFT, _BOTTOM = 70, 1000
_CHART_WIDTH, _CHART_HEIGHT = 1260, 930
_LARGEST = 2.4
"""A chart is written for a phone; so many times as large its letters are read from a sofa."""
_SQUEEZED = 0.8
"""Part of its own height that a tall chart keeps, so that its letters may be larger."""

INKS = {
    "light": {"paper": "#fbfaf7", "ink": "#1c1b19", "quiet": "#5f5b54"},
    "dark": {"paper": "#191815", "ink": "#ece8df", "quiet": "#aaa49a"},
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


@dataclass(frozen=True)
class Chart:
    """A chart as the page drew it, with what it says.

    Parameters
    ----------
    name, question, answer : str
    height : float [px]
        On the page.
    """

    name: str
    question: str
    answer: str
    height: float

    @property
    def scale(self) -> float:
        """How many times as large as on the page it is shown."""
        wanted = max(self.height * _SQUEEZED, _CHART_HEIGHT / _LARGEST)
        return _CHART_HEIGHT / wanted

    @property
    def size(self) -> tuple[float, float]:
        """Width and height to draw it with, before it is enlarged [px]."""
        return _CHART_WIDTH / self.scale, min(self.height, _CHART_HEIGHT / self.scale)


def chart(drawn: Chart, svg: str, source: Source, scheme: str) -> str:
    """Return a chart's picture.

    Parameters
    ----------
    drawn : Chart
    svg : str
        The chart alone, drawn in its `size`.
    source : Source
    scheme : {"light", "dark"}
    """
    question = _lines(drawn.question[:1].upper() + drawn.question[1:], width=17, y=190, size=46)
    answer = _column(drawn.answer, y=question[-1].y + 80 if question else 190)
    height = drawn.size[1] * drawn.scale
    return _rendered(
        source,
        scheme,
        question=question,
        answer=answer,
        svg=Markup(svg),
        place=(WIDTH - 50 - _CHART_WIDTH, (HEIGHT - height) / 2, drawn.scale),
    )


def card(item: Finding, source: Source, scheme: str) -> str:
    """Return a finding's card: what, how much and how sure, the limit, the verdict.

    Parameters
    ----------
    item : Finding
    source : Source
    scheme : {"light", "dark"}
    """
    label = _lines(item.label[:1].upper() + item.label[1:], width=44, y=320, size=76)
    # Digits are about 0.6 of their size wide.
    size = min(150.0, 1700 / (0.6 * max(len(item.text), 1)))
    value = _lines(item.text, width=64, y=label[-1].y + 60 + size, size=max(size, 64))
    limit = _lines(_limit(item), width=76, y=value[-1].y + 120, size=44)
    below = (limit or value)[-1].y
    verdict = _lines(verdict_text(item), width=60, y=below + 110, size=56)
    return _rendered(
        source,
        scheme,
        label=label,
        value=value,
        limit=limit,
        verdict=verdict,
        mark=item.verdict if verdict else "",
    )


def _limit(item: Finding) -> str:
    told = limit_text(item)
    return f"Limit: {told}" if told else ""


def _lines(text: str, *, width: int, y: float, size: float) -> list[Line]:
    """Return text in lines of so many letters; what may not be parted stays together."""
    pieces = textwrap.wrap(text, width, break_long_words=True, break_on_hyphens=False)
    return [Line(piece, y + number * 1.3 * size, size) for number, piece in enumerate(pieces)]


def _column(text: str, *, y: float) -> list[Line]:
    """Return a sentence beside a chart, as large as the room below allows."""
    sizes = (30, 27, 24, 21)
    columns = [_lines(text, width=round(870 / size), y=y, size=size) for size in sizes]
    return next((lines for lines in columns if lines and lines[-1].y <= _BOTTOM), columns[-1])


def _rendered(source: Source, scheme: str, **parts: Any) -> str:
    template = exporter.exporter().environment.get_template("still.svg.j2")
    head = _lines(source.device, width=70, y=100, size=38)[:1]
    return str(template.render(left=_LEFT, ink=INKS[scheme], head=head, notice=source.notice, **parts))
