"""Reads a section's parameter cell: names, types, defaults and what the comment beside each says."""

from __future__ import annotations

import ast
import io
import tokenize
from dataclasses import dataclass
from typing import Any

from reviewkit.errors import KitError


@dataclass(frozen=True)
class Parameter:
    """One line of a parameter cell: ``name: annotation = default  # comment``.

    Parameters
    ----------
    name : str
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
