"""Logs as strangers write them: each is read right from its bare path, or refused with a line that works."""

from __future__ import annotations

from pathlib import Path

import pytest
import writers
from writers import drawn
from writers.more_styles import MORE
from writers.odd_styles import ODD


def outcome(style: writers.Style, quantity: str, room: Path) -> writers.Outcome:
    t = writers.truth(style.interval_s)
    place = room / f"log{style.suffix}"
    place.write_bytes(style.write(t))
    return writers.judge(place, quantity, t, step_s=style.step_s, told=style.told)


@pytest.mark.parametrize("style", writers.STYLES, ids=lambda style: style.name)
def test_each_style_is_read_right_or_refused_with_a_line_that_works(
    style: writers.Style, tmp_path: Path
) -> None:
    for quantity in style.holds:
        found = outcome(style, quantity, tmp_path)
        assert found.what in ("bare", "pasted"), found.said


def test_nine_in_ten_are_read_from_their_bare_path(tmp_path: Path) -> None:
    assert len(writers.STYLES) >= 80
    found = [outcome(style, quantity, tmp_path).what for style in writers.STYLES for quantity in style.holds]
    assert found.count("bare") >= 0.9 * len(found)


@pytest.mark.parametrize("style", [*MORE, *ODD], ids=lambda style: style.name)
def test_no_style_of_the_further_sets_is_read_wrong(style: writers.Style, tmp_path: Path) -> None:
    for quantity in style.holds:
        found = outcome(style, quantity, tmp_path)
        assert found.what in ("bare", "pasted"), found.said


@pytest.mark.parametrize("seed", range(150))
def test_no_drawn_log_is_read_wrong_without_a_word(seed: int, tmp_path: Path) -> None:
    """Layout, headings, units, stamps and quirks at random; `python -m tests.writers.drawn` draws more."""
    one = drawn.draw(seed)
    (tmp_path / "log.csv").write_bytes(one.data)
    for quantity in one.holds:
        found = writers.judge(
            tmp_path / "log.csv", quantity, one.truth, step_s=one.step_s, known=one.known(quantity)
        )
        assert found.what != "wrong" or drawn.is_said(found), (one.spelled, found.said)
