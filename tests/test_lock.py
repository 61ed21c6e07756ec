"""The lock: whole, nothing superfluous, within the bounds, consistent, and free to be used."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import lock
import pytest


def test_the_lock_holds_what_is_asked_for_and_nothing_else(
    record_property: Callable[[str, object], None],
) -> None:
    pinned = lock.pinned()
    assert not lock.faults(pinned)
    record_property("figure", f"lock: {len(pinned)} pinned, 0 faults")


def test_nothing_that_the_kit_leads_to_binds_its_own_code() -> None:
    assert not lock.binding()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"numpy": ""}, "numpy: needed, not pinned"),
        ({"left-over": "1.0"}, "left-over: pinned, not needed"),
        ({"pandas": "2.1.0"}, "pandas: pinned 2.1.0, 'pandas<4,>=3.0' is asked for"),
        ({"click": "0.1"}, "click: pinned 0.1, installed"),
        # What another package asks for, not the project itself.
        ({"pydantic-core": "1.0"}, "pydantic-core: pinned 1.0, 'pydantic-core=="),
    ],
)
def test_each_kind_of_fault_is_found(change: dict[str, str], told: str) -> None:
    changed = {name: version for name, version in {**lock.pinned(), **change}.items() if version}
    assert any(line.startswith(told) for line in lock.faults(changed)), lock.faults(changed)


def test_what_another_system_needs_is_not_superfluous() -> None:
    pinned = {**lock.pinned(), "colorama": "0.4.6"}
    assert not [line for line in lock.faults(pinned) if line.startswith("colorama")]


@pytest.mark.parametrize("line", ["numpy>=2\n", "numpy==2.0\nNumPy==2.1\n"])
def test_a_line_that_pins_nothing_or_again_is_refused(tmp_path: Path, line: str) -> None:
    (tmp_path / "constraints.txt").write_text(line, encoding="utf-8")
    with pytest.raises(ValueError, match="expected"):
        lock.pinned(tmp_path / "constraints.txt")


@pytest.mark.parametrize(
    "text",
    [
        "MIT",
        "BSD License",
        "Apache-2.0 AND MIT",
        "MPL-2.0 AND MIT",
        "GPL-3.0-only OR MIT",
        "ISC License (ISCL)",
    ],
)
def test_licences_that_ask_nothing_of_the_kit(text: str) -> None:
    assert lock.is_free(text)


@pytest.mark.parametrize(
    "text",
    [
        "GPL-3.0-only",
        "MIT AND AGPL-3.0-only",
        "GNU Lesser General Public License v3 (LGPLv3)",
        "Proprietary",
        "",
        "see the file",
    ],
)
def test_licences_that_may_bind_the_kit_or_are_not_told(text: str) -> None:
    assert not lock.is_free(text)
