"""Reads a section's parameter cell: names, types, defaults and what the comment beside each says."""

from __future__ import annotations

import ast
import io
import re
import tokenize
import types
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, create_model

from reviewkit.errors import KitError
from reviewkit.schema import quantities
from reviewkit.schema.quantities import Block

_TYPES = {item.__name__: item for item in (str, int, float, bool, dict, list, tuple, set)}
_UNIT = re.compile(r"\[([^\[\]]+)\]$")


@dataclass(frozen=True)
class Parameter:
    """One line of a parameter cell: ``name: annotation = default  # comment``.

    Parameters
    ----------
    annotation : str
        The type as written.
    default : object
        A plain literal.
    comment : str
        What it means, with the unit in brackets.
    """

    name: str
    annotation: str
    default: Any
    comment: str

    @property
    def unit(self) -> str:
        """What stands in brackets at the end of the comment: a unit, or ``file``."""
        found = _UNIT.search(self.comment)
        return found[1] if found else ""


def model(parameters: Iterable[Parameter]) -> type[Block]:
    """Return a model that holds values to the types which a parameter cell gives them.

    A number whose name ends with a unit is read in that unit: "500 mA" for ``drain_A: float`` is 0.5.
    """
    fields: dict[str, Any] = {item.name: (_or_default(item), item.default) for item in parameters}
    made: type[Block] = create_model("Parameters", __base__=Block, **fields)
    return made


def _or_default(item: Parameter) -> Any:
    """Return what a key may hold; one with nothing behind it is as good as not written."""
    held = _held(item)
    if item.default is None or held is Any:
        return held | None if held is not Any else Any
    return Annotated[held, BeforeValidator(lambda value: item.default if value is None else value)]


def _held(item: Parameter) -> Any:
    quantity = quantities.BY_SUFFIX.get(item.name.rpartition("_")[2])
    if quantity and item.annotation.replace(" ", "") in ("float", "float|None"):
        return quantity
    return _type(ast.parse(item.annotation, mode="eval").body)


def _type(node: ast.expr) -> Any:
    """Return the type that an annotation writes; anything else than a plain one holds no value to a type."""
    match node:
        case ast.Name(id=name):
            return _TYPES.get(name, Any)
        case ast.Constant(value=None):
            return types.NoneType
        case ast.Constant(value=types.EllipsisType()):
            return ...
        case ast.BinOp(left=left, op=ast.BitOr(), right=right):
            return _type(left) | _type(right)
        case ast.Subscript(value=ast.Name(id="Literal"), slice=words):
            return Literal[ast.literal_eval(words)]
        case ast.Subscript(value=ast.Name(id=name), slice=inner) if name in _TYPES:
            parts = inner.elts if isinstance(inner, ast.Tuple) else [inner]
            return types.GenericAlias(_TYPES[name], tuple(_type(part) for part in parts))
    return Any


def inspect(source: str, *, template: str) -> tuple[Parameter, ...]:
    """Return the parameters that a cell declares, in order.

    Parameters
    ----------
    source : str
        The cell's code.
    template : str
        Named in messages.

    Raises
    ------
    KitError
        If a line is no parameter with a plain literal as its default.
    """
    try:
        body = ast.parse(source).body
    except SyntaxError as error:
        raise KitError(f"{template}: the parameter cell is no Python (line {error.lineno}).") from None
    comments = _comments(source)
    return tuple(_parameter(line, comments, template) for line in body)


def _parameter(line: ast.stmt, comments: dict[int, str], template: str) -> Parameter:
    match line:
        case ast.AnnAssign(target=ast.Name(id=name), value=ast.expr() as value):
            try:
                default = ast.literal_eval(value)
            except ValueError:
                raise KitError(f"{template}: the default of '{name}' is no plain value.") from None
            comment = comments.get(line.end_lineno or line.lineno, "") or comments.get(line.lineno, "")
            return Parameter(name, ast.unparse(line.annotation), default, comment)
    raise KitError(
        f"{template}: line {line.lineno} of the parameter cell is not 'name: type = default  # meaning'."
    )


def _comments(source: str) -> dict[int, str]:
    """Return the comment on each line that has one behind code."""
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    return {
        token.start[0]: token.string.lstrip("# ").strip()
        for token in tokens
        if token.type == tokenize.COMMENT and token.line[: token.start[1]].strip()
    }
