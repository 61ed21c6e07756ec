"""No number of the example reviews moves unseen: they are held, and what moved is told as a table."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import golden
import pytest

from reviewkit.findings import Finding
from reviewkit.metrology.conformity import Limit

CURRENT = Finding(
    *("charge.plateau_current", "plateau current", 0.8, "A", 0.01, 0.79, 0.81),
    limit=Limit(None, 1.5, "the cell's data sheet"),
    verdict="pass",
)
ENDED = Finding("charge.ended_by", "ended by", "device")
TOP_UPS = Finding("charge.top_ups", "top-ups", 2)
PATHS = Finding("ui.silent_errors", "errors without a signal", [])
NOW = (CURRENT, ENDED, TOP_UPS, PATHS)


def shifted(by_A: float) -> Finding:
    """Return the current, moved with its interval."""
    low, high = 0.79 + by_A, 0.81 + by_A
    return replace(CURRENT, value=0.8 + by_A, low=low, high=high)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    golden.accept(tmp_path / "alder.json", NOW, "first held")
    return tmp_path / "alder.json"


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Finding]]:
    return golden.review(tmp_path_factory.mktemp("golden"))


@pytest.mark.parametrize("device", golden.DEVICES)
def test_no_number_of_an_example_has_moved(
    found: dict[str, list[Finding]], device: str, record_property: Callable[[str, object], None]
) -> None:
    held, part = golden.read(golden.FOLDER / f"{device}.json")
    changed = golden.moves(held, part, found[device])
    assert not changed, (
        f"{len(changed)} numbers of {device} have moved; if they may: "
        f'python tests/golden.py --accept "why"\n{golden.table(changed)}'
    )
    record_property("figure", f"{device}: {len(held)} findings, each as it is held")


@pytest.mark.parametrize("device", golden.DEVICES)
def test_each_is_held_within_a_small_part_of_its_uncertainty_and_with_a_reason(device: str) -> None:
    held, part = golden.read(golden.FOLDER / f"{device}.json")
    assert part <= 0.02
    assert [key for key, item in held.items() if not item.reason] == []


def test_what_is_held_has_not_moved(path: Path) -> None:
    assert golden.moves(*golden.read(path), NOW) == []


@pytest.mark.parametrize(("by_A", "count"), [(0.00019, 0), (-0.00019, 0), (0.00021, 1), (-0.00021, 1)])
def test_a_number_may_move_by_two_hundredths_of_its_uncertainty(path: Path, by_A: float, count: int) -> None:
    assert len(golden.moves(*golden.read(path), (shifted(by_A), *NOW[1:]))) == count


@pytest.mark.parametrize(
    "now",
    [
        replace(CURRENT, verdict="inconclusive"),
        replace(CURRENT, uncertainty=0.0103),
        replace(CURRENT, high=0.8103),
        replace(CURRENT, value=None, uncertainty=None),
        replace(CURRENT, limit=Limit(None, 1.6, "the cell's data sheet")),
        replace(CURRENT, unit="V"),
        replace(ENDED, value="timer"),
        replace(TOP_UPS, value=3),
        replace(TOP_UPS, value=True),
        replace(PATHS, value=["dark: cable pulled"]),
    ],
    ids=str,
)
def test_anything_else_that_differs_has_moved(path: Path, now: Finding) -> None:
    after = tuple(now if item.key == now.key else item for item in NOW)
    assert [move.key for move in golden.moves(*golden.read(path), after)] == [now.key]


def test_the_table_tells_old_new_how_far_and_why_it_was_held(path: Path) -> None:
    after = (shifted(0.004), replace(ENDED, value="timer"), PATHS, Finding("charge.new", "new", 7))
    text = golden.table(golden.moves(*golden.read(path), after)).replace("\u00a0", " ")
    head, _, *rows = text.splitlines()
    assert head.split("  ")[0] == "finding"
    assert [row.split()[0] for row in rows] == [item.key for item in (CURRENT, ENDED, after[3], TOP_UPS)]
    assert "0.800 A ± 0.010 A [0.79; 0.81]" in rows[0]
    assert "0.804 A ± 0.010 A [0.794; 0.814]" in rows[0]
    assert rows[0].endswith("0.4              first held")
    assert rows[1].split()[1:3] == ["device", "timer"]
    assert rows[2].split()[1:] == ["—", "7"]
    assert rows[3].split()[1:3] == ["2", "—"]


def test_what_is_accepted_carries_its_reason_and_the_rest_stays_as_it_was(path: Path) -> None:
    before = path.read_text(encoding="utf-8").splitlines()
    after = (shifted(0.0001), replace(ENDED, value="timer"), TOP_UPS, PATHS)
    changed = golden.accept(path, after, "the timer is told from the device")
    assert [move.key for move in changed] == [ENDED.key]
    now = path.read_text(encoding="utf-8").splitlines()
    assert [old == new for old, new in zip(before, now, strict=True)] == [True, True, False, True, True, True]
    held, _ = golden.read(path)
    assert held[ENDED.key].reason == "the timer is told from the device"
    assert golden.moves(*golden.read(path), after) == []


def test_small_steps_add_up(path: Path) -> None:
    for step in (0.00015, 0.0003):
        changed = golden.moves(*golden.read(path), (shifted(step), *NOW[1:]))
        golden.accept(path, (shifted(step), *NOW[1:]), "a step")
    assert [move.key for move in changed] == [CURRENT.key]


@pytest.mark.parametrize("reason", ["", "  "])
def test_nothing_is_accepted_without_a_reason(path: Path, reason: str) -> None:
    with pytest.raises(ValueError, match="why"):
        golden.accept(path, NOW, reason)


def test_a_number_that_is_none_is_not_held(tmp_path: Path) -> None:
    golden.accept(tmp_path / "a.json", (replace(CURRENT, value=math.nan),), "first held")
    assert golden.read(tmp_path / "a.json")[0][CURRENT.key].finding.value is None
