"""What a page of a preview says beyond itself: that it is one, and what is at fault with the folder now."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from reviewkit.publishing.site import context

_HEAD, _TOP = "<!--preview head-->", "<!--preview top-->"
_SECTION = re.compile(r"<!--preview of (\w+)-->")


@cache
def preview_script() -> str:
    """Return the script that loads a page again and keeps its reader's place."""
    return (context.templates() / "preview.js").read_text(encoding="utf-8")


def with_preview(text: str, name: str, state: Any, root: str) -> str:
    """Return a page's text with what it says of the preview.

    Parameters
    ----------
    name : str
        The page's file.
    state : State
        What the preview shows: `number`, `made_at`, `faults`, `older`, `is_new`.
    root : str
        What every path of the preview begins with.
    """
    parts = _parts()
    text = text.replace(_HEAD, _head(state, root), 1).replace(_TOP, parts.top(state, name), 1)
    return _SECTION.sub(lambda found: str(parts.section(state, found[1], name)), text)


def preview_of_nothing(name: str, state: Any, root: str) -> str:
    """Return the page to show while there is none."""
    return str(_parts().nothing(state, name, _head(state, root)))


def _head(state: Any, root: str) -> Any:
    return _parts().head(state.number, f"{root}/events", f"{root}/preview.js")


@cache
def _parts() -> Any:
    from reviewkit.publishing.site import exporter

    return exporter.exporter().environment.get_template("preview.html.j2").module
