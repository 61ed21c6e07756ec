"""Every page by the W3C's checker of HTML (the Nu Html Checker), which runs on this machine alone.

It needs Java and the checker's jar, whose place the environment variable VNU_JAR says: the npm package
`vnu-jar` carries it.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from collections import Counter
from pathlib import Path

import pytest

from reviewkit import commands

EXAMPLES = Path(__file__).parents[1] / "examples"
JAR = Path(os.environ.get("VNU_JAR", "no jar"))
JAVA = shutil.which("java")
needs_checker = pytest.mark.skipif(
    JAVA is None or not JAR.is_file(),
    reason="no Java or no checker here: apt-get install default-jre-headless, npm install vnu-jar, VNU_JAR",
)

# The checker's reader of CSS does not know container queries (CSS Containment Level 3).
_UNKNOWN_CSS = {
    "CSS: “container-type”: Property “container-type” doesn't exist.",
    "CSS: Unrecognized at-rule “@container”",
}


def complaints(folder: Path) -> list[str]:
    """Return what the checker says of all pages below a folder, warnings too."""
    pages = sorted(str(path) for path in folder.rglob("*.html"))
    assert pages
    command = [str(JAVA), "-Xss4m", "-jar", str(JAR), "--format", "json", *pages]
    said = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False)
    messages = json.loads(said.stderr)["messages"]
    return [
        f"{Path(item['url']).name}:{item.get('lastLine')}: {item['message']} {item.get('extract', '')!r}"
        for item in messages
        if item["message"] not in _UNKNOWN_CSS and not _is_data_block(item)
    ]


def _is_data_block(item: dict[str, str]) -> bool:
    """Whether the policy is said to stop what never runs: a script element of data (HTML 4.12.1).

    The element's type is looked at before the policy is asked.
    """
    return "violates Content Security Policy" in item["message"] and bool(
        re.search(r'<script type="application/(ld\+)?json">', item.get("extract", ""))
    )


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both examples, one of them as a single file too, compared and listed, and a bench sheet."""
    out = tmp_path_factory.mktemp("checked")
    commands.run(EXAMPLES / "alder", out=out, single_file=True)
    commands.compare(EXAMPLES / "alder", EXAMPLES / "birch", out=out)
    started = commands.start(tmp_path_factory.mktemp("bench") / "sheet")
    (sheet,) = (path for path in started.files if path.suffix == ".html")
    shutil.copyfile(sheet, out / sheet.name)
    return out


@needs_checker
def test_the_checker_finds_nothing_on_any_page(out: Path) -> None:
    assert not complaints(out)


@needs_checker
def test_the_checker_is_heard(tmp_path: Path) -> None:
    page = "<!doctype html><html lang=en><title>x</title><h2>x</h2><h4>y</h4><p><table></table>"
    (tmp_path / "wrong.html").write_text(page, encoding="utf-8")
    assert any("skipping" in told for told in complaints(tmp_path))


def test_no_two_regions_of_a_page_have_one_name(out: Path) -> None:
    """WAI-ARIA 1.2, region: regions are told apart by their names alone."""
    single = out / "alder/alder.html"  # shows a section's first chart twice, in parts that have names
    for page in set(out.rglob("*.html")) - {single}:
        text = page.read_text(encoding="utf-8")
        names = re.findall(r'role="region" aria-label="([^"]+)"', text)
        assert {name for name, count in Counter(names).items() if count > 1} == set(), page.name
