"""A chart while it is drawn: plain mappings, which plotly checks once, when the chart is done.

Plotly's own objects check all that they hold again with each piece that is added.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from reviewkit.metrology import formatting

if TYPE_CHECKING:
    import plotly.graph_objects as go

Settings = dict[str, Any]


@dataclass
class Sheet:
    """Curves, shapes, texts and settings of one chart, in the order in which they are drawn."""

    curves: list[Settings] = field(default_factory=list)
    shapes: list[Settings] = field(default_factory=list)
    texts: list[Settings] = field(default_factory=list)
    layout: Settings = field(default_factory=dict)
    rows: list[tuple[int, int]] = field(default_factory=list)
    """Of each logged curve: rows drawn, rows there are."""

    def curve(self, **settings: Any) -> None:
        """Add a plotly trace: a scatter, where `type` does not say otherwise."""
        self.curves.append({"type": "scatter", **settings})

    def shape(self, **settings: Any) -> None:
        """Add a plotly shape: a line or a rectangle."""
        self.shapes.append(settings)

    def text(self, **settings: Any) -> None:
        """Add a plotly annotation: a text, an arrow."""
        self.texts.append(settings)

    def settings(self, **layout: Any) -> None:
        """Set parts of plotly's layout; what they do not name stays."""
        self.layout = merged(self.layout, layout)

    @property
    def note(self) -> str:
        """How many of the rows are drawn, where it is not all of them."""
        drawn, there = (sum(counts) for counts in zip(*self.rows, strict=True)) if self.rows else (0, 0)
        if drawn >= there:
            return ""
        counts = f"{formatting.number(drawn, 0)} of {formatting.number(there, 0)} rows"
        return f"Drawn: {counts}; the lowest and highest of every stretch are among them."

    def checked(self) -> go.Figure:
        """Return it as a plotly figure.

        Raises
        ------
        ValueError
            Where plotly knows no such setting or no such value of it.
        """
        import plotly.graph_objects as go

        pieces = {"annotations": self.texts, "shapes": self.shapes}
        added = {name: pieces[name] for name in pieces if pieces[name]}
        return go.Figure({"data": self.curves, "layout": {**self.layout, **added}})


def merged(first: Mapping[str, Any], second: Mapping[str, Any]) -> Settings:
    """Return settings laid over others, level by level; what the second does not name stays."""
    out = dict(first)
    for name, value in second.items():
        before = out.get(name)
        if isinstance(value, Mapping) and isinstance(before, Mapping):
            value = merged(before, value)
        out[name] = value
    return out
