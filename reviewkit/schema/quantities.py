"""Checked blocks of a review file: quantities with units, and messages a non-programmer understands."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError, WithJsonSchema

from reviewkit.errors import Faults, InputError, ReviewFileError
from reviewkit.metrology import units
from reviewkit.schema import dates


def _quantity(unit: str) -> BeforeValidator:
    def read(value: Any) -> Any:
        if value is None:
            return None
        if not isinstance(value, int | float | str):
            spelled = unit.replace(".", "")
            raise ValueError(
                f"found {_told(value)}; expected a number in {spelled}, or text such as '1.5 {spelled}'"
            )
        return units.to_unit(value, unit)

    return BeforeValidator(read)


def _written(unit: str) -> WithJsonSchema:
    """Say to editors what a key takes: a bare number, or one with a unit of its own."""
    spelled = unit.replace(".", "")
    return WithJsonSchema(
        {
            "type": ["number", "string"],
            "description": f"in {spelled}, or text with a unit such as '1.5 {spelled}'",
        }
    )


Volt = Annotated[float, _quantity("V"), _written("V")]
Ampere = Annotated[float, _quantity("A"), _written("A")]
Ohm = Annotated[float, _quantity("ohm"), _written("ohm")]
Second = Annotated[float, _quantity("s"), _written("s")]
AmpereHour = Annotated[float, _quantity("A.h"), _written("Ah")]
Celsius = Annotated[float, _quantity("degC"), _written("degC")]
Percent = Annotated[float, _quantity("%"), _written("%")]
Day = Annotated[str, BeforeValidator(lambda told: dates.iso(told) if isinstance(told, str) else told)]
"""A text that may begin with a day, in any common form: kept as 2026-11-27."""
BY_SUFFIX = {
    "V": Volt,
    "A": Ampere,
    "ohm": Ohm,
    "s": Second,
    "Ah": AmpereHour,
    "C": Celsius,
    "percent": Percent,
}
"""What a number is whose name ends so."""


class Block(BaseModel):
    """A block of the review file: unknown keys are errors, values are checked, nothing changes later."""

    # Built when first asked: a command needs few of the blocks that there are.
    model_config = ConfigDict(
        extra="forbid", frozen=True, str_strip_whitespace=True, allow_inf_nan=False, defer_build=True
    )


Checked = TypeVar("Checked", bound=BaseModel)


def checked(
    model: type[Checked], values: Mapping[str, Any], *, file: str = "review.yaml", under: str = ""
) -> Checked:
    """Return `values` as a `model`, or raise every fault in them at once.

    Parameters
    ----------
    values : mapping
        As the review file or a parameter cell holds them.
    file : str
        Named in messages.
    under : str
        Key that `values` stands under, named in messages.

    Raises
    ------
    Faults
        One `ReviewFileError` per fault: key, what was found, what was expected, the nearest known key.
    """
    try:
        return model.model_validate(dict(values))
    except ValidationError as error:
        found = [_fault(item, model, file, under) for item in error.errors(include_url=False)]
        raise Faults(_merged(found)) from None


def known_schema(told: Any, known: int, *, file: str) -> None:
    """Refuse a file that is written for a newer kit; "schema" in it says for which.

    Raises
    ------
    ReviewFileError
    """
    if isinstance(told, int) and not isinstance(told, bool) and 1 <= told <= known:
        return
    newer = isinstance(told, int) and told > known
    raise ReviewFileError(
        f"it is written for a newer kit (schema {told}); this one reads up to schema {known}"
        if newer
        else f"found {_told(told)}",
        file=file,
        place="schema",
        expected="" if newer else f"a whole number from 1 to {known}",
        remedy="Update the kit." if newer else "",
    )


def own(names: Mapping[str, Any] | None, model: type[BaseModel]) -> dict[str, Any]:
    """Return of all names, such as a notebook's `globals()`, those that a model has."""
    return {name: value for name, value in (names or {}).items() if name in model.model_fields}


def filled(values: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out what a parameter cell holds when nothing was given."""
    return {name: value for name, value in values.items() if value not in (None, {}, [], ())}


def _merged(faults: Iterable[InputError]) -> list[InputError]:
    """Make one of the faults that a value has which fits none of several types."""
    merged: dict[tuple[str, str], InputError] = {}
    for fault in faults:
        key = fault.place, fault.problem
        before = merged.get(key)
        if before and before.expected and fault.expected:
            expected = f"{before.expected}, or {fault.expected}"
            fault = ReviewFileError(fault.problem, file=fault.file, place=fault.place, expected=expected)
        merged[key] = fault
    return list(merged.values())


def _fault(item: Any, model: type[BaseModel], file: str, under: str) -> InputError:
    place = _place(item["loc"], under)
    kind, message = item["type"], str(item["msg"]).removeprefix("Value error, ")
    if kind == "extra_forbidden":
        known = _keys_beside(item["loc"], model)
        return unknown_key(str(item["loc"][-1]), known, file=file, place=place)
    if kind == "missing":
        return ReviewFileError("the key is missing", file=file, place=place, remedy="Add it.")
    if kind == "value_error":
        return ReviewFileError(message, file=file, place=place)
    return ReviewFileError(
        f"found {_told(item.get('input'))}",
        file=file,
        place=place,
        expected=_expected(kind, message, item),
        remedy=_unit_remedy(kind, item),
    )


def _told(value: Any) -> str:
    """Return a value as the review file spells it, shortened."""
    words = {True: "true", False: "false"}
    found = words[value] if isinstance(value, bool) else "nothing" if value is None else repr(value)
    return found if len(found) <= 60 else found[:57] + "…"


_OTHER_UNITS = {
    "V": "'4200 mV'",
    "A": "'500 mA'",
    "Ah": "'2000 mAh'",
    "ohm": "'30 mohm'",
    "s": "'5 min'",
    "C": "'294 K'",
}


def _unit_remedy(kind: str, item: Any) -> str:
    """Return what to do where a quantity's size is beyond reason: its unit may have been left out."""
    key = next((str(step) for step in reversed(item["loc"]) if not isinstance(step, int)), "")
    suffix, found = key.rpartition("_")[2], item.get("input")
    is_size = isinstance(found, int | float) and found > 0
    if kind not in _SIZES or suffix not in _OTHER_UNITS or not is_size:
        return ""
    unit = "°C" if suffix == "C" else suffix
    return f"A bare number is in {unit}; write any other unit out, such as {_OTHER_UNITS[suffix]}."


def _place(location: Iterable[Any], under: str) -> str:
    place = under
    for step in location:
        if isinstance(step, int):
            place += f"[{step + 1}]"
        elif "[" not in str(step) and step not in _TYPE_NAMES:
            place += f".{step}" if place else str(step)
    return place


_TYPE_NAMES = ("str", "constrained-str", "int", "float", "bool")
_SIZES = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}
_LENGTHS = {"string_too_short": ("min_length", "at least"), "string_too_long": ("max_length", "at most")}
_EXPECTED = {
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "int_type": "a whole number",
    "float_parsing": "a number",
    "float_type": "a number",
    "bool_parsing": "true or false",
    "bool_type": "true or false",
    "string_type": "text (put it in quotes)",
    "dict_type": "a block of keys and values",
    "model_type": "a block of keys and values",
    "list_type": "a list",
    "tuple_type": "a list",
    "finite_number": "a finite number",
}


def _expected(kind: str, message: str, item: Any) -> str:
    if kind in ("literal_error", "enum"):
        return "one of " + str(item.get("ctx", {}).get("expected", ""))
    context = item.get("ctx", {})
    if kind in _SIZES:
        bound, words = _SIZES[kind]
        return f"{words} {context[bound]:g}"
    if kind in _LENGTHS:
        bound, words = _LENGTHS[kind]
        return f"{words} {context[bound]} character{'s' if context[bound] != 1 else ''}"
    return _EXPECTED.get(kind, message[:1].lower() + message[1:])


def _keys_beside(location: tuple[Any, ...], model: type[BaseModel]) -> list[str]:
    current: Any = model
    for step in location[:-1]:
        fields = getattr(current, "model_fields", {})
        if step in fields:
            current = _model_in(fields[step].annotation)
    return list(getattr(current, "model_fields", {}))


def _model_in(annotation: Any) -> Any:
    """Return the first model named anywhere in a type, such as in ``list[Run] | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _model_in(part)
        if found is not None:
            return found
    return None


def unknown_key(key: str, known: Iterable[str], *, file: str, place: str = "") -> ReviewFileError:
    """Return the error for a key nobody asked for, naming the closest one that exists."""
    names = sorted(known)
    near = difflib.get_close_matches(key, names, n=1, cutoff=0.6)
    remedy = f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(names)}."
    return ReviewFileError(f"no such key '{key}'", file=file, place=place or key, remedy=remedy)
