"""The quick way to read a text and the plain one give the same rows and the same numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import writers
from writers import drawn
from writers.more_styles import MORE
from writers.odd_styles import ODD

from reviewkit import logs
from reviewkit.errors import InputError
from reviewkit.logs import cells, text_file, timestamps, values

UNITS = {"V": "V", "A": "A", "T": "degC"}
_QUICK = (
    (text_file, "_at_once"),
    (values, "_all_numbers"),
    (cells, "plain"),
    (timestamps, "_iso"),
    (timestamps, "_fixed"),
)
"""Each gives None where it does not apply, and the plain way is taken."""


def read(place: Path, quantity: str, entry: dict[str, str] | None = None) -> logs.Log | str:
    try:
        found = {"path": place.name, **entry} if entry else place.name
        return logs.read(found, UNITS[quantity], folder=place.parent)  # type: ignore[arg-type]
    except InputError as fault:
        return fault.message


def both(
    place: Path, quantity: str, monkeypatch: pytest.MonkeyPatch, entry: dict[str, str] | None = None
) -> tuple[logs.Log | str, logs.Log | str]:
    """Return a log as the quick way has it, and as the plain one has."""
    quick = read(place, quantity, entry)
    with monkeypatch.context() as patched:
        for module, name in _QUICK:
            patched.setattr(module, name, lambda *given: None)
        return quick, read(place, quantity, entry)


def assert_same(quick: logs.Log | str, plain: logs.Log | str) -> None:
    if isinstance(quick, str) or isinstance(plain, str):
        assert quick == plain
        return
    np.testing.assert_array_equal(quick.series.to_numpy(), plain.series.to_numpy())
    # A time of day with a fraction is added up in another order: less than a microsecond of rounding.
    np.testing.assert_allclose(quick.time_s, plain.time_s, rtol=0, atol=1e-6)
    assert (quick.started, quick.time_of_day_s) == (plain.started, plain.time_of_day_s)
    assert quick.report == plain.report


@pytest.mark.parametrize("style", [*writers.STYLES, *MORE, *ODD], ids=lambda style: style.name)
def test_each_style_is_read_alike_both_ways(
    style: writers.Style, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / f"log{style.suffix}"
    place.write_bytes(style.write(writers.truth(style.interval_s)))
    for quantity in style.holds:
        assert_same(*both(place, quantity, monkeypatch, style.told))


@pytest.mark.parametrize("seed", range(5000, 5120))
def test_each_drawn_log_is_read_alike_both_ways(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = drawn.draw(seed)
    place = tmp_path / "log.csv"
    place.write_bytes(one.data)
    for quantity in one.holds:
        assert_same(*both(place, quantity, monkeypatch))


def test_the_quick_way_is_taken_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Were it never taken, the comparison would compare nothing."""
    taken = []
    for module, name in _QUICK:
        own = getattr(module, name)

        def noted(*given: object, own: object = own, name: str = name) -> object:
            found = own(*given)  # type: ignore[operator]
            if found is not None:
                taken.append(name)
            return found

        monkeypatch.setattr(module, name, noted)
    for spelled in ("2025-03-01 21:05:0{}", "01.03.2025 21:05:0{}", "21:05:0{}"):
        rows = "".join(f"{spelled.format(second)},3.{second}\n" for second in range(9))
        (tmp_path / "log.csv").write_text(f"Time,Voltage (V)\n{rows}", encoding="utf-8")
        logs.read("log.csv", "V", folder=tmp_path)
    assert set(taken) == {name for _, name in _QUICK}
