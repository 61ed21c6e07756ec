"""What a person fills in: a review file written from what the sections read, and a sheet for the bench."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterable, Iterator
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from reviewkit.findings.sentences import CAUTIONS, SCOPE
from reviewkit.metrology import formatting
from reviewkit.review import strict_yaml
from reviewkit.review.review_file import About, Claim, Device
from reviewkit.sections.template import Section, inputs_model
from reviewkit.system.kit import kit_folder


def page(name: str, sections: Iterable[Section]) -> str:
    """Return the sheet as HTML.

    Parameters
    ----------
    name : str
        The device's.
    sections : iterable of Section
        Each adds what its metadata ask for under ``bench``, else what its parameters' comments say.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    loader = FileSystemLoader(kit_folder() / "html")
    pages = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    parts = [_part(section) for section in sections]
    text: str = pages.get_template("bench_sheet.html.j2").render(
        name=name, sections=parts, cautions=CAUTIONS, scope=SCOPE
    )
    return text


def _part(section: Section) -> dict[str, Any]:
    asked = [item.comment for item in section.parameters if item.comment]
    return {"title": section.title, "bench": section.about.bench, "asked": asked}


_INDENT = "  "
_EDITION = (
    "  ## While this is 0 the review is a working copy: a run writes over it, however its data have changed.",
    "  ## Publish it as 1. Other data after that are edition 2, beside which edition 1 is kept.",
    "  edition: 0",
)


def review_file(name: str, sections: Iterable[Section]) -> str:
    """Return the text of a review file whose every line but the device's name is a comment.

    Parameters
    ----------
    name : str
        The device's.
    sections : iterable of Section
        In the order in which they are to be filled in; a name that several read is written once.
    """
    lines = [
        "## The review file. Take the '#' off the lines you fill in; '##' begins an explanation.",
        "## A bare number is in the unit that its name ends with; '500 mA' is read as well.",
        "## Paths are relative to this file.",
        "",
        "device:",
        f"  name: {_scalar(name)}",
        *_fields(Device, 1, leave_out={"name"}),
        "",
        *_block("claims", tuple[Claim, ...]),
        "",
        "review:",
        *_EDITION,
        *_fields(About, 1, leave_out={"edition"}),
    ]
    written: set[str] = {"device", "claims", "review"}
    for section in sections:
        new = [item for item in section.parameters if item.name not in written]
        lines += ["", f"## {'-' * 10} {section.title}"]
        lines += [line for item in new for line in _parameter(section, item.name, item.comment, item.default)]
        written |= {item.name for item in new}
    return "\n".join(lines) + "\n"


def _parameter(section: Section, name: str, comment: str, default: Any) -> Iterator[str]:
    model = inputs_model(section)
    field = model.model_fields.get(name)
    if comment:
        yield f"## {comment}"
    if field is not None and _models_in(field.annotation):
        yield from _block(name, field.annotation)
    else:
        # A table that is begun together with this file is the one that is meant.
        value = section.about.bench.tables.get(name, default)
        yield f"#{name}: {'' if value is None else _scalar(value)}".rstrip()


def _block(name: str, annotation: Any) -> Iterator[str]:
    model = _models_in(annotation)[0]
    yield f"#{name}:"
    if _holds(annotation, dict):
        yield f"#{_INDENT}name it here:"
        yield from _fields(model, 2)
    else:
        yield from _fields(model, 1, item=_holds(annotation, list) or _holds(annotation, tuple))


def _fields(
    model: type[BaseModel], depth: int, *, item: bool = False, leave_out: Iterable[str] = ()
) -> Iterator[str]:
    """Walk a block's keys as comment lines; an `item` starts with the dash of a list."""
    first = True
    for name, field in model.model_fields.items():
        if name in leave_out:
            continue
        dash = "- " if item and first else _INDENT if item else ""
        first = False
        yield f"#{_INDENT * depth}{dash}{name}: {_default(field)}{_choices(field)}".rstrip()


def _default(field: FieldInfo) -> str:
    value = None if field.is_required() else field.get_default(call_default_factory=True)
    return "" if value is None or isinstance(value, BaseModel) else _scalar(value)


def _choices(field: FieldInfo) -> str:
    for part in _union(field.annotation):
        if typing.get_origin(part) is typing.Literal:
            words = [str(item) for item in typing.get_args(part) if item != ""]
            return f"   # {formatting.listed(words, 'or')}"
    return ""


def _scalar(value: Any) -> str:
    """Return a value as the review file is to hold it, in one line."""
    return strict_yaml.dump(value)


def _holds(annotation: Any, container: type) -> bool:
    return any(typing.get_origin(part) is container for part in _union(annotation))


def _union(annotation: Any) -> tuple[Any, ...]:
    if isinstance(annotation, types.UnionType) or typing.get_origin(annotation) is typing.Union:
        return typing.get_args(annotation)
    return (annotation,)


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    """Return the blocks named anywhere in a type."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in typing.get_args(annotation) for model in _models_in(part)]
