"""A part of the summary, as a notebook shows it and as its page completes it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from reviewkit.findings import PART_MIME


@dataclass(frozen=True)
class Part:
    """A piece of HTML in which every text has been escaped.

    Parameters
    ----------
    html : markupsafe.Markup
    name : str
        What the page does something with: "opening", "sections", "words"; empty for nothing.
    more : mapping
        What the page needs for that.
    """

    html: Markup
    name: str = ""
    more: Mapping[str, Any] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """The piece without its markup."""
        return " ".join(Markup(re.sub(r"</(p|li|td|th|dt|dd|h3)>", " ", self.html)).striptags().split())

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        return {
            PART_MIME: {"name": self.name, **self.more},
            "text/html": str(self.html),
            "text/plain": self.text,
        }


def html(pattern: str, *values: Any, **named: Any) -> Markup:
    """Return markup with the values in it, escaped."""
    return Markup(pattern).format(*values, **named)


def joined(pieces: Iterable[Markup]) -> Markup:
    """Return pieces of markup as one."""
    return Markup("").join(pieces)


def bullets(texts: Iterable[str]) -> Markup:
    """Return texts as a list."""
    return html("<ul>{}</ul>", joined(html("<li>{}</li>", text) for text in texts))


def facts(pairs: Iterable[tuple[str, str]]) -> Markup:
    """Return names and what they are; pairs without the second are left out."""
    return html(
        '<dl class="facts">{}</dl>',
        joined(html("<dt>{}</dt><dd>{}</dd>", name, text) for name, text in pairs if text),
    )


def table(head: Iterable[str], rows: Iterable[Iterable[str]], *, about: str) -> Markup:
    """Return a table whose first column names the rows; narrow screens stack it.

    Parameters
    ----------
    head : iterable of str
    rows : iterable of iterable of str
    about : str
        Said to those who cannot see it.
    """
    names = list(head)
    return html(
        '<table class="stacked" role="table" aria-label="{}"><thead role="rowgroup"><tr '
        'role="row">{}</tr></thead>'
        '<tbody role="rowgroup">{}</tbody></table>',
        about,
        joined(html('<th role="columnheader" scope="col">{}</th>', name) for name in names),
        joined(_row(names, list(row)) for row in rows),
    )


def _row(names: list[str], cells: list[str]) -> Markup:
    rest = (
        html('<td role="cell" data-label="{}">{}</td>', name, cell)
        for name, cell in zip(names[1:], cells[1:], strict=True)
    )
    return html('<tr role="row"><th role="rowheader" scope="row">{}</th>{}</tr>', cells[0], joined(rest))
