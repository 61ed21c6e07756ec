"""Whether a finding that a notebook displayed is one: each field of the kind that its readers take it for."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

from reviewkit.findings.item import Finding
from reviewkit.metrology import Component

_VERDICTS = ("pass", "fail", "inconclusive", "not tested", None)


def check(item: Finding) -> None:
    """Make sure of a finding's fields.

    Raises
    ------
    ValueError
        Names the first field that is at fault.
    """
    kinds: tuple[tuple[str, Callable[[Any], bool]], ...] = (
        ("key", lambda value: _is_text(value) and value != ""),
        ("label", _is_text),
        ("value", _is_value),
        ("unit", _is_text),
        *((name, _is_number_or_none) for name in ("uncertainty", "low", "high", "video_s")),
        ("verdict", lambda value: value in _VERDICTS),
        ("note", _is_text),
        ("inputs", lambda value: all(map(_is_text, value))),
    )
    wrong = [name for name, fits in kinds if not fits(getattr(item, name))]
    wrong += [*_of_limit(item), *(name for part in item.budget for name in _of_component(part))]
    if wrong:
        raise ValueError(f"its '{wrong[0]}' is none")


def _of_limit(item: Finding) -> Iterator[str]:
    limit = item.limit
    if limit is not None:
        fits = _is_number_or_none(limit.low) and _is_number_or_none(limit.high) and _is_text(limit.source)
        yield from () if fits else ("limit",)


def _of_component(part: Component) -> Iterator[str]:
    numbers = part.size, part.sensitivity, 0.0 if part.dof == math.inf else part.dof
    if not (all(map(_is_number, numbers)) and _is_text(part.name) and _is_text(part.unit)):
        yield "budget"


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_number_or_none(value: Any) -> bool:
    return value is None or _is_number(value)


def _is_value(value: Any) -> bool:
    return value is None or isinstance(value, bool | str | list) or _is_number(value)
