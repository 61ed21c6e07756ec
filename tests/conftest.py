"""What all tests share."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import settings
from visits import BROWSER, FLAGS

from reviewkit.system import kit

# A busy machine is no fault; speed is shown by benchmarks.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

# Notebooks made to fail, hang or tell: run by the tests that need them, not collected as tests.
collect_ignore = ["files"]


@pytest.fixture(scope="session", autouse=True)
def _nothing_kept_from_before(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A session starts with nothing kept, and leaves the user's own alone."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(kit.CACHE_VARIABLE, str(tmp_path_factory.mktemp("kept")))
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
