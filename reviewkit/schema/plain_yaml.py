"""Parses YAML written by hand: plain values only, nothing that surprises, nothing that explodes.

Numbers, text, true/false, null, lists and blocks are read. Dates, times and `yes`/`no` stay the text
they are; tags, aliases and keys written twice are refused, as is a file too large or too deep to be a
review's.
"""

from __future__ import annotations

import re
from typing import Any

import yaml

from reviewkit.errors import ReviewFileError

MAX_BYTES = 1_000_000
MAX_DEPTH = 20
MAX_NODES = 10_000
_MOST_DIGITS = 30

_PLAIN = {
    "tag:yaml.org,2002:bool": re.compile(r"^(?:true|True|TRUE|false|False|FALSE)$"),
    "tag:yaml.org,2002:null": re.compile(r"^(?:~|null|Null|NULL|)$"),
    "tag:yaml.org,2002:int": re.compile(r"^[-+]?(?:0|[1-9][0-9]*)$"),
    "tag:yaml.org,2002:float": re.compile(
        r"^[-+]?(?:[0-9]+\.[0-9]*|\.[0-9]+|[0-9]+(?=[eE]))(?:[eE][-+]?[0-9]+)?$"
    ),
}


_HALF = re.compile("[\ud800-\udfff]")


class _Loader(yaml.SafeLoader):
    """The safe loader without aliases, tags and the guesses that turn `12:30` or `no` into something else."""

    yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012 - PyYAML's own protocol
    nodes = 0
    depth = 0

    def compose_node(self, parent: Any, index: Any) -> Any:
        event: Any = self.peek_event()  # type: ignore[no-untyped-call]
        if isinstance(event, yaml.AliasEvent):
            raise _at(event.start_mark, f"the alias '*{event.anchor}' is not read", "Write its value out.")
        if getattr(event, "tag", None):
            raise _at(event.start_mark, f"the tag '{event.tag}' is not read here", "Remove it.")
        self.nodes += 1
        self.depth += 1
        if self.nodes > MAX_NODES or self.depth > MAX_DEPTH:
            raise _at(event.start_mark, "more values, or deeper nested ones, than a review has")
        node = super().compose_node(parent, index)
        if isinstance(node, yaml.ScalarNode) and _HALF.search(node.value):
            raise _at(event.start_mark, "an escape stands for half a character", "Type the character itself.")
        self.depth -= 1
        return node

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:
        seen: dict[Any, Any] = {}
        for key_node, value_node in node.value:
            if not isinstance(key_node, yaml.ScalarNode):
                raise _at(key_node.start_mark, "a key is not plain text", "Remove the brackets.")
            # As written: `50:` and `on:` are names here, whatever YAML would make of them.
            key = key_node.value
            if key in seen:
                raise _at(key_node.start_mark, f"the key '{key}' is written twice", "Remove one of the two.")
            seen[key] = self.construct_object(value_node, deep=True)
        return seen

    def construct_whole(self, node: Any) -> int:
        if len(node.value) > _MOST_DIGITS:
            raise _at(node.start_mark, f"a number of {len(node.value)} digits", "Correct it.")
        return int(node.value)


for _tag, _pattern in _PLAIN.items():
    _Loader.add_implicit_resolver(_tag, _pattern, None)
_Loader.add_constructor("tag:yaml.org,2002:map", _Loader.construct_mapping)
_Loader.add_constructor("tag:yaml.org,2002:int", _Loader.construct_whole)


class _Refused(Exception):
    """Carries an error out of PyYAML until the file's name is known."""

    def __init__(self, line: int, problem: str, remedy: str) -> None:
        self.line, self.problem, self.remedy = line, problem, remedy
        super().__init__(problem)


def _at(mark: Any, problem: str, remedy: str = "") -> _Refused:
    return _Refused(mark.line + 1, problem, remedy)


def parse(raw: bytes, name: str) -> dict[str, Any]:
    """Return the keys and values of a file's bytes.

    Parameters
    ----------
    raw : bytes
    name : str
        The file's, for messages.

    Returns
    -------
    dict
        Keys as written; values are str, int, float, bool, None, list and dict.

    Raises
    ------
    ReviewFileError
        If it is too large, is no text or no YAML, or holds what this module refuses.
    """
    if len(raw) > MAX_BYTES:
        raise ReviewFileError("larger than 1 MB", file=name, expected="keys and values, not measurements")
    return loads(decoded(raw, name), name)


def loads(text: str, file: str) -> dict[str, Any]:
    """Return the keys and values of a text, else as `parse`.

    Parameters
    ----------
    file : str
        Named in messages.
    """
    values = _parsed(text, file)
    if not isinstance(values, dict):
        raise ReviewFileError("holds no keys", file=file, expected="lines such as 'device: {name: Alder}'")
    return values


def decoded(raw: bytes, name: str) -> str:
    """Return a file's text: UTF-8, or UTF-16 with its mark.

    Raises
    ------
    ReviewFileError
        If it is neither.
    """
    wide = raw.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        return raw.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise ReviewFileError(
            "not readable as text",
            file=name,
            place=f"line {line}",
            expected="UTF-8",
            remedy="Save it as UTF-8.",
        ) from None


def _parsed(text: str, name: str) -> Any:
    try:
        return yaml.load(text, Loader=_Loader)
    except _Refused as error:
        raise ReviewFileError(
            error.problem, file=name, place=f"line {error.line}", remedy=error.remedy
        ) from None
    except yaml.MarkedYAMLError as error:
        raise ReviewFileError(
            f"not readable: {_plainly(str(error.problem or error.context))}",
            file=name,
            place=_place(error),
            remedy="Look for a missing space after a colon, a quote or bracket left open, or uneven indents.",
        ) from None
    except yaml.reader.ReaderError as error:
        raise ReviewFileError(
            "holds a character that stands in no text",
            file=name,
            place=f"line {text[: int(error.position)].count(chr(10)) + 1}",
            remedy="Delete it; if there are many, the file is damaged.",
        ) from None
    except (yaml.YAMLError, RecursionError, ValueError):
        raise ReviewFileError(
            "not readable", file=name, expected="keys and values", remedy="Look for what is no plain value."
        ) from None


_PLAINLY = {
    "mapping values are not allowed": "a colon where no key can stand",
    "cannot start any token": "a tabulator or sign where none can stand",
    "unexpected end of stream": "a quote that is never closed",
    "<block end>": "a line that does not fit the lines above it",
    "could not find expected ':'": "a key without its colon",
    "expected ',' or": "a bracket that is never closed, or a comma that is missing",
    "another document": "a line '---' in its middle",
    "escape": "a backslash within double quotes: write single ones",
    "alias": "a '*' where none can stand: put the text in quotes",
    "anchor": "an '&' where none can stand: put the text in quotes",
}


def _plainly(problem: str) -> str:
    """Return a parser's complaint in the words of someone who has never heard of it."""
    return next((told for sign, told in _PLAINLY.items() if sign in problem), problem)


def _place(error: yaml.MarkedYAMLError) -> str:
    """Return where the parser stopped, and where what it was reading began."""
    lines = sorted({mark.line + 1 for mark in (error.context_mark, error.problem_mark) if mark})
    return f"line{'s' if lines[1:] else ''} {' to '.join(map(str, lines))}" if lines else ""


def dump(value: Any) -> str:
    """Return a plain value as it stands behind a key, in one line."""
    text = yaml.safe_dump(value, default_flow_style=True, allow_unicode=True, width=10_000)
    return text.removesuffix("\n").removesuffix("\n...")
