"""What a section shows beside its findings: sentences with a small table, and a page of its own."""

from __future__ import annotations

import html
import re
from collections.abc import Mapping, Sequence
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


EXTRA_PAGE_MIME = "application/vnd.reviewkit.page+json"

_NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_MARKS = re.compile(r"([\\`*_{}\[\]<>#|~&!])")


@dataclass(frozen=True)
class ExtraPage:
    """A text that is published as a page of its own.

    Parameters
    ----------
    name : str
        File name without ending: small letters, digits and single hyphens.
    title : str
    markdown : str
        CommonMark with tables; raw HTML is not rendered. The title is not repeated in it.

    Raises
    ------
    ValueError
        If the name does not do as a file name.
    """

    name: str
    title: str
    markdown: str

    def __post_init__(self) -> None:
        if not _NAME.fullmatch(self.name):
            raise ValueError(f"'{self.name}' is no name of a page: small letters, digits, single hyphens")

    @property
    def page(self) -> str:
        """The file name of the page."""
        return f"{self.name}.html"

    def to_dict(self) -> dict[str, str]:
        """Return the page as a notebook displays it."""
        return {"name": self.name, "title": self.title, "markdown": self.markdown}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> ExtraPage:
        """Return the page that `to_dict` wrote.

        Raises
        ------
        KeyError
            If a part is missing.
        """
        return cls(name=str(data["name"]), title=str(data["title"]), markdown=str(data["markdown"]))

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        text = f"# {plain(self.title)}\n\n{self.markdown}"
        return {EXTRA_PAGE_MIME: self.to_dict(), "text/markdown": text, "text/plain": text}


def plain(text: str) -> str:
    """Return text that Markdown shows as it is, on one line."""
    return _MARKS.sub(r"\\\1", " ".join(text.split()))
