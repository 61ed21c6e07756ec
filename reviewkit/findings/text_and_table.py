"""An answer for a notebook: sentences and a small table."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Answer:
    """Sentences, and a table where one helps; a notebook shows both.

    Parameters
    ----------
    sentences : tuple of str
    columns : tuple of str
        Headers; empty: no table.
    rows : tuple of tuple of str
    steps : bool
        Whether the sentences are steps to take in order.
    """

    sentences: tuple[str, ...]
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    steps: bool = False

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        return {
            "text/html": self._told() + table(self.columns, self.rows),
            "text/plain": "\n".join([*self.sentences, *(" | ".join(row) for row in self.rows)]),
        }

    def _told(self) -> str:
        if not self.steps:
            return "".join(f"<p>{html.escape(item)}</p>" for item in self.sentences)
        return "<ol>" + "".join(f"<li>{html.escape(item)}</li>" for item in self.sentences) + "</ol>"


def table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return an HTML table, its first column the rows' names; empty without columns.

    Parameters
    ----------
    columns : sequence of str
    rows : sequence of sequences of str
        Plain text: what HTML would read as markup is shown as it is.
    """
    if not columns:
        return ""
    head = "".join(f'<th scope="col">{html.escape(name)}</th>' for name in columns)
    body = "".join(
        f'<tr><th scope="row">{html.escape(row[0])}</th>'
        + "".join(f"<td>{html.escape(cell)}</td>" for cell in row[1:])
        + "</tr>"
        for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
