"""Changes a review file by as few of its lines as can be: what a person wrote stays, remarks too."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import yaml

from reviewkit.errors import ReviewFileError
from reviewkit.review import strict_yaml

_INDENT = 2


def with_item(text: str, key: str, item: dict[str, Any], *, file: str) -> str:
    """Return a review file with one more entry in a list at its top.

    Parameters
    ----------
    text : str
        The file as it is.
    key : str
        The list's, such as "drain_states"; written where it isn't there.
    item : dict
        Plain values.
    file : str
        Named in messages.

    Raises
    ------
    ReviewFileError
        If the file can't be read, or the list is written in a way that can't be added to.
    """
    before = strict_yaml.loads(text, file)
    found = _under(_root(text), key)
    written = "{" + ", ".join(strict_yaml.dump({name: value})[1:-1] for name, value in item.items()) + "}"
    line = f"- {written}"
    if found is None:
        new = f"{text.rstrip()}\n\n{key}:\n{' ' * _INDENT}{line}\n"
    elif isinstance(found, yaml.SequenceNode) and found.value and not found.flow_style:
        new = _line_after(text, _last_line(found), " " * found.start_mark.column + line)
    elif isinstance(found, yaml.SequenceNode) and found.value:
        end = found.end_mark.index - 1
        new = f"{text[:end].rstrip().removesuffix(',')}, {written}{text[end:]}"
    else:
        start, end = found.start_mark.index, found.end_mark.index
        kept = text[:start].rstrip(" ") if end > start else text[:start]
        emptied = kept + text[end:]
        new = _line_after(emptied, found.start_mark.line, " " * _INDENT + line)
    return _proved(new, before | {key: [*(before.get(key) or []), item]}, key, file)


def with_value(text: str, path: Sequence[str | int], value: Any, *, file: str) -> str:
    """Return a review file with one value written or replaced.

    Parameters
    ----------
    path : sequence of str and int
        Keys and places in lists: ("charge_runs", 0, "cable_out_s"). All but the last are there.
    value
        Plain.

    Raises
    ------
    ReviewFileError
        If the file can't be read, there is no such place, or it can't be written in.
    """
    before = strict_yaml.loads(text, file)
    *parents, key = path
    node: Any = _root(text)
    held: Any = before
    for step in parents:
        node = _under(node, step)
        if node is None or not isinstance(held, dict | list):
            raise ReviewFileError("there is no such key yet", file=file, place=_spelled(path))
        held = held.get(str(step)) if isinstance(held, dict) else held[int(step)]
    if not isinstance(held, dict):
        raise ReviewFileError("is no block of keys", file=file, place=_spelled(parents))
    found, written = _under(node, str(key)), strict_yaml.dump({"": value})[1:-1].partition(":")[2].lstrip()
    if found is not None:
        new = f"{text[: found.start_mark.index]}{written}{text[found.end_mark.index :]}"
        if found.end_mark.index == found.start_mark.index:
            new = f"{text[: found.start_mark.index].rstrip(' ')} {written}{text[found.end_mark.index :]}"
    elif node.flow_style:
        end = node.end_mark.index - 1
        mark = ", " if node.value else ""
        new = f"{text[:end].rstrip().removesuffix(',')}{mark}{key}: {written}{text[end:]}"
    else:
        indent = " " * node.value[0][0].start_mark.column
        new = _line_after(text, _last_line(node), f"{indent}{key}: {written}")
    held[str(key)] = value
    return _proved(new, before, _spelled(path), file)


def _spelled(path: Sequence[str | int]) -> str:
    parts = (f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in path)
    return "".join(parts).removeprefix(".")


def _root(text: str) -> Any:
    return yaml.compose(text, Loader=yaml.SafeLoader)


def _under(node: Any, step: str | int) -> Any:
    """Return the node under a key, or at a place of a list; None where there is none."""
    if isinstance(step, int):
        return node.value[step] if isinstance(node, yaml.SequenceNode) else None
    pairs = node.value if isinstance(node, yaml.MappingNode) else ()
    return next((value for key, value in pairs if key.value == step), None)


def _last_line(node: Any) -> int:
    """Return the last line that a node itself stands on, counted from 0; a block's own mark is further on."""
    if isinstance(node, yaml.CollectionNode) and node.value and not node.flow_style:
        last = node.value[-1]
        return _last_line(last[1] if isinstance(last, tuple) else last)
    line, column = int(node.end_mark.line), int(node.end_mark.column)
    # A block scalar ends at the start of the line behind it.
    return line - 1 if column == 0 and line > node.start_mark.line else line


def _line_after(text: str, line: int, new: str) -> str:
    """Return a text with a line put in behind one, counted from 0."""
    lines = text.splitlines(keepends=True)
    end = "\r\n" if "\r\n" in text else "\n"
    if lines and not lines[-1].endswith(("\n", "\r")):
        lines[-1] += end
    return "".join([*lines[: line + 1], new + end, *lines[line + 1 :]])


def _proved(new: str, wanted: dict[str, Any], place: str, file: str) -> str:
    """Return the new text, if it reads as it should: what stands there in another way is not guessed at."""
    try:
        same = strict_yaml.loads(new, file) == wanted
    except ReviewFileError:
        same = False
    if not same:
        raise ReviewFileError(
            "this place is written in a way that can't be added to",
            file=file,
            place=place,
            remedy="Write it there by hand; nothing was changed.",
        )
    return new
