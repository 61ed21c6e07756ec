"""Checked blocks of a review file: quantities with units, and messages a non-programmer understands."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError

from reviewkit import units
from reviewkit.errors import Faults, InputError, ReviewFileError


def _quantity(unit: str) -> BeforeValidator:
    def read(value: Any) -> Any:
        if value is None:
            return None
        if not isinstance(value, int | float | str):
            raise ValueError(f"a number in {unit}, or text such as '1.5 {unit}'")
        return units.to_unit(value, unit)

    return BeforeValidator(read)


Volt = Annotated[float, _quantity("V")]
Ampere = Annotated[float, _quantity("A")]
Ohm = Annotated[float, _quantity("ohm")]
Second = Annotated[float, _quantity("s")]
AmpereHour = Annotated[float, _quantity("A.h")]
Celsius = Annotated[float, _quantity("degC")]
Percent = Annotated[float, _quantity("%")]


class Block(BaseModel):
    """A block of the review file: unknown keys are errors, values are checked, nothing changes later."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True, allow_inf_nan=False)


Checked = TypeVar("Checked", bound=BaseModel)


def checked(
    model: type[Checked], values: Mapping[str, Any], *, file: str = "review.yaml", under: str = ""
) -> Checked:
    """Return `values` as a `model`, or raise every fault in them at once.

    Parameters
    ----------
    model : type of pydantic.BaseModel
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
        raise Faults([_fault(item, model, file, under) for item in error.errors()]) from None


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
    found = repr(item.get("input"))
    if len(found) > 60:
        found = found[:57] + "…"
    return ReviewFileError(f"found {found}", file=file, place=place, expected=_expected(kind, message, item))


def _place(location: Iterable[Any], under: str) -> str:
    place = under
    for step in location:
        if isinstance(step, int):
            place += f"[{step + 1}]"
        elif "[" not in str(step):
            place += f".{step}" if place else str(step)
    return place


_EXPECTED = {
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
    near = difflib.get_close_matches(key, names, n=1, cutoff=0.5)
    remedy = f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(names)}."
    return ReviewFileError(f"no such key '{key}'", file=file, place=place or key, remedy=remedy)
