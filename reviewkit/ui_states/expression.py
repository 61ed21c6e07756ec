"""The `when` of a hazard: a comparison over a state's attributes, such as ``light_percent >= 30 and cable``.

It has Python's grammar, is read by Python's parser and never run: whatever is not an attribute of a state,
a number (with % or without), text in quotes, true, false, a comparison, ``not``, ``and`` or ``or`` is
refused. An attribute that cannot be told (None) leaves a comparison undecided, which the operators carry on
as in Kleene's logic of three values (Introduction to Metamathematics, 1952, § 64); undecided is no hazard.
"""

from __future__ import annotations

import ast
import operator
import re
import warnings
from collections.abc import Callable
from functools import cache
from typing import Any

from reviewkit.schema.quantities import unknown_key
from reviewkit.ui_states.model import State

Test = Callable[[State], bool | None]

ATTRIBUTES: dict[str, type] = {
    "light_percent": float,
    "charging": bool,
    "cable": bool,
    "locked": bool,
    "error": bool,
    "power": bool,
    "shows": str,
    "name": str,
}
"""What an expression may ask about, and the type of it."""

_SIGNS: dict[type[ast.cmpop], Callable[[Any, Any], Any]] = {
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
}
_WANTED = {float: "a number", bool: "true or false", str: "text in quotes"}
_PERCENT = re.compile(r"""('[^']*'|"[^"]*")|(?<=\d)\s*%""")
_HINTS = {"&&": "write 'and'", "||": "write 'or'", "=": "write '==' to compare", "!": "write 'not'"}
_OTHERS = re.compile(r"&&|\|\||(?<![=!<>])=(?!=)|!(?!=)")
_LONGEST = 500
"""Characters. Chosen: no hazard needs more, and what is this short can't be nested too deep to be read."""
_DEEPEST = 40
"""Levels of brackets and operators. Chosen: far more than a person can read."""
_TOO_DEEP = f"more than {_DEEPEST} brackets or 'not' inside each other"


class ExpressionError(ValueError):
    """The expression cannot be read; the message names the position, counted from 1."""

    def __init__(self, text: str, position: int, problem: str) -> None:
        super().__init__(f"in '{text[:60]}', at character {position + 1}: {problem}")
        self.position = position


@cache
def read(text: str) -> Test:
    """Return the test that an expression stands for.

    Returns
    -------
    callable
        Takes a `State`; True, False, or None where the state leaves it undecided.

    Raises
    ------
    ExpressionError
        Where it is no such comparison: position, what was found, what was expected.
    """
    if len(text) > _LONGEST:
        raise ExpressionError(text, _LONGEST, f"longer than {_LONGEST} characters")
    if "\0" in text:
        raise ExpressionError(text, text.index("\0"), "a NUL byte has no meaning here")
    # A percent sign would be a division's remainder; blanks in its place keep the positions.
    plain = _PERCENT.sub(lambda found: found[1] or " " * len(found[0]), text).replace("\\", "/")
    leading = len(plain) - len(plain.lstrip())
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            tree = ast.parse(plain.strip(), mode="eval").body
    except SyntaxError as error:
        # The parser's position 0 stands for the end of the text.
        position = min(error.offset - 1 + leading, len(text)) if error.offset else len(text)
        raise _unread(text, position, error.msg) from None
    except (ValueError, MemoryError, RecursionError):
        raise ExpressionError(text, 0, "this is no comparison") from None
    return _test(text, tree, 0)


def _unread(text: str, position: int, said: str) -> ExpressionError:
    """Return the fault of a text that the parser refuses: what is common in other languages has a hint."""
    bare = re.sub(r"'[^']*'|\"[^\"]*\"", lambda quoted: " " * len(quoted[0]), text)
    if other := _OTHERS.search(bare):
        found = other[0]
        return ExpressionError(text, other.start(), f"'{found}' has no meaning here; {_HINTS[found]}")
    if "never closed" in said:
        return ExpressionError(text, position, "this bracket is not closed; expected ')'")
    if "too many nested" in said:
        return ExpressionError(text, position, _TOO_DEEP)
    found = text[position : position + 1].strip()
    told = f"'{found}' has no meaning here" if found else "the end found"
    return ExpressionError(text, position, f"{told}; {_missing(bare[:position])}")


def _missing(before: str) -> str:
    """Return what should stand after the part that could be read."""
    if open_comparison := re.search(r"(\w+)\s*(?:[=!<>]=|[<>])\s*$", before):
        kind = ATTRIBUTES.get(name := open_comparison[1])
        return f"'{name}' is compared with {_WANTED[kind]}" if kind else "expected a value to compare with"
    if re.search(r"(?:^|\(|\b(?:and|or|not))\s*$", before):
        return f"expected one of {', '.join(ATTRIBUTES)}"
    return "expected 'and', 'or' or the end"


def _test(text: str, node: ast.expr, depth: int) -> Test:
    if depth > _DEEPEST:
        raise _fault(text, node, _TOO_DEEP)
    if isinstance(node, ast.BoolOp):
        tests = [_test(text, part, depth + 1) for part in node.values]
        joined = _any if isinstance(node.op, ast.Or) else _all
        return lambda state: joined([test(state) for test in tests])
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        inner = _test(text, node.operand, depth + 1)
        return lambda state: _not(inner(state))
    if isinstance(node, ast.Compare):
        return _compared(text, node)
    name = _attribute(text, node)
    if ATTRIBUTES[name] is not bool:
        raise _fault(text, node, f"expected a comparison with '{name}'")
    return lambda state: getattr(state, name)


def _compared(text: str, node: ast.Compare) -> Test:
    name = _attribute(text, node.left)
    if len(node.ops) > 1:
        raise _fault(text, node.comparators[1], "one comparison is enough; join two by 'and'")
    sign, kind = type(node.ops[0]), ATTRIBUTES[name]
    value = _value(text, node.comparators[0], name)
    if sign not in _SIGNS or (kind is not float and sign not in (ast.Eq, ast.NotEq)):
        raise _fault(text, node.comparators[0], f"'{name}' can only be compared with {_signs(kind)}")
    compare = _SIGNS[sign]

    def test(state: State) -> bool | None:
        found = getattr(state, name)
        return None if found is None else bool(compare(found, value))

    return test


def _signs(kind: type) -> str:
    return "==, !=, <, <=, > or >=" if kind is float else "'==' or '!='"


def _attribute(text: str, node: ast.expr) -> str:
    if not isinstance(node, ast.Name):
        raise _fault(text, node, f"expected one of {', '.join(ATTRIBUTES)}")
    if node.id not in ATTRIBUTES:
        told = unknown_key(node.id, ATTRIBUTES, file="").message
        raise _fault(text, node, told.removeprefix(f"{node.id}: ").rstrip("."))
    return node.id


def _value(text: str, node: ast.expr, name: str) -> float | bool | str:
    kind = ATTRIBUTES[name]
    value = node.value if isinstance(node, ast.Constant) else None
    if isinstance(node, ast.Name) and node.id in ("true", "false"):
        value = node.id == "true"
    if kind is float and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if kind is bool and isinstance(value, bool):
        return value
    if kind is str and isinstance(value, str):
        return value
    raise _fault(text, node, f"'{name}' is compared with {_WANTED[kind]}")


def _fault(text: str, node: ast.expr, problem: str) -> ExpressionError:
    # The parser counts bytes of UTF-8 and knows nothing of leading blanks.
    leading = len(text) - len(text.lstrip())
    before = text.strip().encode()[: node.col_offset].decode(errors="ignore")
    return ExpressionError(text, leading + len(before), problem)


def _any(parts: list[bool | None]) -> bool | None:
    return True if True in parts else None if None in parts else False


def _all(parts: list[bool | None]) -> bool | None:
    return False if False in parts else None if None in parts else True


def _not(part: bool | None) -> bool | None:
    return None if part is None else not part
