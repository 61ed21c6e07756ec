"""The comparison of an author's hazard: what it means, and what it refuses."""

from __future__ import annotations

import itertools

import pytest

from reviewkit.ui_states import State
from reviewkit.ui_states.expression import ExpressionError, read

LIT = State("lit", light_percent=30, charging=True, cable=True, locked=False, shows="red")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("light_percent >= 30 and cable", True),
        ("light_percent > 30 and cable", False),
        ("light_percent>=30%", True),
        ("  light_percent >= 30 % and cable", True),
        ("shows != '30%'", True),
        ("shows == 'a\\'", False),
        ("(" * 60 + "cable" + ")" * 60, True),
        ("not locked", True),
        ("locked or light_percent < 5 or charging", True),
        ("locked and charging or cable", True),
        ("locked and (charging or cable)", False),
        ("not (locked or not charging)", True),
        ("shows == 'red'", True),
        ('shows != "red"', False),
        ("charging == false", False),
        ("name == 'lit'", True),
    ],
)
def test_what_an_expression_says_of_a_state(text, expected):
    assert read(text)(LIT) is expected


def test_and_binds_closer_than_or_and_not_closest_as_in_python():
    """Oracle: the language's own operators over all states of three attributes."""
    for charging, cable, locked in itertools.product([True, False], repeat=3):
        state = State("x", charging=charging, cable=cable, locked=locked)
        assert read("charging or cable and not locked")(state) is (charging or (cable and not locked))
        assert read("not charging and cable or locked")(state) is ((not charging and cable) or locked)


def test_thirty_brackets_may_stand_inside_each_other() -> None:
    """Of the forty that are allowed: chosen, more than anyone writes."""
    text = "cable"
    for number in range(30):
        text = f"(cable {'and' if number % 2 else 'or'} {text})"
    assert read(text)(LIT) is True


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Kleene's strong logic of three values.
        ("locked", None),
        ("not locked", None),
        ("locked or cable", True),
        ("locked and cable", None),
        ("locked and charging", False),
        ("locked == true", None),
    ],
)
def test_what_cannot_be_told_stays_undecided(text, expected):
    assert read(text)(State("x", locked=None, cable=True)) is expected


@pytest.mark.parametrize(
    ("text", "position", "message"),
    [
        ("", 1, "the end found; expected one of light_percent"),
        ("light_percent", 1, "expected a comparison with 'light_percent'"),
        ("light_percent >= 'x'", 18, "compared with a number"),
        ("light_percent = 3", 15, "write '=='"),
        ("cable && locked", 7, "write 'and'"),
        ("cabel", 1, "Did you mean 'cable'"),
        ("cable locked", 7, "expected 'and', 'or' or the end"),
        ("light_percent >=", 17, "the end found; 'light_percent' is compared with a number"),
        ("light_percent >= and cable", 18, "'a' has no meaning here; 'light_percent' is compared with"),
        ("shows == 'and' and ", 20, "the end found; expected one of light_percent"),
        ("and cable", 1, "expected one of light_percent"),
        ("(" * 240 + "cable" + ")" * 240, 201, "inside each other"),
        ("(cable", 1, "expected '\\)'"),
        ("cable > true", 9, "only be compared with"),
        ("0 < light_percent < 5", 1, "expected one of light_percent"),
        ("light_percent > 1 > 2", 21, "one comparison is enough"),
        ("__import__('os').system('x')", 1, "expected one of light_percent"),
        ("cable.__class__", 1, "expected one of light_percent"),
        ("(lambda: 1)()", 1, "expected one of light_percent"),
        ("cable if locked else charging", 1, "expected one of light_percent"),
        ("light_percent > 9 ** 9 ** 9", 17, "compared with a number"),
        ("light_percent in (1, 2)", 18, "compared with a number"),
        ("light_percent is 1", 18, "only be compared with"),
        ("shows == f'{cable}'", 10, "compared with text in quotes"),
        ("cable\x00", 6, "a NUL byte"),
        ("not " * 60 + "cable", 165, "inside each other"),
        ("cable or " * 60 + "cable", 501, "longer than 500"),
    ],
)
def test_what_cannot_be_read_is_refused_by_position(text, position, message):
    with pytest.raises(ExpressionError, match=f"at character {position}: .*{message}"):
        read(text)
