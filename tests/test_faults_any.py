"""Whatever is done to a file: values, or the kit's own errors, and nothing else ever."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import faults
import pytest
from faults.good import CHAPTERS, READOUT, REVIEW, TRANSITIONS, charge, log
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reviewkit import commands, logs
from reviewkit.errors import InputError

STEADY = settings(
    derandomize=True,
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
LOG = log("Current (A)", [amps for _, amps in charge()], digits=3)
WORDS = (
    *(
        "",
        ",",
        ";",
        "\t",
        '"',
        "\n",
        "\n\n",
        "\r",
        "\0",
        "#",
        ":",
        ": ",
        "- ",
        "[",
        "]",
        "{",
        "}",
        "&a",
        "*a",
        "!b",
        "|",
    ),
    *(
        "OL",
        "nan",
        "1e999",
        "-1",
        "0",
        "1,234",
        "1.234,5",
        "999999999999",
        "true",
        "null",
        "~",
        "'",
        "\ufeff",
        "\u2028",
    ),
    *("mA", "(V)", "°C", "../x", "/dev/zero", "2026-02-30", "25:61", "0:99", "n/a", "٣", "½", "x" * 300),
)


@st.composite
def damaged(draw: st.DrawFn, text: str) -> bytes:
    """A good text in which pieces were put in, left out, doubled or exchanged."""
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, max(0, len(text) - 1)))
        end = min(len(text), start + draw(st.sampled_from((0, 1, 3, 10, 40, 400))))
        how = draw(st.sampled_from(("put in", "leave out", "double", "exchange")))
        piece = text[start:end]
        word = draw(st.sampled_from(WORDS))
        text = (
            text[:start]
            + {"put in": word + piece, "leave out": "", "double": 2 * piece}.get(how, word)
            + text[end:]
        )
    raw = text.encode(draw(st.sampled_from(("utf-8", "utf-8", "utf-16", "latin-1"))), errors="replace")
    return raw[: draw(st.sampled_from((None, None, len(raw) // 2, -1)))]


@pytest.fixture(scope="module")
def hazel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return faults.write(tmp_path_factory.mktemp("any") / "hazel")


def _check_with(folder: Path, name: str, content: bytes) -> None:
    before = (folder / name).read_bytes()
    (folder / name).write_bytes(content)
    try:
        assert all(fault.message for fault in commands.check(folder))
    finally:
        (folder / name).write_bytes(before)


@STEADY
@given(damaged(REVIEW))
def test_any_review_file(hazel: Path, content: bytes) -> None:
    _check_with(hazel, "review.yaml", content)


@STEADY
@given(
    st.sampled_from(("readout.csv", "transitions.csv", "chapters.csv")).flatmap(
        lambda name: st.tuples(
            st.just(name),
            damaged({"readout.csv": READOUT, "transitions.csv": TRANSITIONS, "chapters.csv": CHAPTERS}[name]),
        )
    )
)
def test_any_table(hazel: Path, given_as: tuple[str, bytes]) -> None:
    _check_with(hazel, *given_as)


@STEADY
@given(damaged(LOG[:3000]), st.sampled_from(("V", "A", "degC")))
def test_any_log(hazel: Path, content: bytes, quantity: logs.Quantity) -> None:
    (hazel / "any.csv").write_bytes(content)
    with suppress(InputError):
        found = logs.read("any.csv", quantity, folder=hazel)
        assert found.series.index.is_monotonic_increasing
        assert all(found.report.sentences())
