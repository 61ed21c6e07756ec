"""A chart with the question it answers, the answer in a sentence, and the same facts as a table."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from reviewkit.figures.theme import LIGHT_TO_DARK
from reviewkit.finding import CHART_MIME, PLOTLY_MIME


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
    """

    key: str
    question: str
    answer: str
    figure: go.Figure
    table: pd.DataFrame
    about: tuple[str, ...] = ()

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        return {
            CHART_MIME: {
                "key": self.key,
                "question": self.question,
                "answer": self.answer,
                "about": list(self.about),
                "columns": [str(name) for name in self.table.columns],
                "dark": LIGHT_TO_DARK,
                "rows": [[str(value) for value in row] for row in self.table.itertuples(index=False)],
            },
            PLOTLY_MIME: json.loads(self.notebook_figure().to_json()),
            "text/plain": f"{self.question}\n{self.answer}",
        }

    def notebook_figure(self) -> go.Figure:
        """Return the figure with question and answer written into it, as a notebook shows it.

        The published page takes both from `CHART_MIME` and sets them as text.
        """
        return self.figure


@dataclass(frozen=True)
class Charts:
    """Several charts of one kind, one for each run or state, shown one below the other."""

    items: tuple[Chart, ...]

    def _ipython_display_(self) -> None:
        from IPython.display import display

        for chart in self.items:
            display(chart)
