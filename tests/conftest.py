"""What all tests share."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import settings
from visits import BROWSER, FLAGS

from reviewkit.execution import forkserver
from reviewkit.system import kit

# A busy machine is no fault; speed is shown by benchmarks.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

# Notebooks made to fail, hang or tell: run by the tests that need them, not collected as tests.
collect_ignore = ["files"]


_LONGEST = (
    *(
        "test_example_pages",
        "test_jupyterlab",
        "test_charge_kinds",
        "test_unchanged",
        "test_honest_intervals",
    ),
    *("test_photographs", "test_warm", "test_packaging", "test_films", "test_charge_rig", "test_editions"),
    *("test_faults_notebooks", "test_no_harm", "test_film_reviews", "test_killed", "test_follow_charge"),
    *("test_pages", "test_faults", "test_picture", "test_runner", "test_cell_reviews", "test_no_code"),
)
"""Files that take longest, as measured; some of them have few tests."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest, so that no process waits for another one's last file."""
    order = {name: number for number, name in enumerate(_LONGEST)}
    items.sort(key=lambda item: order.get(item.path.stem, len(order)))


@pytest.fixture(scope="session", autouse=True)
def _nothing_kept_from_before(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A session starts with nothing kept, and leaves the user's own alone.

    What one of its processes has made, the others need not make again: each thing has a key of all it is made
    from, and is written whole or not at all.
    """
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(kit.CACHE_VARIABLE, str(shared / "kept"))
        yield


# Nothing is asserted about time, so a busy machine fails no test.
settings.register_profile("reviewkit", deadline=None)
settings.load_profile("reviewkit")


@pytest.fixture(scope="module")
def libraries_ready() -> Iterator[None]:
    """Load what notebooks need once for all runs of a file that is not about how they are executed."""
    with forkserver.serving(ahead=False):
        yield


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """The system's Chromium, started once for a file: two drivers at once in one process are refused."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=BROWSER, args=list(FLAGS))
        yield chromium
        chromium.close()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the figures that tests have recorded as such: `record_property("figure", "12 of 12 …")`."""
    for report in terminalreporter.getreports("passed"):
        for name, text in report.user_properties:
            if name == "figure":
                terminalreporter.write_line(str(text))
