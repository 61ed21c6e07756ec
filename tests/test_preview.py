"""A preview in a real browser: what is saved is seen, faults come and go, nothing is published."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from visits import needs_browser

from reviewkit.preview import session
from reviewkit.preview.build import Builder, look

ALDER = Path(__file__).parents[1] / "examples" / "alder"
LOG = "logs/drain-standby.csv"
REVIEW = """
device: {name: Alder}
cell: {label: test cell A, chemistry: NMC, rated_capacity_Ah: 3.0}
voltmeter: {accuracy: "±(0.5 % + 2)", resolution: 1 mV}
drain_ammeter: {accuracy: "±(1.0 % + 3)", resolution: 1 uA, full_scale: 6 mA, burden_ohm: 10}
readout_table: readout.csv
drain_states: [{name: standby, log: logs/drain-standby.csv, windows: gapless}]
"""
WORDS = "It draws {drain.standby.mean}.\n\n" + "\n\n".join(f"Paragraph {number}." for number in range(40))
LONG_MS = 120_000
COMMAND = Path(sys.executable).with_name("reviewkit")

pytestmark = needs_browser


def fill(place: Path) -> Path:
    (place / "logs").mkdir(parents=True)
    (place / "review.yaml").write_text(REVIEW, encoding="utf-8")
    (place / "words.md").write_text(WORDS, encoding="utf-8")
    shutil.copy(ALDER / "readout.csv", place)
    shutil.copy(ALDER / LOG, place / LOG)
    return place


class Shown:
    """A preview by the command, and its page in a browser."""

    def __init__(self, folder: Path, browser: Any) -> None:
        self.folder = folder
        self.temporary = folder.parent / "temporary"
        self.temporary.mkdir()
        self.before = look([folder])
        self.process = subprocess.Popen(
            [str(COMMAND), "preview", str(folder)],
            cwd=folder.parent,
            env={**os.environ, "TMPDIR": str(self.temporary), "PYTHONUNBUFFERED": "1"},
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        self.url = self.process.stdout.readline().strip()
        self.page = browser.new_page(viewport={"width": 1000, "height": 700})
        self.said: list[str] = []
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.goto(self.url)
        self.seen("In the reviewer’s words")

    def save(self, name: str, text: str) -> None:
        (self.folder / name).write_text(text, encoding="utf-8")

    def seen(self, text: str) -> None:
        self.page.locator(f"text={text}").first.wait_for(timeout=LONG_MS, state="attached")

    def gone(self, selector: str) -> None:
        self.page.locator(selector).first.wait_for(timeout=LONG_MS, state="detached")

    def top_of(self, selector: str) -> float:
        return float(self.page.locator(selector).first.evaluate("part => part.getBoundingClientRect().top"))


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory, browser: Any) -> Iterator[Shown]:
    preview = Shown(fill(tmp_path_factory.mktemp("preview") / "lamp"), browser)
    yield preview
    preview.page.close()
    if preview.process.poll() is None:
        preview.process.terminate()
    preview.process.wait(timeout=60)
    preview.process.stdout.close()


def test_a_saved_word_is_seen_and_the_reader_stays_where_they_are(shown: Shown) -> None:
    shown.page.locator("main details summary").first.click()
    shown.page.locator("text=Paragraph 30.").evaluate("part => part.scrollIntoView()")
    before = shown.top_of("text=Paragraph 30.")
    shown.page.evaluate("window.stays = true")
    shown.save("words.md", WORDS.replace("Paragraph 31.", "A wombat lives here."))
    shown.seen("A wombat lives here.")
    assert abs(shown.top_of("text=Paragraph 30.") - before) < 2
    assert shown.page.locator("main details").first.get_attribute("open") is not None
    # Charts that are being explored stay too: the page is not loaded again for a word.
    assert shown.page.evaluate("window.stays")
    shown.save("words.md", f"Before all.\n\n{WORDS}")
    shown.seen("Before all.")
    assert abs(shown.top_of("#words") - shown.top_of("text=Before all.")) < 200


def test_a_changed_number_loads_the_page_again_and_keeps_its_reader_there(shown: Shown) -> None:
    rows = (ALDER / "readout.csv").read_text(encoding="utf-8")
    shown.page.locator("main details").first.evaluate("part => { part.open = true; }")
    shown.page.locator("#words").evaluate("part => part.scrollIntoView()")
    before = shown.top_of("#words")
    shown.page.evaluate("window.stays = true")
    shown.save("readout.csv", rows.rstrip("\n").rpartition("\n")[0] + "\n")
    shown.page.wait_for_function("() => !window.stays", timeout=LONG_MS)
    shown.page.wait_for_load_state("load")
    assert abs(shown.top_of("#words") - before) < 40
    assert shown.page.locator("main details").first.get_attribute("open") is not None
    shown.save("readout.csv", rows)


def test_a_fault_in_the_words_stands_at_its_passage_and_goes_again(shown: Shown) -> None:
    shown.save("words.md", "It gives {drain.standby.meen} at rest.")
    mark = shown.page.locator("mark.fault")
    mark.wait_for(timeout=LONG_MS)
    assert mark.inner_text() == "{drain.standby.meen}"
    assert "did you mean {drain.standby.mean}?" in mark.evaluate("part => part.parentElement.textContent")
    listed = shown.page.locator(".preview li").all_inner_texts()
    assert len(listed) == 1
    assert listed[0].startswith("words.md, line 1: ")
    shown.save("words.md", WORDS)
    shown.gone("mark.fault")
    assert not shown.page.locator(".preview li").count()


def test_a_deleted_log_is_told_at_its_section_which_stays_as_it_was(shown: Shown) -> None:
    number = shown.page.locator("main a.number").first.inner_text()
    (shown.folder / LOG).rename(shown.folder.parent / "aside.csv")
    told = shown.page.locator("section .preview")
    told.wait_for(timeout=LONG_MS)
    assert "At fault now; below stands what was found before" in told.inner_text()
    assert "logs/drain-standby.csv: there is no such file." in told.inner_text()
    assert shown.page.locator("main a.number").first.inner_text() == number
    checked = subprocess.run([str(COMMAND), "check", str(shown.folder)], capture_output=True, text=True)
    assert checked.stderr.splitlines() == shown.page.locator(".masthead .preview li").all_inner_texts()
    (shown.folder.parent / "aside.csv").rename(shown.folder / LOG)
    shown.gone("section .preview")


def test_a_review_file_that_cant_be_read_leaves_the_last_good_pages(shown: Shown) -> None:
    shown.save("review.yaml", REVIEW + "cell: {")
    shown.seen("below stands the review as it was before")
    assert shown.page.locator("main a.number").count()
    assert shown.page.locator(".preview li").first.inner_text().startswith("review.yaml")
    shown.save("review.yaml", REVIEW)
    shown.gone(".preview li")


def test_half_a_file_then_the_rest_ends_whole(shown: Shown) -> None:
    whole = (ALDER / LOG).read_bytes()
    for part in (b"", whole[: len(whole) // 3], whole[: len(whole) // 2 + 7]):
        (shown.folder / LOG).write_bytes(part)
        time.sleep(0.1)
    (shown.folder / LOG).write_bytes(whole)
    shown.save("words.md", "It is whole again: {drain.standby.mean}.")
    shown.seen("It is whole again")
    shown.gone(".preview li")


def test_an_editor_that_writes_beside_and_renames_is_followed(shown: Shown) -> None:
    for number in range(3):
        part = shown.folder / f".words.md.{number}~"
        part.write_text(f"Renamed {number}. {{drain.standby.mean}}", encoding="utf-8")
        part.replace(shown.folder / "words.md")
        shown.seen(f"Renamed {number}.")


def test_a_hundred_saves_in_quick_order_end_with_the_last(
    shown: Shown, record_property: Callable[[str, object], None]
) -> None:
    for number in range(100):
        shown.save("words.md", f"Save number {number}. {{drain.standby.mean}}")
        time.sleep(0.01)
    begun = time.perf_counter()
    shown.seen("Save number 99.")
    assert shown.process.poll() is None
    assert not shown.said
    record_property("figure", f"100 saves: the last one was seen after {time.perf_counter() - begun:.2f} s")


def _status(url: str, **headers: str) -> int:
    try:
        with urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=30) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code


def test_no_other_page_or_machine_can_read_it(shown: Shown) -> None:
    port = int(re.findall(r":(\d+)/", shown.url)[0])
    assert shown.url.startswith("http://127.0.0.1:")
    assert _status(shown.url) == 200
    assert _status(shown.url, Host="elsewhere.example") == 404
    secret = shown.url.split("/")[3]
    assert len(secret) >= 20
    assert _status(shown.url.replace(secret, "guessed")) == 404
    assert _status(f"http://127.0.0.1:{port}/") == 404
    for way in ("..%2f..%2f..%2fetc%2fpasswd", "../lamp/../../../etc/passwd", "%2fetc%2fpasswd"):
        assert _status(shown.url.replace("index.html", way)) == 404
    with urllib.request.urlopen(shown.url) as answer:
        assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert "Access-Control-Allow-Origin" not in answer.headers
    others = [address[4][0] for address in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    for other in {address for address in others if not address.startswith("127.")}:
        with pytest.raises(OSError, match="refused"):
            socket.create_connection((other, port), timeout=5)


def test_its_pages_say_what_they_are_and_nothing_is_published(shown: Shown) -> None:
    assert shown.page.title().startswith("Preview: ")
    for name in ("index", "drain", "readout"):
        shown.page.goto(shown.url.replace("index.html", f"{name}.html"))
        assert "nothing is published" in shown.page.locator(".masthead .preview").inner_text()
    shown.page.goto(shown.url)
    shown.save("words.md", WORDS)
    shown.seen("Paragraph 39.")
    assert set(look([shown.folder])) == set(shown.before)
    assert {path.name for path in shown.folder.parent.iterdir()} == {"lamp", "temporary"}


def test_an_interruption_ends_it_and_leaves_nothing(shown: Shown) -> None:
    assert list(shown.temporary.iterdir())
    shown.process.send_signal(signal.SIGINT)
    assert shown.process.wait(timeout=60) == 0
    # What ran the notebooks ends when it sees that nobody is there any more.
    until = time.monotonic() + 120
    while list(shown.temporary.iterdir()) and time.monotonic() < until:
        time.sleep(0.1)
    assert not list(shown.temporary.iterdir())
    assert {path.name for path in shown.folder.parent.iterdir()} == {"lamp", "temporary"}


def test_a_port_in_use_is_told(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        command = [str(COMMAND), "preview", str(tmp_path), "--port", str(port)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 2
    assert f"port {port} can't be had" in done.stderr
    assert "Leave --port off" in done.stderr


def test_a_file_system_that_reports_nothing_is_looked_through(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def silent(*_: Any, **__: Any) -> Iterator[set[Any]]:
        while True:
            time.sleep(0.05)
            yield set()

    monkeypatch.setattr(session.watchfiles, "watch", silent)
    folder = fill(tmp_path / "lamp")
    built: list[int] = []
    monkeypatch.setattr(session, "_show", lambda *_: built.append(1))
    builder = Builder(folder, tmp_path)
    threading.Thread(target=session._follow, args=(builder, None, []), daemon=True).start()
    time.sleep(0.5)
    (folder / "words.md").write_text("Seen all the same.", encoding="utf-8")
    end = time.monotonic() + 20
    while len(built) < 2 and time.monotonic() < end:
        time.sleep(0.05)
    assert len(built) == 2
