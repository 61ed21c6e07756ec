"""A chart as a picture: SVG made with the review, before and without any script.

It is drawn from the same plain description that plotly takes, by the kit's own few hundred lines and not by
a plotting library: the texts stay text, the colours are the page's own, light and dark, and a chart takes
a few milliseconds and a few kilobytes. What plotly alone can draw is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from reviewkit.drawing import canvas, ink, scales, writing
from reviewkit.drawing.canvas import Canvas
from reviewkit.drawing.ink import Box
from reviewkit.drawing.margins import Plan, planned
from reviewkit.drawing.placement import Put
from reviewkit.drawing.scales import Floats, NotDrawn

WIDTHS = {"narrow": 340, "wide": 760}
"""The two widths that a page holds [px]: a phone's column, and a desk's."""

_STANDALONE = 'xmlns="http://www.w3.org/2000/svg"'
"""What an SVG says that stands in no page."""


@dataclass(frozen=True)
class Picture:
    """A chart drawn.

    Parameters
    ----------
    svg : str
        In the light colours.
    width, height : int [px]
    texts : tuple of Box
        Where each text lies.
    lines : tuple of array, shape (n, 2) [px]
        Points along all that is seen as a line.
    frame : dict
        How plotly must be told to stand exactly over it: "width", "height", "margin", "ranges".
    """

    svg: str
    width: int
    height: int
    texts: tuple[Box, ...]
    lines: tuple[Floats, ...]
    frame: dict[str, Any]

    @property
    def for_page(self) -> str:
        """The SVG in a page's own colours: light and dark come from its custom properties."""
        return ink.in_page_colours(self.svg.replace(f" {_STANDALONE}", "", 1))


def picture(figure: Mapping[str, Any], *, width: int) -> Picture:
    """Return a chart as a picture.

    Parameters
    ----------
    figure : mapping
        As plotly takes it: "data" and "layout".
    width : int [px]

    Raises
    ------
    NotDrawn
        If it holds what is drawn by plotly alone.

    Examples
    --------
    >>> drawn = picture({"data": [{"x": [0, 1], "y": [2, 3]}], "layout": {"height": 200}}, width=340)
    >>> drawn.width, drawn.svg[:4], drawn.frame["ranges"]["xaxis"]
    (340, '<svg', [0.0, 1.0])
    """
    template = figure["layout"].get("template")
    if isinstance(template, Mapping) and template.get("layout"):
        raise NotDrawn("a look of plotly's own")
    if figure["layout"].get("barmode") not in (None, "overlay") or figure["layout"].get("images"):
        raise NotDrawn("bars on bars, or pictures")
    plan = planned(figure, scales.scales(figure), width)
    drawn = Canvas(plan.scales, plan.paper)
    for one in figure["layout"].get("shapes") or ():
        canvas.shape(drawn, one)
    writing.grid(drawn, plan)
    for one in figure["data"]:
        canvas.trace(drawn, one)
    put = writing.written(drawn, plan, figure)
    drawn.covers += [one.box for one in put if one.paper]
    return Picture(
        svg=_whole(drawn, plan, put),
        width=width,
        height=plan.height,
        texts=tuple(one.box for one in put),
        lines=drawn.seen(),
        frame=_frame(plan),
    )


def _whole(drawn: Canvas, plan: Plan, put: list[Put]) -> str:
    size = f'viewBox="0 0 {plan.width} {plan.height}" width="{plan.width}" height="{plan.height}"'
    head = f'<svg {_STANDALONE} {size}><g font-family="{ink.SANS}">'
    return f"{head}{drawn.svg()}{writing.texts(put)}</g></svg>"


def _frame(plan: Plan) -> dict[str, Any]:
    """Return how plotly stands exactly over the picture."""
    return {
        "width": plan.width,
        "height": plan.height,
        "margin": {side: getattr(plan, name) for side, name in zip("lrtb", plan.sides, strict=True)},
        "ranges": {f"{name[0]}axis{name[1:]}": [one.low, one.high] for name, one in plan.scales.items()},
    }
