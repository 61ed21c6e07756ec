"""A section's template as a notebook to fill in by hand: its parameter cell shows every key it takes."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

from reviewkit.review import strict_yaml
from reviewkit.sections import key_list, parameter_cell, review_outline
from reviewkit.sections.key_list import Key
from reviewkit.sections.parameter_cell import Parameter
from reviewkit.sections.template import BY_HAND, Section, inputs_model

_INDENT = "    "


def notebook(section: Section, values: Mapping[str, Any]) -> str:
    """Return the template with what is known in its parameter cell, and every other key as a comment.

    Parameters
    ----------
    section : Section
    values : mapping
        What the review file holds.
    """
    whole = json.loads(section.path.read_text(encoding="utf-8"))
    # It is one section of one review now, and no template that others could be run with.
    whole["metadata"].pop("reviewkit", None)
    for cell in whole["cells"]:
        if "parameters" in cell.get("metadata", {}).get("tags", ()):
            written = "".join(cell["source"])
            every = parameter_cell.inspect(written, template=section.path.name)
            lines = [line for item in every for line in _lines(section, item, values)]
            cell["source"] = "\n".join(lines).splitlines(keepends=True)
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"


def _lines(section: Section, item: Parameter, values: Mapping[str, Any]) -> Iterator[str]:
    value = values.get(item.name)
    start, about = f"{item.name}: {item.annotation} = ", f"  # {item.comment}" if item.comment else ""
    field = None if item.name in BY_HAND else inputs_model(section).model_fields[item.name]
    if field is None or not review_outline.models_in(field.annotation) or isinstance(value, str):
        yield f"{start}{_python(item.default if value is None else value)}{about}"
        return
    if review_outline.holds(field.annotation, dict):
        yield f"{start}{{{about}"
        yield from _named(dict(value or {}), _keys(section, f"{item.name}.*."))
        yield "}"
    elif review_outline.holds(field.annotation, list) or review_outline.holds(field.annotation, tuple):
        yield f"{start}[{about}"
        yield from _listed(list(value or []), _keys(section, f"{item.name}[]."))
        yield "]"
    else:
        yield f"{start}{{{about}"
        yield from (f"{_INDENT}{line}" for line in _block(value or {}, _keys(section, f"{item.name}.")))
        yield "}"


def _keys(section: Section, above: str) -> dict[str, Key]:
    """Return the keys of a block by their own names, without those of blocks in it."""
    named = ((key.name.removeprefix(above), key) for key in key_list.keys([section]) if above in key.name)
    return {name: key for name, key in named if "." not in name and "[" not in name}


def _block(known: Mapping[str, Any], keys: Mapping[str, Key]) -> Iterator[str]:
    """Walk a block's lines: what is known, then the other keys, each behind a # with what it means."""
    for name, value in known.items():
        yield f"{_python(name)}: {_python(value)},{_about(keys.get(name))}"
    for name, key in keys.items():
        if name not in known:
            yield f"# {_python(name)}: {_default(key)},{_about(key)}"


def _default(key: Key) -> str:
    return _python(strict_yaml.loads(f"as: {key.default}", "")["as"] if key.default else "")


def _about(key: Key | None) -> str:
    told = [] if key is None else [key.says, key.takes]
    return f"  # {': '.join(filter(None, told))}" if any(told) else ""


def _listed(known: list[Any], keys: Mapping[str, Key]) -> Iterator[str]:
    for item in known:
        yield from (
            _held("{", _block(item, keys)) if isinstance(item, dict) else [f"{_INDENT}{_python(item)},"]
        )
    if not known:
        yield from _behind_a_mark(_held("{", _block({}, keys)))


def _named(known: Mapping[str, Any], keys: Mapping[str, Key]) -> Iterator[str]:
    for name, block in known.items():
        yield f"{_INDENT}{_python(name)}: {_python(block)},"
    yield from _behind_a_mark(_held('"a name of your own": {', _block({}, keys)))


def _held(head: str, lines: Iterator[str]) -> Iterator[str]:
    yield f"{_INDENT}{head}"
    yield from (f"{_INDENT * 2}{line}" for line in lines)
    yield f"{_INDENT}}},"


def _behind_a_mark(lines: Iterator[str]) -> Iterator[str]:
    """Make comments of the lines; a key that is behind a mark of its own already keeps one."""
    for line in lines:
        bare = line.removeprefix(_INDENT)
        yield f"{_INDENT}# {bare.replace('# ', '', 1) if bare.lstrip().startswith('# ') else bare}"


def _python(value: Any) -> str:
    """Return a plain value as Python has it, texts in double quotes."""
    match value:
        case str():
            return json.dumps(value, ensure_ascii=False)
        case dict():
            return "{" + ", ".join(f"{_python(key)}: {_python(item)}" for key, item in value.items()) + "}"
        case list() | tuple():
            return "[" + ", ".join(map(_python, value)) + "]"
    return repr(value)
