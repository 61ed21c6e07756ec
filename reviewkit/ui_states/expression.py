"""The `when` of a hazard: a comparison over a state's attributes, read by its own small grammar.

::

    rule       = either
    either     = both { "or" both }
    both       = denied { "and" denied }
    denied     = "not" denied | "(" either ")" | comparison
    comparison = attribute [ ("==" | "!=" | "<" | "<=" | ">" | ">=") value ]
    value      = number [ "%" ] | "true" | "false" | 'text'

Nothing is evaluated as code. An attribute that cannot be told (None) makes a comparison undecided, and
``not``, ``and``, ``or`` carry that on as in Kleene's three-valued logic; undecided is not hazardous.
"""

from __future__ import annotations

import operator
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from reviewkit.schema.quantities import unknown_key
from reviewkit.ui_states.model import State

Test = Callable[[State], bool | None]

ATTRIBUTES: dict[str, type] = {
    "light_percent": float,
    "charging": bool,
    "cable": bool,
    "locked": bool,
    "error": bool,
    "shows": str,
    "name": str,
}
"""What an expression may ask about, and the type of it."""

_TOKEN = re.compile(
    r"\s*(?:(?P<number>\d+(?:\.\d+)?)\s*%?|(?P<text>'[^']*'|\"[^\"]*\")|(?P<word>[A-Za-z_]\w*)"
    r"|(?P<sign><=|>=|==|!=|<|>|\(|\)))"
)
_SIGNS = {
    "==": operator.eq,
    "!=": operator.ne,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}
_LONGEST = 500
_DEEPEST = 40


class ExpressionError(ValueError):
    """The expression cannot be read; the message names the position, counted from 1."""

    def __init__(self, text: str, position: int, problem: str) -> None:
        super().__init__(f"in '{text[:60]}', at character {position + 1}: {problem}")
        self.position = position


@dataclass(frozen=True)
class _Token:
    kind: str
    text: str
    position: int


@lru_cache(maxsize=256)
def read(text: str) -> Test:
    """Return the test that an expression stands for.

    Parameters
    ----------
    text : str
        Such as ``light_percent >= 30 and cable``.

    Returns
    -------
    callable
        Takes a `State`; True, False, or None where the state leaves it undecided.

    Raises
    ------
    ExpressionError
        Where it does not follow the grammar: position, what was found, what was expected.
    """
    if len(text) > _LONGEST:
        raise ExpressionError(text, _LONGEST, f"longer than {_LONGEST} characters")
    parser = _Parser(text, _tokens(text))
    test = parser.either(0)
    parser.end()
    return test


def _tokens(text: str) -> list[_Token]:
    tokens, position = [], 0
    while text[position:].strip():
        found = _TOKEN.match(text, position)
        if found is None:
            start = position + len(text[position:]) - len(text[position:].lstrip())
            raise ExpressionError(text, start, _unread(text[start : start + 2]))
        kind = str(found.lastgroup)
        tokens.append(_Token(kind, found[kind], found.start(kind)))
        position = found.end()
    return [*tokens, _Token("end", "", len(text))]


def _unread(found: str) -> str:
    hints = {"&&": "write 'and'", "||": "write 'or'", "=": "write '==' to compare", "!": "write 'not'"}
    hint = hints.get(found) or hints.get(found[:1])
    return f"'{found[:1]}' has no meaning here" + (f"; {hint}" if hint else "")


class _Parser:
    """Recursive descent: one method per line of the grammar."""

    def __init__(self, text: str, tokens: list[_Token]) -> None:
        self._text, self._tokens, self._place = text, tokens, 0

    @property
    def _now(self) -> _Token:
        return self._tokens[self._place]

    def _take(self, *texts: str) -> bool:
        if self._now.kind in ("word", "sign") and self._now.text in texts:
            self._place += 1
            return True
        return False

    def _fail(self, problem: str, token: _Token | None = None) -> ExpressionError:
        return ExpressionError(self._text, (token or self._now).position, problem)

    def _found(self) -> str:
        return f"'{self._now.text}'" if self._now.text else "the end"

    def end(self) -> None:
        if self._now.kind != "end":
            raise self._fail(f"{self._found()} is too much; expected 'and', 'or' or the end")

    def either(self, depth: int) -> Test:
        tests = [self._both(depth)]
        while self._take("or"):
            tests.append(self._both(depth))
        return tests[0] if len(tests) == 1 else lambda state: _any([test(state) for test in tests])

    def _both(self, depth: int) -> Test:
        tests = [self._denied(depth)]
        while self._take("and"):
            tests.append(self._denied(depth))
        return tests[0] if len(tests) == 1 else lambda state: _all([test(state) for test in tests])

    def _denied(self, depth: int) -> Test:
        if depth > _DEEPEST:
            raise self._fail(f"more than {_DEEPEST} brackets or 'not' inside each other")
        if self._take("not"):
            test = self._denied(depth + 1)
            return lambda state: _not(test(state))
        if self._take("("):
            test = self.either(depth + 1)
            if not self._take(")"):
                raise self._fail(f"{self._found()} found; expected ')'")
            return test
        return self._comparison()

    def _comparison(self) -> Test:
        token = self._now
        if token.kind != "word" or token.text in ("and", "or", "true", "false"):
            raise self._fail(f"{self._found()} found; expected one of {', '.join(ATTRIBUTES)}")
        if token.text not in ATTRIBUTES:
            raise self._fail(
                unknown_key(token.text, ATTRIBUTES, file="")
                .message.removeprefix(f"{token.text}: ")
                .rstrip(".")
            )
        self._place += 1
        kind = ATTRIBUTES[token.text]
        if self._now.kind != "sign" or self._now.text not in _SIGNS:
            if kind is not bool:
                raise self._fail(f"{self._found()} found; expected a comparison with '{token.text}'")
            return lambda state: getattr(state, token.text)
        return self._compared(token.text, kind)

    def _compared(self, name: str, kind: type) -> Test:
        sign = self._now
        self._place += 1
        value = self._value(name, kind)
        if kind is not float and sign.text not in ("==", "!="):
            raise self._fail(f"'{name}' can only be compared with '==' or '!='", sign)
        compare = _SIGNS[sign.text]

        def test(state: State) -> bool | None:
            found = getattr(state, name)
            return None if found is None else bool(compare(found, value))

        return test

    def _value(self, name: str, kind: type) -> float | bool | str:
        token = self._now
        self._place += 1
        if kind is float and token.kind == "number":
            return float(token.text)
        if kind is bool and token.text in ("true", "false", "True", "False") and token.kind == "word":
            return token.text.lower() == "true"
        if kind is str and token.kind == "text":
            return token.text[1:-1]
        wanted = {float: "a number", bool: "true or false", str: "text in quotes"}[kind]
        seen = f"'{token.text}'" if token.text else "the end"
        raise self._fail(f"{seen} found; '{name}' is compared with {wanted}", token)


def _any(parts: list[bool | None]) -> bool | None:
    return True if True in parts else None if None in parts else False


def _all(parts: list[bool | None]) -> bool | None:
    return False if False in parts else None if None in parts else True


def _not(part: bool | None) -> bool | None:
    return None if part is None else not part
