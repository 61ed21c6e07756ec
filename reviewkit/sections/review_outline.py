"""What a person fills in: a review file written from what the sections read, and a sheet for the bench."""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from reviewkit.findings.sentences import CAUTIONS, SCOPE
from reviewkit.metrology import formatting
from reviewkit.review import strict_yaml
from reviewkit.review.review_file import About, Claim, Device
from reviewkit.schema.instruments import unit_read
from reviewkit.sections.template import Section, inputs_model
from reviewkit.system.kit import kit_folder


@dataclasses.dataclass(frozen=True)
class Known:
    """What is known for a bench sheet before the bench day; all of it may be left out.

    Parameters
    ----------
    head : mapping of str to str
        What stands beside each of `HEAD`.
    meters : sequence of sequence of str
        A row for each.
    do : mapping of str to sequence of str
        By section: what to do, in place of what its metadata say.
    rows : mapping of str to sequence of sequence of str
        By section, or by the title of a further table: beginnings of rows.
    """

    head: Mapping[str, str] = dataclasses.field(default_factory=dict)
    meters: Sequence[Sequence[str]] = ()
    do: Mapping[str, Sequence[str]] = dataclasses.field(default_factory=dict)
    rows: Mapping[str, Sequence[Sequence[str]]] = dataclasses.field(default_factory=dict)


HEAD = (
    *("Date, place", "Temperature, humidity"),
    *("Sample, serial, firmware", "Cell: label, chemistry, capacity, limit"),
    *("To declare: from whom, paid, links", "Maker’s claims, from the box"),
    *("Stop when anything is warmer than", "Clocks set at, against"),
)
_SECOND_PAGE = 2
"""The section that begins it, counted from 0: readout and charge fill the first."""


def page(name: str, sections: Iterable[Section], known: Known | None = None) -> str:
    """Return the sheet as HTML: two pages of A4 for the kit's own sections.

    Parameters
    ----------
    name : str
        The device's.
    sections : iterable of Section
        Each adds what its metadata ask for under ``bench``, else what its parameters' comments say.
    known : Known, optional
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    loader = FileSystemLoader(kit_folder() / "html")
    pages = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    filled = known or Known()
    text: str = pages.get_template("bench_sheet.html.j2").render(
        name=name,
        sections=[_part(section, index, filled) for index, section in enumerate(sections)],
        head=[(label, filled.head.get(label, "")) for label in HEAD],
        meters=filled.meters,
        cautions=CAUTIONS,
        scope=SCOPE,
    )
    return text


def _part(section: Section, number: int, known: Known) -> dict[str, Any]:
    return {
        "title": section.title,
        "bench": section.about.bench,
        "asked": [item.comment for item in section.parameters if item.comment],
        "do": known.do.get(section.name, section.about.bench.do),
        "rows": known.rows.get(section.name, ()),
        "filled": known.rows,
        "is_second": number == _SECOND_PAGE,
    }


_INDENT = "  "
EDITION = (
    "  ## While this is 0 the review is a working copy: a run writes over it, however its data have changed.",
    "  ## Publish it as 1. Other data after that are edition 2, beside which edition 1 is kept.",
    "  edition: 0",
)


_HEAD = (
    "## The review file. Take the '#' off the lines you fill in; '##' begins an explanation.",
    "## A bare number is in the unit that its name ends with; '500 mA' is read as well.",
    "## Paths are relative to this file.",
)


def first_review_file(
    name: str,
    sections: Iterable[Section],
    connected: Mapping[str, Sequence[Sequence[str]]] | None = None,
    meters: Mapping[str, Sequence[str]] | None = None,
) -> str:
    """Return the text of a review file with the lines that a first review needs, ready to run as it is.

    Parameters
    ----------
    name : str
        The device's.
    sections : iterable of Section
        One whose metadata name no first lines is written as `review_file` does.
    connected : mapping of str to sequence of sequence of str
        By key of the review file: the lines of each entry that stands for the example under it.
    meters : mapping of str to sequence of str
        By unit: the names of one's own meters, which stand for the example of a meter.
    """
    known = dict(connected or {})
    lines = [
        *_HEAD,
        "## These are the lines that a first review needs. All keys: reviewkit keys",
        "",
        "device:",
        f"  name: {_scalar(name)}",
        "#  disclosure: bought at the usual price; nobody paid for the review",
        "",
        "review:",
        *EDITION,
        "#  author: your name",
    ]
    for section in sections:
        lines += ["", f"## {'-' * 10} {section.title}"]
        for block in _first_blocks(section):
            key = block[0].removeprefix("#").partition(":")[0]
            own = (meters or {}).get(unit_read(key))
            block = [_own_meter(key, own)] if own else block
            lines += _filled(key, known.pop(key), block) if key in known else block
    return "\n".join(lines) + "\n"


def _first_blocks(section: Section) -> list[list[str]]:
    """Return a section's first lines, each key with what stands below it."""
    lines = section.about.bench.first or [
        line
        for item in section.parameters
        for line in _parameter(section, item.name, item.comment, item.default)
    ]
    blocks: list[list[str]] = []
    for line in lines:
        if line.startswith("##") or not line.removeprefix("#").startswith((" ", "-")) or not blocks:
            blocks.append([])
        blocks[-1].append(line)
    return blocks


def _own_meter(key: str, names: Sequence[str]) -> str:
    """Return the line of a meter by name, with the other names: which one it was is for a person to say."""
    first, *others = map(_scalar, names)
    more = f", or: {'; '.join(others)}" if others else ""
    return f"#{key}: {first}   ## as instruments.yaml has it{more}"


def first_values(section: Section) -> dict[str, Any]:
    """Return what a section's first lines fill in: by key, an example of what stands under it."""
    lines = [line.removeprefix("#") for line in section.about.bench.first if not line.startswith("##")]
    return strict_yaml.loads("\n".join(lines), section.path.name) if lines else {}


def _filled(key: str, entries: Sequence[Sequence[str]], example: Sequence[str]) -> list[str]:
    """Return a key with its entries; below each what no file tells, as the example has it after its dash."""
    told = {line.strip("#- ").partition(":")[0] for entry in entries for line in entry}
    asked = [line for line in example[1:] if line.strip("#- ").partition(":")[0] not in told | {"{name"}]
    mark = "#" if all(entry[0].startswith("#") for entry in entries) else ""
    return [f"{mark}{key}:", *(line for entry in entries for line in (*entry, *asked))]


def review_file(name: str, sections: Iterable[Section]) -> str:
    """Return the text of a review file with every key; each line but the device's name is a comment.

    Parameters
    ----------
    name : str
        The device's.
    sections : iterable of Section
        In the order in which they are to be filled in; a name that several read is written once.
    """
    lines = [
        *_HEAD,
        "",
        "device:",
        f"  name: {_scalar(name)}",
        *_fields(Device, 1, leave_out={"name"}),
        "",
        *_block("claims", tuple[Claim, ...]),
        "",
        "review:",
        *EDITION,
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
    if field is not None and models_in(field.annotation):
        yield from _block(name, field.annotation)
    else:
        # A table that is begun together with this file is the one that is meant.
        value = section.about.bench.tables.get(name, default)
        yield f"#{name}: {'' if value is None else _scalar(value)}".rstrip()


def _block(name: str, annotation: Any) -> Iterator[str]:
    model = models_in(annotation)[0]
    yield f"#{name}:"
    if holds(annotation, dict):
        yield f"#{_INDENT}name it here:"
        yield from _fields(model, 2)
    else:
        yield from _fields(model, 1, item=holds(annotation, list) or holds(annotation, tuple))


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
        yield f"#{_INDENT * depth}{dash}{name}: {default(field)}{_choices(field)}".rstrip()


def default(field: FieldInfo) -> str:
    """Return what a key is where it is left out, as it would be written; empty where nothing is."""
    value = None if field.is_required() else field.get_default(call_default_factory=True)
    return "" if value is None or isinstance(value, BaseModel) else _scalar(value)


def _choices(field: FieldInfo) -> str:
    words = choices(field.annotation)
    return f"   # {words}" if words else ""


def choices(annotation: Any) -> str:
    """Return the words that a key takes, where it takes no others: "gapless or with gaps"."""
    return formatting.listed(literals(annotation), "or")


def literals(annotation: Any) -> list[str]:
    """Return the words that a key takes, one by one; none where it takes others too."""
    told = (part for part in parts(annotation) if typing.get_origin(part) is typing.Literal)
    return [str(item) for item in typing.get_args(next(told, None)) if item != ""]


def _scalar(value: Any) -> str:
    """Return a value as the review file is to hold it, in one line."""
    return strict_yaml.dump(value)


def holds(annotation: Any, container: type) -> bool:
    """Whether a type is a list, or a block of names of one's own, or may be one."""
    return any(typing.get_origin(part) is container for part in parts(annotation))


def parts(annotation: Any) -> tuple[Any, ...]:
    """Return the types that a key may hold one of."""
    if isinstance(annotation, types.UnionType) or typing.get_origin(annotation) is typing.Union:
        return typing.get_args(annotation)
    return (annotation,)


def models_in(annotation: Any) -> list[type[BaseModel]]:
    """Return the blocks named anywhere in a type."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in typing.get_args(annotation) for model in models_in(part)]
