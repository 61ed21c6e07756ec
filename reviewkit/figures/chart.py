"""A chart with the question it answers, the answer in a sentence, and the same facts as a table."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from reviewkit.drawing.picture import WIDTHS, Picture, picture
from reviewkit.drawing.scales import NotDrawn
from reviewkit.figures import sheet
from reviewkit.figures.marks import wrapped
from reviewkit.figures.sheet import merged
from reviewkit.findings import CHART_MIME, PLOTLY_MIME
from reviewkit.findings.displays import plain

if TYPE_CHECKING:
    import plotly.graph_objects as go


@dataclass(frozen=True)
class Absent:
    """Why there is no chart here.

    Parameters
    ----------
    why : str
        A sentence.
    """

    why: str

    def _repr_markdown_(self) -> str:
        return f"*No chart: {plain(self.why[:1].lower() + self.why[1:])}*"

    def __repr__(self) -> str:
        return f"No chart: {self.why}"


@dataclass(frozen=True)
class Chart:
    """One figure as a reader meets it.

    Parameters
    ----------
    key : str
        Short name, unique on its page: "charge-curve".
    question : str
        What the chart answers; its title.
    answer : str
        The answer, in a sentence with number, uncertainty and unit; its caption and text alternative.
    figure : plotly.graph_objects.Figure
    table : pandas.DataFrame
        The same facts for those who cannot see it; a few rows, headers with units.
    about : tuple of str
        Keys of the findings that it shows.
    note : str
        What else a reader must know of the drawing: how many of a log's rows it shows.
    """

    key: str
    question: str
    answer: str
    figure: go.Figure
    table: pd.DataFrame
    about: tuple[str, ...] = ()
    note: str = ""

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        drawn = self.pictures()
        shown = {"image/svg+xml": drawn["wide"].svg} if drawn else {}
        return shown | {
            CHART_MIME: {
                "key": self.key,
                "question": self.question,
                "answer": self.answer,
                "about": list(self.about),
                "note": self.note,
                "columns": [str(name) for name in self.table.columns],
                "dark": sheet.LIGHT_TO_DARK,
                "pictures": {name: {"svg": one.for_page, "frame": one.frame} for name, one in drawn.items()},
                "margin_top": self.figure.layout.margin.t,
                "height": self.figure.layout.height,
                "rows": [[str(value) for value in row] for row in self.table.itertuples(index=False)],
            },
            PLOTLY_MIME: self._in_notebook(),
            "text/plain": f"{self.question}\n{self.answer}",
        }

    def pictures(self) -> dict[str, Picture]:
        """Return it as pictures, "narrow" and "wide"; none where it holds what plotly alone can draw."""
        plain = self.figure.to_plotly_json()
        try:
            return {name: picture(plain, width=width) for name, width in WIDTHS.items()}
        except NotDrawn:
            return {}

    def _in_notebook(self) -> dict[str, Any]:
        """Return the figure's JSON with question and answer written into it, as a notebook shows it.

        The published page takes both from `CHART_MIME` and sets them as text.
        """
        import plotly.io as pio

        answer = wrapped(" ".join(part for part in (self.answer, self.note) if part), 96)
        drawn = self.figure.to_dict()
        top, added = self.figure.layout.margin.t or 0, 58 + 17 * answer.count("<br>")
        words = {
            "title": {
                "text": wrapped(self.question, 80),
                "subtitle": {"text": answer, "font": {"size": 13, "color": sheet.QUIET}},
                "font": {"size": 17, "color": sheet.INK, "family": sheet.SANS},
                "x": 0.01,
                "xanchor": "left",
                "y": 1,
                "yref": "container",
                "yanchor": "top",
                "pad": {"t": 12},
            },
            "margin": {"t": top + added},
        }
        drawn["layout"] = merged(drawn["layout"], words)
        height = self.figure.layout.height
        if height:
            drawn["layout"]["height"] = height + added
        # Numbers that JSON lacks become null on the way.
        plain: dict[str, Any] = json.loads(pio.to_json(drawn, validate=False))
        return plain


@dataclass(frozen=True)
class Charts:
    """Several charts of one kind, one for each run or state, shown one below the other."""

    items: tuple[Chart, ...]

    def _ipython_display_(self) -> None:
        from IPython.display import display

        for chart in self.items:
            display(chart)
