"""A page of its own that a section makes beside its findings, such as a letter to the maker."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

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
