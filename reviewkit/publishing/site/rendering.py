"""A page as text: rendered, or taken as it was when it was made from the very same.

What renders takes longer to load than all else that a run after a changed word needs.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from markupsafe import Markup

from reviewkit.pipeline.cache import Store
from reviewkit.publishing.site.context import PageContext
from reviewkit.publishing.site.prose import unbroken
from reviewkit.system import kit

_WORDS = Markup("<!--the author's words-->")
"""Holds their place: a page is the same whatever they say. No page has a comment that an author wrote."""
_MOST_BYTES = 256 << 20
"""Chosen: the pages of some thousand reviews."""


def rendered(notebook: Mapping[str, Any], page: PageContext, *, fresh: bool = False) -> str:
    """Return a notebook as a page.

    Parameters
    ----------
    notebook : mapping
        As nbformat 4 has it, executed and fit to publish.
    page : PageContext
    fresh : bool
        Render it whatever there was before.
    """
    around = replace(page, words=_WORDS) if page.words else page

    def make() -> str:
        from reviewkit.publishing.site import exporter

        return exporter.rendered(notebook, around)

    text = kept((notebook, repr(around)), make, fresh=fresh)
    return text.replace(_WORDS, unbroken(str(page.words)), 1)


def template(
    name: str,
    page: PageContext,
    more: Callable[[], Mapping[str, Any]] = dict,
    *,
    fresh: bool = False,
    **values: Any,
) -> str:
    """Return a page that is made from no notebook.

    Parameters
    ----------
    name : str
        The template's.
    page : PageContext
    more : callable
        Makes further values for the template, from those given alone.
    fresh : bool
        Render it whatever there was before.
    **values
        For the template.
    """

    def make() -> str:
        from reviewkit.publishing.site import exporter

        return exporter.template(name, page, **values, **more())

    return kept((name, repr(page), repr(values)), make, fresh=fresh)


def kept(source: Any, make: Callable[[], str], *, fresh: bool = False) -> str:
    """Return what was made before from a source, by this very program; else make it, and keep it.

    Parameters
    ----------
    source : object
        Everything that it is made from besides the program, as plain data.
    make : callable
    fresh : bool
        Make it anew in any case.
    """
    store = Store("pages")
    told = json.dumps([kit.fingerprint(), source], ensure_ascii=False, default=repr)
    key = hashlib.sha256(told.encode("utf-8", "surrogatepass")).hexdigest()
    before = None if fresh else store.read(key)
    if isinstance(before, str):
        return before
    text = make()
    store.write({key: text})
    return text


def trim() -> None:
    """Remove, above a size, what has not been asked for longest."""
    Store("pages").trim(_MOST_BYTES)
