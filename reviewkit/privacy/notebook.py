"""Takes out of an executed notebook what is private to the machine and the person who ran it."""

from __future__ import annotations

import getpass
import html
import json
import re
import socket
import sys
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any
from urllib.parse import quote

from reviewkit.findings.displays import PACKED
from reviewkit.privacy import images

MARK = "…"
_COMMON_NAMES = frozenset(
    {"root", "user", "admin", "guest", "runner", "localhost", "home", "debian", "ubuntu"}
)
_SHORTEST_FOLDER, _SHORTEST_NAME, _LONG_NAME = 4, 3, 6

# Where a path or name may begin: at no letter's side, but for a letter that ends an escape (\n, %20); and
# not at a "+", where base64 would be cut.
_AFTER = r"(?:(?<![\w+])|(?<=\\[nrtbf])|(?<=%[0-9A-Fa-f]{2}))"
# A name stands alone between underscores too.
_AFTER_LETTER = r"(?:(?<![^\W_])|(?<=\\[nrtbf])|(?<=%[0-9A-Fa-f]{2}))"
_ROOTS = "home|Users|root|tmp|private|var|opt|mnt|media|etc|usr|srv|run|dev|proc|Volumes|Library"
_STARTS = (
    rf"/(?:{_ROOTS})/",
    rf"%2F(?:{_ROOTS})%2F",
    r"[A-Za-z]:\\(?=[\w\\])",
    r"[A-Za-z]:/(?=(?:Users|Windows|Program|Temp|Documents)\b)",
    r"\\\\(?:\\\\)?[\w.$-]+\\(?=[\w\\])",
    r"file:/+(?=\w)",
    r"~/(?=[\w.])",
)
# Any other path: two names at least, of which the first has a letter.
_ANY = r"(?<![\w+.<>:/%~\\)\]}*-])/(?=[\w.@+~-]*[A-Za-z])(?:[\w.@+~-]+/)+[\w.@+~-]*"
# A path goes on behind a blank where a separator follows before the next one, or soon a file's ending.
_IN_PATH = r"[^\s\"'<>|`\[\]]"
_BEFORE_NEXT = r"[^\s\"'<>|`\[\]/\\:=~]"
_REST = (
    rf"{_IN_PATH}*(?:[ ]{_BEFORE_NEXT}+[\\/]{_IN_PATH}*)*"
    rf"(?:(?:[ ]{_BEFORE_NEXT}+){{0,4}}\.[A-Za-z]\w{{0,4}}(?!\w))?"
)
_QUOTED_REST = r"[^\"'<>|\n]*"
_SEPARATOR = re.compile(r"[/\\]|%2[Ff]")
_TRACEBACK = re.compile(r"Traceback \(most recent call last\):.*", re.DOTALL)


@dataclass(frozen=True)
class Private:
    """What is to be taken out of texts.

    Parameters
    ----------
    folders : tuple of str
        Folders whose names are cut off; what lies below stays as a relative path.
    names : tuple of str
        Words that are replaced wherever they stand alone.
    elsewhere : tuple of str
        Folders that are replaced with all that lies below.
    """

    folders: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    elsewhere: tuple[str, ...] = ()

    def text(self, text: str) -> str:
        """Return the text without them, without other absolute paths and without tracebacks."""
        # Most texts are numbers and short words: a path has a separator, a name is there or is not.
        if not _SEPARATOR.search(text):
            low = text.lower()
            if not any(name in low for name in self._low_names):
                return _untraced(text)
        return self._pattern.sub(lambda found: "" if found.lastgroup == "own" else MARK, _untraced(text))

    @cached_property
    def _low_names(self) -> tuple[str, ...]:
        return tuple(name.lower() for name in self.names)

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        known = [rf"(?:file:/{{0,2}})?(?:{_any_of(self.elsewhere)})(?![\w.-])"] if self.elsewhere else []
        starts = "|".join([*known, *_STARTS])
        ways = [rf"(?<=[\"'])(?:{starts}){_QUOTED_REST}", rf"{_AFTER}(?:{starts}){_REST}", _ANY]
        if self.folders:
            # The review's own folder comes first: it may lie in one of the others.
            own = rf"(?:file://)?(?:{_any_of(self.folders)})(?![\w.-])(?:[\\/]|%2F)*"
            ways.insert(0, rf"(?P<own>{_AFTER}{own})")
        if self.names:
            # A short one may be a word as well: not where it is written otherwise.
            short, long = (
                [name for name in self.names if (len(name) >= _LONG_NAME) is is_long]
                for is_long in (False, True)
            )
            names = "|".join(f"({way}:{_any_of(some)})" for way, some in (("?", short), ("?i", long)) if some)
            ways.append(rf"{_AFTER_LETTER}(?:{names})(?![^\W_])")
        return re.compile("|".join(ways))


def _untraced(text: str) -> str:
    return _TRACEBACK.sub(MARK, text) if "Traceback (" in text else text


def _any_of(words: Iterable[str]) -> str:
    # The longest first: a folder inside another one is found whole.
    return "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))


def _spelled(paths: Iterable[Path]) -> tuple[str, ...]:
    """Return folders as texts may name them: with either separator, linked or not, escaped or not."""
    plain = {str(spelling) for path in paths for spelling in (path, path.resolve())}
    plain |= {text.replace("\\", "/") for text in plain}
    return _forms(text for text in plain if len(text) >= _SHORTEST_FOLDER)


def _forms(texts: Iterable[str]) -> tuple[str, ...]:
    """Return texts as they are, and as JSON, Python, addresses and HTML write them."""
    forms: set[str] = set()
    for text in texts:
        forms |= {text, json.dumps(text)[1:-1], json.dumps(text, ensure_ascii=False)[1:-1]}
        forms |= {repr(text)[1:-1], ascii(text)[1:-1]}
        forms |= {quote(text), quote(text, safe=""), html.escape(text)}
    return tuple(sorted(forms, key=len, reverse=True))


def _machine_names() -> set[str]:
    names = {socket.gethostname(), socket.gethostname().partition(".")[0]}
    # No name to be had is no name to hide.
    with suppress(OSError, KeyError, ImportError):
        names |= {getpass.getuser(), _full_name()}
    return {
        name
        for name in names
        if len(name) >= _SHORTEST_NAME and not name.isdigit() and name.lower() not in _COMMON_NAMES
    }


def _full_name() -> str:
    """Return the user's name as the system's own list of users has it; empty where there is no such list."""
    try:
        import os
        import pwd
    except ImportError:
        return ""
    return pwd.getpwuid(os.getuid()).pw_gecos.partition(",")[0]


_INJECTED = "injected-parameters"
_KEPT_METADATA = ("kernelspec", "language_info", "reviewkit")
_PICTURES = ("image/png", "image/jpeg")
_DRAWING = "image/svg+xml"
_NUMBERS = "bdata"
"""Key under which a chart holds numbers in base64."""
# Kinds that no page shows, and that can hold more than is seen of them.
_OPAQUE = ("image/", "audio/", "video/", "application/pdf", "application/octet-stream", "application/zip")


_DROPPED: Any = object()


class Scrubber(Private):
    """Replaces paths and names of this machine in notebooks."""

    def value(self, value: Any) -> Any:
        """Return JSON data with every text, key, picture and packed table in it cleaned."""
        if isinstance(value, str):
            return self.text(images.cleaned(value, self.text))
        if isinstance(value, list):
            return [self.value(item) for item in value]
        if isinstance(value, dict):
            kept = ((self._key(key), self._entry(key, item)) for key, item in value.items())
            return {key: item for key, item in kept if item is not _DROPPED}
        return value

    def _key(self, key: str) -> str:
        """Return a key cleaned; a notebook has few, each thousands of times."""
        if key not in self._keys:
            self._keys[key] = self.text(key)
        return self._keys[key]

    @cached_property
    def _keys(self) -> dict[str, str]:
        return {}

    def _entry(self, key: str, item: Any) -> Any:
        """Return what stands under a key; `_DROPPED` where it is nothing to publish."""
        if key in _PICTURES:
            return images.picture("".join(item)) or _DROPPED
        if key == PACKED:
            return images.packed(item, self.text)
        if key == _DRAWING:
            return self.value(images.svg("".join(item)))
        if key.startswith(_OPAQUE):
            return _DROPPED
        return item if key == _NUMBERS else self.value(item)

    def notebook(self, notebook: Mapping[str, Any], *, failure: str = "") -> dict[str, Any]:
        """Return an executed notebook fit to publish.

        Parameters
        ----------
        notebook : mapping
            As nbformat 4 has it.
        failure : str
            The line that takes the place of a failed cell's traceback.
        """
        kept = notebook["metadata"].items()
        metadata = {key: self.value(item) for key, item in kept if key in _KEPT_METADATA}
        cells = [self._cell(cell, failure) for cell in notebook["cells"] if not _is_error_banner(cell)]
        return {**notebook, "metadata": metadata, "cells": cells}

    def _cell(self, cell: Mapping[str, Any], failure: str) -> dict[str, Any]:
        kept = {key: item for key, item in cell["metadata"].items() if key in ("tags", "reviewkit")}
        clean = {**cell, "metadata": kept, "source": self.value(cell["source"])}
        if _INJECTED in kept.get("tags", ()):
            # The same in every run, as all other cells' are.
            clean["id"] = _INJECTED
        if "attachments" in cell:
            clean["attachments"] = self.value(cell["attachments"])
        if "outputs" in cell:
            clean["outputs"] = [self._output(item, failure) for item in cell["outputs"] if _is_shown(item)]
        return clean

    def _output(self, output: Mapping[str, Any], failure: str) -> dict[str, Any]:
        if output["output_type"] == "error":
            return {"output_type": "error", "ename": "SectionError", "evalue": failure, "traceback": []}
        return {key: self.value(item) for key, item in output.items()}


def for_machine(folder: Path, *, public: str = "", more: Iterable[Path] = ()) -> Scrubber:
    """Return the scrubber for this machine and one review folder.

    Parameters
    ----------
    folder : pathlib.Path
        The review folder.
    public : str
        What the author wrote; a name that stands in it is the author's to publish.
    more : iterable of pathlib.Path
        More folders that no reader needs to know.
    """
    known = [*more, Path.home(), Path.cwd(), Path(tempfile.gettempdir()), Path(sys.prefix)]
    known += [Path(__file__).parents[1], Path(sys.base_prefix)]
    # What one of them lies in is as private, down from where it is the same on every machine.
    known += [above for path in (*known, folder) for above in path.resolve().parents[:-1]]
    names = (name for name in _machine_names() if not re.search(rf"\b{re.escape(name)}\b", public))
    return Scrubber(_spelled([folder]), _forms(names), _spelled(known))


def _is_shown(output: Mapping[str, Any]) -> bool:
    return not (output["output_type"] == "stream" and output.get("name") == "stderr")


def _is_error_banner(cell: Mapping[str, Any]) -> bool:
    return "papermill-error-cell-tag" in cell["metadata"].get("tags", ())
