"""The notebook where its user lives: JupyterLab in a real browser, a folder changed by hand, Run All."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import make_loose_logs
import pytest
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

HERE = Path(__file__).resolve().parent.parent
CHROMIUM = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
ARGUMENTS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
)
TOKEN = "only-for-this-test"
# Generous: a review is run inside, and the machine may be doing other things.
START_S, RUN_S = 90.0, 420.0
expect.set_options(timeout=30_000)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
]


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """A copy of the notebooks and examples, as someone who cloned the project has them."""
    for folder in ("notebooks", "examples"):
        shutil.copytree(HERE / folder, tmp_path / folder, ignore=shutil.ignore_patterns("__pycache__", ".*"))
    return tmp_path


@pytest.fixture
def lab(bench: Path) -> Iterator[str]:
    """The address of a JupyterLab server of its own, which knows nothing of the user's settings."""
    own = bench / ".jupyter"
    surroundings = {
        **os.environ,
        **{f"JUPYTER_{name}_DIR": str(own / name.lower()) for name in ("CONFIG", "DATA", "RUNTIME")},
        "JUPYTERLAB_SETTINGS_DIR": str(_settings(own)),
        "JUPYTERLAB_WORKSPACES_DIR": str(own / "workspaces"),
        "IPYTHONDIR": str(own / "ipython"),
    }
    options = (
        *("--no-browser", "--ServerApp.ip=127.0.0.1", "--ServerApp.port=0"),
        *(f"--IdentityProvider.token={TOKEN}", f"--ServerApp.root_dir={bench}"),
        *("--ServerApp.allow_root=True", "--LabApp.news_url=None"),
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    )
    told = (bench / "server.log").open("wb")
    server = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", *options], cwd=bench, env=surroundings, stdout=told, stderr=told
    )
    try:
        yield _address(own / "runtime", server)
    finally:
        server.terminate()
        try:
            server.wait(20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()
        told.close()


def _settings(own: Path) -> Path:
    """Keep all cells in the page, seen or not, so that the test can find them; ask nothing."""
    place = own / "settings" / "@jupyterlab"
    for name, settings in {
        "notebook-extension/tracker": {"windowingMode": "none"},
        "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
    }.items():
        file = place / f"{name}.jupyterlab-settings"
        file.parent.mkdir(parents=True)
        file.write_text(json.dumps(settings), encoding="utf-8")
    return place.parent


def _address(runtime: Path, server: subprocess.Popen[bytes]) -> str:
    """Wait for the file in which the server tells its port."""
    until = time.monotonic() + START_S
    while time.monotonic() < until and server.poll() is None:
        for told in runtime.glob("jpserver-*.json"):
            about = json.loads(told.read_text(encoding="utf-8") or "{}")
            if about.get("port"):
                return f"http://127.0.0.1:{about['port']}/lab/tree/notebooks"
        time.sleep(0.2)
    raise AssertionError(f"JupyterLab did not start: exit status {server.poll()}")


@pytest.fixture
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        yield opened
        opened.close()


def opened(browser: Browser, address: str, notebook: str) -> Page:
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.set_default_timeout(START_S * 1000)
    page.goto(f"{address}/{notebook}?token={TOKEN}&reset")
    page.get_by_text("Python 3 (ipykernel) | Idle").first.wait_for()
    return page


def cell(page: Page, text: str) -> Locator:
    """The code cell whose source holds this text."""
    editor = page.locator(".jp-InputArea-editor", has_text=text)
    return page.locator(".jp-CodeCell", has=editor)


def retype(page: Page, old: str, new: str) -> None:
    """Replace text in the parameter cell with the keyboard, as its user does."""
    editor = page.locator(".jp-CodeCell .cm-content").first
    source = editor.inner_text()
    assert old in source
    editor.click()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.insert_text(source.replace(old, new))
    expect(editor).to_contain_text(new)
    expect(editor).not_to_contain_text(old)


def run_all(page: Page) -> None:
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()


def texts(place: Path) -> dict[str, Any]:
    found = json.loads((place / "findings.json").read_text(encoding="utf-8"))
    return {item["key"]: item for item in found["findings"]}


def test_another_folder_in_the_parameter_cell_gives_that_devices_review(
    bench: Path, lab: str, browser: Browser
) -> None:
    page = opened(browser, lab, "review_a_device.ipynb")
    retype(page, "examples/alder", "examples/birch")
    run_all(page)

    last = cell(page, "published.index").locator(".jp-OutputArea-output")
    last.wait_for(timeout=RUN_S * 1000)
    expect(last).to_contain_text("birch")
    assert (
        page.locator(".jp-RenderedText[data-mime-type*=error], .jp-OutputArea-output pre.error").count() == 0
    )

    found = texts(bench / "site" / "birch")
    assert found["readout.rule"]["value"] == "down"
    shown = cell(page, "published.findings").locator(".jp-OutputArea-output")
    expect(shown).to_contain_text("laptop port")
    expect(shown).not_to_contain_text("overnight")
    assert not (bench / "site" / "alder").exists()
    expect(cell(page, "published.key_figures()").locator(".js-plotly-plot").first).to_be_visible()


def test_a_bench_day_is_entered_and_reviewed(bench: Path, lab: str, browser: Browser) -> None:
    """Five readings, five trials, one of them taken back; then the whole review with them in it."""
    page = opened(browser, lab, "bench_day.ipynb")
    cell(page, "bench_day.tonight").click()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Above Selected Cell", exact=True).click()
    cell(page, "bench_day.tonight").click()
    run_this(page)
    expect(cell(page, "bench_day.tonight")).to_contain_text("Try power lost in full")
    cell(page, "bench_day.forms").click()
    run_this(page)
    form = cell(page, "bench_day.forms")
    form.get_by_role("button", name="Clap").click()
    expect(form).to_contain_text("The film’s time runs from this clap")

    for volts, shown in ((3.084, 3.0), (3.092, 3.0), (3.180, 3.1), (4.086, 4.0), (4.120, 4.1)):
        type_into(form, "reference", f"{volts}")
        type_into(form, "shown", f"{shown}")
        form.get_by_role("button", name="Enter").click()
        expect(form).to_contain_text(f"readout.csv: {volts:g} V shown as {shown}")
        expect(field(form, "reference")).to_have_value("")
    form.get_by_role("tab", name="Trial").click()
    for to in ("full", "full", "full", "full", "standby"):
        for label, text in (("in the state", "full"), ("this happened", "power lost"), ("and led to", to)):
            type_into(form, label, text)
        form.get_by_role("button", name="Enter").click()
        if to == "standby":
            expect(form).to_contain_text("does not always do the same")
            form.get_by_role("checkbox", name="I am sure of it").check()
            form.get_by_role("button", name="Enter").click()
        expect(form).to_contain_text(f"transitions.csv: power lost in full: {to}")
        # What was written is cleared, and only then is there room for the next.
        expect(field(form, "in the state")).to_have_value("")
    form.get_by_role("button", name="Undo").click()
    expect(form).to_contain_text("Taken back: trial, power lost in full: standby")

    cell(page, "reviewkit.run").click()
    run_this(page)
    expect(cell(page, "reviewkit.run").locator(".jp-OutputArea-output").last).to_contain_text(
        "birch", timeout=RUN_S * 1000
    )
    found = texts(bench / "site" / "birch")
    assert found["ui.untested"]["value"] == []
    rows = (bench / "examples" / "birch" / "transitions.csv").read_text(encoding="utf-8").splitlines()
    tried = [row.rsplit(",", 1)[0] for row in rows if row.startswith("full,power lost")]
    assert tried == ["full,power lost,full,4,4,"]
    assert len((bench / "examples" / "birch" / "readout.csv").read_text(encoding="utf-8").splitlines()) == 16


def run_this(page: Page) -> None:
    page.keyboard.press("Escape")
    page.keyboard.press("ControlOrMeta+Enter")


def field(form: Locator, label: str) -> Locator:
    return form.get_by_label(label, exact=True).locator("visible=true")


def type_into(form: Locator, label: str, text: str) -> None:
    field(form, label).fill(text)
    field(form, label).press("Tab")


def fill(page: Page, bench: Path, notebook: str, changes: dict[str, str]) -> None:
    """Type over places of a notebook's parameter cell, each of which is there once."""
    cells = json.loads((bench / "notebooks" / notebook).read_text(encoding="utf-8"))["cells"]
    source = "".join(next(one for one in cells if "parameters" in one["metadata"].get("tags", ()))["source"])
    for old, new in changes.items():
        assert source.count(old) >= 1, old
        source = source.replace(old, new, 1)
    editor = page.locator(".jp-CodeCell .cm-content").first
    editor.click()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.insert_text(source)


@pytest.fixture
def rowan(bench: Path) -> tuple[Path, Path]:
    """Two loose logs of a device that no example is about, in a folder of their user's."""
    return make_loose_logs.write(bench / "my bench")


TYPED = {
    'folder: str = "../examples/alder"': 'folder: str = ""',
    '"name": "",  # Rowan': '"name": "Rowan",',
    '"rated_capacity_Ah": ""': '"rated_capacity_Ah": "1700 mAh"',
    '"accuracy": "",  # ±(0.5 % + 2)': '"accuracy": "±(0.05 % + 2)",  #',
    '"resolution": "",  # 1 mV': '"resolution": "1 mV",  #',
    '"accuracy": "",  # ±(1.0 % + 3)': '"accuracy": "±(0.5 % + 3)",  #',
    '"resolution": "",  # 1 mA': '"resolution": "1 mA",  #',
    '"voltage": ""': '"voltage": "../my bench/volts.csv"',
    '"current": ""': '"current": "../my bench/amps.csv"',
}
"""Nine lines, as someone with two logs types them."""


def holds_the_truth(found: dict[str, Any]) -> None:
    plateau = found["charge.plateau_current"]
    assert abs(plateau["value"] - make_loose_logs.TRUTH["plateau_A"]) <= plateau["uncertainty"]
    assert found["charge.terminates"]["value"] is True


def test_a_device_of_ones_own_is_filled_in_in_the_cell_and_wrong_entries_are_listed_below_it(
    bench: Path, rowan: tuple[Path, Path], lab: str, browser: Browser
) -> None:
    page = opened(browser, lab, "review_a_device.ipynb")
    wrong = {'"chemistry": ""': '"chemistry": "lead"', '"max_charge_A": ""': '"max_charge_A": "a lot"'}
    fill(page, bench, "review_a_device.ipynb", TYPED | wrong)
    run_all(page)
    below = cell(page, "filled_in(globals())").locator(".jp-OutputArea-output")
    expect(below).to_contain_text("2 things to put right:", timeout=RUN_S * 1000)
    expect(below).to_contain_text("the parameter cell, cell.chemistry: found 'lead'; expected one of")
    expect(below).to_contain_text("cell.max_charge_A: 'a lot' is not a number with a unit")
    expect(below).not_to_contain_text("Traceback")
    assert not (bench / "site").exists()

    fill(page, bench, "review_a_device.ipynb", TYPED)
    run_all(page)
    last = cell(page, "published.index").locator(".jp-OutputArea-output")
    expect(last).to_contain_text("rowan", timeout=RUN_S * 1000)
    assert (bench / "site" / "rowan" / "index.html").is_file()
    holds_the_truth(texts(bench / "site" / "rowan"))


def test_the_form_ends_in_the_same_review(
    bench: Path, rowan: tuple[Path, Path], lab: str, browser: Browser
) -> None:
    page = opened(browser, lab, "review_by_form.ipynb")
    run_all(page)
    page.get_by_text("The cell and the meters").click(timeout=RUN_S * 1000)

    def write(example: str, text: str) -> None:
        field = page.locator(f'.jp-OutputArea input[placeholder^="{example}"]:visible').first
        field.fill(text)
        field.press("Tab")

    write("±(0.5 % + 2)", "one per cent")
    expect(page.get_by_text("'one per cent' is no accuracy")).to_be_visible()
    write("±(0.5 % + 2)", "±(0.05 % + 2)")
    write("1 mV", "1 mV")
    expect(page.get_by_text("understood as 0.05 % of the reading + 2 counts")).to_be_visible()
    write("±(1.0 % + 3)", "±(0.5 % + 3)")
    write("1 mA", "1 mA")
    write("3.0", "1700 mAh")
    page.get_by_text("Charge curve", exact=True).first.click()
    write("logs/voltage.csv", "../my bench/volts.csv")
    expect(page.locator("figure svg path").first).to_be_visible()
    write("logs/current.csv", "../my bench/amps.csv")
    page.get_by_text("The review", exact=True).first.click()
    write("Rowan", "Rowan")
    write("my-reviews/rowan", "../my reviews/rowan")
    page.get_by_role("button", name="Write the review").click()
    expect(page.get_by_text("Written to")).to_be_visible(timeout=RUN_S * 1000)
    assert (bench / "my reviews" / "rowan" / "review.yaml").is_file()
    page.get_by_role("button", name="Run", exact=True).click()
    expect(page.get_by_text("Published:")).to_be_visible(timeout=RUN_S * 1000)
    holds_the_truth(texts(bench / "site" / "rowan"))


def test_a_sections_template_is_run_by_itself(
    bench: Path, rowan: tuple[Path, Path], lab: str, browser: Browser
) -> None:
    shutil.copyfile(HERE / "templates" / "charge.ipynb", bench / "notebooks" / "charge.ipynb")
    page = opened(browser, lab, "charge.ipynb")
    typed = {
        'folder: str = ""': 'folder: str = "../my bench"',
        "voltmeter: dict = {}": 'voltmeter: dict = {"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"}',
        "ammeter: dict = {}": 'ammeter: dict = {"accuracy": "±(0.5 % + 3)", "resolution": "1 mA"}',
        "charge_runs: list = []": 'charge_runs: list = [{"voltage": "volts.csv", "current": "apms.csv"}]',
    }
    fill(page, bench, "charge.ipynb", typed)
    run_all(page)
    below = cell(page, "charge.inputs(globals())").locator(".jp-OutputArea-output")
    expect(below).to_contain_text("apms.csv: there is no such file", timeout=RUN_S * 1000)
    expect(below).not_to_contain_text("Traceback")
    mended = {name: text.replace("apms", "amps") for name, text in typed.items()}
    fill(page, bench, "charge.ipynb", mended)
    run_all(page)
    shown = cell(page, "results.findings()").locator(".jp-OutputArea-output")
    expect(shown).to_contain_text("0.8000", timeout=RUN_S * 1000)
