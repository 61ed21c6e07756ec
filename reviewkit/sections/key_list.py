"""Every key of a review file: what it means, what it takes, which section reads it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from pydantic import BaseModel, create_model
from pydantic.fields import FieldInfo

from reviewkit.review import strict_yaml
from reviewkit.review.review_file import SCHEMA, About, Claim, Device
from reviewkit.schema.instruments import unit_read
from reviewkit.schema.quantities import Block
from reviewkit.sections import review_outline
from reviewkit.sections.template import Section, inputs_model
from reviewkit.system.kit import kit_folder

_OWN: tuple[tuple[str, Any, str], ...] = (
    ("schema", int, "for which spelling of this file it is written; a kit that doesn't know it yet says so"),
    ("device", Device, "the device and the sample at hand"),
    ("claims", tuple[Claim, ...], "what the maker claims, beside what was measured"),
    ("review", About, "the review itself, and the conditions at the bench"),
)
DIALECT = "https://json-schema.org/draft/2020-12/schema"


@dataclass(frozen=True)
class Key:
    """One key.

    Parameters
    ----------
    name : str
        With the blocks it stands in: "cell.charge_limit_V"; "[]" is a list, "*" a name of one's own.
    says : str
        What it means, as far as its name does not say it.
    takes : str
        The words it takes, where it takes no others.
    default : str
        As it would be written; empty where there is none.
    sections : tuple of str
        The titles of those that read it; none: the review itself.
    """

    name: str
    says: str
    takes: str
    default: str
    sections: tuple[str, ...]

    def __str__(self) -> str:
        told = [
            self.says,
            f"one of {self.takes}" if self.takes else "",
            f"else {self.default}" if self.default else "",
        ]
        return "\n".join([self.name, *(f"    {line}" for line in told if line)])


def keys(sections: Iterable[Section], word: str = "") -> tuple[Key, ...]:
    """Return every key that a review file may hold, or those in which a word stands.

    Parameters
    ----------
    sections : iterable of Section
    word : str
        Looked for in names and meanings, in any case.
    """
    found: dict[str, Key] = {}
    for name, annotation, says in _OWN:
        found |= {key.name: key for key in _under(name, annotation, says, ())}
    for section in sections:
        model = inputs_model(section)
        for item in section.parameters:
            own = _under(
                item.name,
                model.model_fields[item.name].annotation,
                item.comment,
                (section.title,),
                item.default,
            )
            for key in own:
                before = found.get(key.name)
                found[key.name] = key if before is None else _also_read(before, section.title)
    looked_for = word.lower()
    return tuple(key for key in found.values() if looked_for in f"{key.name} {key.says} {key.takes}".lower())


def told_once(listed: Iterable[Key]) -> Iterator[Key]:
    """Walk keys without those of a block whose like was told before: a second meter, a second log."""
    every = tuple(listed)
    told: dict[str, str] = {}
    hidden: list[str] = []
    for key in every:
        if any(key.name.startswith((f"{block}.", f"{block}[]")) for block in hidden):
            continue
        below = [other for other in every if other.name.startswith((f"{key.name}.", f"{key.name}[]"))]
        like = "|".join(f"{other.name.removeprefix(key.name)}: {other.says}" for other in below)
        if like in told:
            hidden.append(key.name)
            same = f"a block with the keys of {told[like]}"
            yield replace(key, says=f"{key.says}; {same}" if key.says else same)
            continue
        if like:
            told[like] = key.name
        yield key


_PAGE = """# The keys of a review file

`reviewkit keys --markdown` writes this page from the models that read the file; `reviewkit keys WORD` finds a
key by a word. A bare number is in the unit that its name ends with; `500 mA` is read as well. `[]` is a list,
`*` a name of your own, and paths are relative to the file.

An editor that knows YAML's language server completes and explains keys once `reviewkit keys --json-schema >
keys.json` has been run in the review's folder, and the file begins with

```yaml
# yaml-language-server: $schema=keys.json
```

A meter may stand there by its name, `voltmeter: bench A, 6 V range`, where an `instruments.yaml` beside the
review folders or above them declares it: under its name the keys of a meter, as below `voltmeter`.
"""


def markdown(listed: Iterable[Key]) -> str:
    """Return a page of keys in Markdown: a table for each section, or group of sections, that reads them.

    Parameters
    ----------
    listed : iterable of Key
    """
    lines = [_PAGE]
    title: tuple[str, ...] | None = None
    for key in told_once(listed):
        if key.sections != title:
            title = key.sections
            lines += ["", f"## {', '.join(title) or 'The review itself'}", ""]
            lines += ["| key | what it means | where it is left out |", "|---|---|---|"]
        takes = f"one of {key.takes}" if key.takes else ""
        said = "; ".join(part for part in (key.says, takes) if part).replace("|", "\\|")
        lines.append(f"| `{key.name}` | {said} | {f'`{key.default}`' if key.default else ''} |")
    return "\n".join(lines).replace("\n\n\n", "\n\n") + "\n"


def _also_read(key: Key, title: str) -> Key:
    sections = key.sections if title in key.sections or not key.sections else (*key.sections, title)
    return replace(key, sections=sections)


def _under(
    name: str, annotation: Any, says: str, sections: tuple[str, ...], default: Any = None
) -> Iterator[Key]:
    """Walk a key and, where it is a block, those in it; a block in a block of the same kind is told once."""
    models = review_outline.models_in(annotation)
    written = "" if models or default in (None, "", [], {}) else strict_yaml.dump(default)
    yield Key(name, says, review_outline.choices(annotation), written, sections)
    if models:
        yield from _fields(_placed(name, annotation), models[0], sections)


def _placed(name: str, annotation: Any) -> str:
    if review_outline.holds(annotation, dict):
        return f"{name}.*"
    in_list = review_outline.holds(annotation, list) or review_outline.holds(annotation, tuple)
    return f"{name}[]" if in_list else name


def _fields(above: str, model: type[BaseModel], sections: tuple[str, ...]) -> Iterator[Key]:
    told = _meanings(model)
    for name, field in model.model_fields.items():
        own = review_outline.models_in(field.annotation)
        says = told.get(name, "")
        # A meter's ranges are blocks of a meter's own keys.
        if own and not issubclass(model, own[0]):
            yield from _under(f"{above}.{name}", field.annotation, says, sections)
        else:
            takes = review_outline.choices(field.annotation)
            yield Key(f"{above}.{name}", says, takes, _default(field), sections)


_NOTHING = ("", "''", "[]", "{}")


def _default(field: FieldInfo) -> str:
    written = review_outline.default(field)
    return "" if written in _NOTHING else written


@cache
def _words() -> Mapping[str, Mapping[str, str]]:
    found: Mapping[str, Mapping[str, str]] = strict_yaml.load(kit_folder() / "words" / "keys.yaml")
    return found


def _meanings(model: type[BaseModel]) -> Mapping[str, str]:
    """Return what the keys of a block mean; a kind of meter is told as a meter."""
    names = (kin.__name__ for kin in model.__mro__)
    return next((_words()[name] for name in names if name in _words()), {})


def json_schema(sections: Sequence[Section]) -> dict[str, Any]:
    """Return the review file's JSON Schema, with which an editor completes and explains keys.

    Parameters
    ----------
    sections : sequence of Section

    References
    ----------
    JSON Schema, draft 2020-12.
    """
    says = {key.name: key.says for key in keys(sections)}
    fields: dict[str, Any] = {
        name: (annotation, ... if name == "device" else None)
        for name, annotation, _ in _OWN
        if name != "schema"
    }
    for section in sections:
        for name, field in inputs_model(section).model_fields.items():
            # A meter may stand there by its name in instruments.yaml.
            taken: Any = field.annotation | str if unit_read(name) else field.annotation
            fields.setdefault(name, (taken, None))
    made: type[Block] = create_model("ReviewFile", __base__=Block, **fields)
    schema = made.model_json_schema(mode="validation")
    schema["properties"]["schema"] = {"type": "integer", "minimum": 1, "maximum": SCHEMA}
    for name, own in schema["properties"].items():
        own.pop("default", None)
        if says.get(name):
            own["description"] = says[name]
    return {"$schema": DIALECT, **schema, "title": "A review file of reviewkit"}
