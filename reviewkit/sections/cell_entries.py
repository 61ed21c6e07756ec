"""What a notebook's parameter cell holds, as the review file that it stands for, and the files it names."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from reviewkit import errors
from reviewkit.errors import CELL, InputError, ReviewFileError
from reviewkit.review import review_file, strict_yaml
from reviewkit.schema.blocks import LogBlock
from reviewkit.sections import review_outline
from reviewkit.sections.template import Section, inputs_model

_Place = tuple[Any, Any]
"""What holds a value, and under which key or number."""
_EMPTY: tuple[Any, ...] = (None, {}, [])


def given(names: Mapping[str, Any], sections: Iterable[Section]) -> dict[str, Any]:
    """Return of all names, such as a notebook's `globals()`, those of a review file that are filled in.

    Parameters
    ----------
    names : mapping
    sections : iterable of Section
        Between them they declare which keys there are.

    Raises
    ------
    ReviewFileError
        If a value is none that a review file could hold.
    """
    parts = tuple(sections)
    known = (*review_file.OWN, *(item.name for part in parts for item in part.parameters))
    tables = {key for part in parts for key in part.about.bench.tables}
    found = {name: _filled(names[name], name) for name in dict.fromkeys(known) if name in names}
    return {
        name: value
        for name, value in found.items()
        if value not in _EMPTY and not (name in tables and _is_only_a_heading(value))
    }


def _filled(value: Any, place: str) -> Any:
    """Return a value without what has nothing behind its key; None where that is all of it."""
    match value:
        case None | bool() | int() | float():
            return value
        case str() | Path():
            return str(value).strip() or None
        case Mapping():
            kept = {str(key): _filled(item, f"{place}.{key}") for key, item in value.items()}
            return _left({key: item for key, item in kept.items() if item is not None}, value)
        case list() | tuple():
            several = [_filled(item, f"{place}[{number}]") for number, item in enumerate(value, 1)]
            return _left([item for item in several if item is not None], value)
    raise ReviewFileError(
        f"found a value of type {type(value).__name__}",
        file=CELL,
        place=place,
        expected="text in quotes, a number, True or False, a list or a block in braces",
    )


def _left(kept: Any, before: Any) -> Any:
    """Return a block or list; None where it held something and nothing of it is filled in."""
    return kept if kept or not before else None


def is_table(value: Any) -> bool:
    """Whether a value is the table itself, typed, and not the name of its file."""
    return isinstance(value, str) and "\n" in value


def _is_only_a_heading(value: Any) -> bool:
    lines = str(value).splitlines()
    rows = [line for line in lines if line.strip(" ,;\t") and not line.lstrip().startswith("#")]
    return len(rows) < 2 and not re.search(r"\.\w+$", str(value))


def files(values: dict[str, Any], sections: Iterable[Section]) -> Iterator[_Place]:
    """Walk where the values name a file: what holds the name, and under which key or number.

    Parameters
    ----------
    values : dict
        As `given` returns them.
    sections : iterable of Section
    """
    for section in sections:
        model = inputs_model(section)
        for item in section.parameters:
            value = values.get(item.name)
            if item.name in section.about.bench.tables or item.unit == "file":
                if isinstance(value, str) and not is_table(value):
                    yield values, item.name
            elif value is not None:
                yield from _logs(values, item.name, model.model_fields[item.name].annotation)


def _logs(holder: Any, key: Any, annotation: Any) -> Iterator[_Place]:
    value, models = holder[key], review_outline.models_in(annotation)
    if isinstance(value, list):
        for number in range(len(value)):
            yield from _logs(value, number, annotation)
    elif LogBlock in models and isinstance(value, str):
        yield holder, key
    elif LogBlock in models and isinstance(value, dict) and isinstance(value.get("path"), str):
        yield value, "path"
    elif isinstance(value, dict) and models:
        fields = models[0].model_fields
        for name in value:
            if name in fields:
                yield from _logs(value, name, fields[name].annotation)


def named(
    values: Mapping[str, Any], sections: Iterable[Section], names: Mapping[str, str]
) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the values of a review file, and the tables that were typed, by their files' names.

    Parameters
    ----------
    values : mapping
        As `given` returns them.
    sections : iterable of Section
    names : mapping of str to str
        By file as it was named: how the review file is to name it.
    """
    parts, found = tuple(sections), copy.deepcopy(dict(values))
    for holder, key in files(found, parts):
        holder[key] = names.get(holder[key], holder[key])
    typed = {
        key: table
        for part in parts
        for key, table in part.about.bench.tables.items()
        if is_table(found.get(key))
    }
    texts = {
        table: "".join(f"{line.strip()}\n" for line in found[key].splitlines())
        for key, table in typed.items()
    }
    return found | typed, texts


_HEAD = (
    "## The review file, as a parameter cell was filled in. All keys: reviewkit keys",
    "## A bare number is in the unit that its name ends with. Paths are relative to this file.",
)


def text(values: Mapping[str, Any]) -> str:
    """Return the text of a review file that holds these values; a working copy, unless they say otherwise."""
    own = {"edition": 0} | dict(values.get("review") or {})
    lines = list(_HEAD)
    for key, value in (dict(values) | {"review": own}).items():
        lines += ["", *_written(key, value)]
    told = "\n".join(lines) + "\n"
    return told.replace("\n  edition: 0\n", "\n" + "\n".join(review_outline.EDITION) + "\n", 1)


def _written(key: str, value: Any) -> Iterator[str]:
    """Walk a key's lines: a block and a list key by key, what stands deeper in one line."""
    if not value or not isinstance(value, dict | list):
        yield f"{key}: {strict_yaml.dump(value)}"
        return
    yield f"{key}:"
    if isinstance(value, dict):
        yield from (f"  {line}" for line in _lines(value))
    for item in value if isinstance(value, list) else ():
        lines = list(_lines(item)) if isinstance(item, dict) and item else [strict_yaml.dump(item)]
        yield from (f"  {'- ' if not number else '  '}{line}" for number, line in enumerate(lines))


def _lines(block: Mapping[str, Any]) -> Iterator[str]:
    yield from (f"{strict_yaml.dump(name)}: {strict_yaml.dump(item)}" for name, item in block.items())


def told(fault: InputError, spelled: Mapping[str, str]) -> InputError:
    """Return a fault of a review file for someone who has filled in a parameter cell.

    Parameters
    ----------
    fault : InputError
    spelled : mapping of str to str
        By file in the review folder: how the cell names it.
    """
    plain = errors.to_plain(fault)
    words = {name: errors.told_in_a_cell(word) for name, word in plain.items() if name != "kind"}
    words["file"] = spelled.get(fault.file, words["file"])
    for own, cell in spelled.items():
        words["remedy"] = words["remedy"].replace(f'"{own}"', f'"{cell}"')
    return errors.from_plain({"kind": plain["kind"], **words})
