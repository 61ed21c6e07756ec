"""Chapters of a video: read from a table, written as WebVTT and as timestamps, tied to findings."""

from __future__ import annotations

import html
import itertools
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published_values import published

from reviewkit.errors import InputError
from reviewkit.findings import Finding
from reviewkit.pipeline import loading
from reviewkit.review import chapters, review_file
from reviewkit.review import video as film
from reviewkit.review.chapters import Chapter
from reviewkit.sections import template
from reviewkit.tables import csv_table

FRAGMENTS = published("media_fragments")["fragments_s"]
EXAMPLES = Path(__file__).resolve().parents[1] / "examples"


def _folder(tmp_path: Path, table: str) -> Path:
    (tmp_path / chapters.FILE).write_text(table, encoding="utf-8")
    return tmp_path


def _messages(tmp_path: Path, table: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        chapters.read(_folder(tmp_path, table))
    return caught.value.message.splitlines()


def test_a_table_of_chapters_is_read(tmp_path: Path) -> None:
    found = chapters.read(
        _folder(tmp_path, "time;title;about\n0:40; A  \tlamp ;charge\n# a remark\n1:02:03,5;End;\n")
    )
    assert found == (Chapter(2, 40.0, "A lamp", "charge"), Chapter(4, 3723.5, "End"))


def test_no_file_is_no_chapters(tmp_path: Path) -> None:
    assert chapters.read(tmp_path) == ()


@pytest.mark.parametrize(
    "text", ["", "soon", "1:60", "1:75:00", "-5", "1.5:20", "1:2:3:4", "100:00:00", "inf"]
)
def test_what_is_no_time_names_its_row_and_how_to_type_one(tmp_path: Path, text: str) -> None:
    (told,) = _messages(tmp_path, f"time,title,about\n0:00,Start,\n{text},Then,\n")
    assert told.startswith("chapters.csv, row 3, column 'time': ")
    assert "such as 0:40 or 1:02:03" in told
    assert told.endswith("Type it as your player shows it.")


@pytest.mark.parametrize("time", ["0:40", "0:39", "40.0001"])
def test_times_that_do_not_rise_are_told_with_both_rows(tmp_path: Path, time: str) -> None:
    (told,) = _messages(tmp_path, f"time,title,about\n0:40,One,\n{time},Two,\n")
    assert told.startswith("chapters.csv, row 3, column 'time': ")
    assert "in row 2" in told
    assert "Put the rows in the order of the video." in told


def test_all_rows_at_fault_are_told_at_once(tmp_path: Path) -> None:
    told = _messages(tmp_path, "time,title,about\nx,One,\n0:50,,\n0:40,Two,\ny,Three,\n")
    assert [re.search(r"row \d", line)[0] for line in told] == ["row 2", "row 5", "row 4", "row 3"]  # type: ignore[index]


def test_a_table_without_times_says_which_columns_it_has(tmp_path: Path) -> None:
    (told,) = _messages(tmp_path, "when,what\n0:00,Start\n")
    assert "no column for 'time'" in told
    assert "'when', 'what'" in told


def test_a_last_row_without_a_title_ends_the_video() -> None:
    found = chapters.cues([Chapter(2, 0.0, "One"), Chapter(3, 90.0, "Two"), Chapter(4, 120.0, "")])
    assert [(cue.start_s, cue.end_s) for cue in found] == [(0.0, 90.0), (90.0, 120.0)]
    assert [cue.end_s for cue in chapters.cues([Chapter(2, 5.0, "One")])] == [None]


def _review(folder: Path, video: str = "") -> tuple[list[InputError], review_file.ReviewFile]:
    (folder / "review.yaml").write_text("device: {name: Lantern}\n", encoding="utf-8")
    found: list[InputError] = []
    file = review_file.bind(folder, {"device": {"name": "Lantern"}, "review": {"video": video}}, found)
    assert file is not None
    return found, file


@pytest.mark.parametrize(
    ("about", "nearest"),
    [
        ("chrage", "charge"),
        ("chrge.termination_current", "charge.termination_current"),
        ("ui_state", "ui_states"),
        ("user interface", ""),
    ],
)
def test_check_tells_a_chapter_about_nothing_there_is(tmp_path: Path, about: str, nearest: str) -> None:
    _folder(tmp_path, f"time,title,about\n0:00,Start,\n0:10,Then,{about}\n")
    (tmp_path / "review.yaml").write_text("device: {name: Lantern}\n", encoding="utf-8")
    parts = template.discover()
    (told,) = [fault.message for fault in loading.faults([tmp_path], parts) if "chapters" in fault.message]
    assert f"chapters.csv, row 3, column 'about': there is no section or finding '{about}'" in told
    assert f"Did you mean '{nearest}" in told
    with pytest.raises(InputError, match=r"chapters\.csv, row 3"):
        loading.read([tmp_path], parts)


def test_a_key_that_no_finding_has_is_told_once_they_are_known() -> None:
    rows = [
        Chapter(7, 40.0, "End", "charge.terminaton_current"),
        Chapter(8, 50.0, "Drain", "drain.standby.mean"),
    ]
    (told,) = chapters.unknown(rows, names={"charge", "charge.termination_current"}, prefixes={"drain."})
    assert "row 7" in told.message
    assert "'charge.termination_current'" in told.message


def test_findings_get_their_moment_under_both_keys() -> None:
    found = [
        Finding("charge.end", "end", 1.0, "A"),
        Finding("charge.usb.end", "end, usb", 1.0, "A"),
        Finding("charge.start", "start", 2.0, "V"),
    ]
    rows = [
        Chapter(2, 7.0, "A", "charge.usb.end"),
        Chapter(3, 9.0, "B", "charge"),
        Chapter(4, 11.0, "C", "charge"),
    ]
    assert chapters.shown_at(rows, found) == {"charge.usb.end": 7.0, "charge.end": 7.0, "charge": 9.0}


@pytest.mark.parametrize("video", ["film.mp4", "clips/film.webm"])
def test_a_video_in_the_folder_is_shown_and_is_no_input(tmp_path: Path, video: str) -> None:
    (tmp_path / "clips").mkdir()
    (tmp_path / video).write_bytes(b"\0" * 100)
    found, file = _review(tmp_path, video)
    assert not found + film.faults(file)
    assert file.files == ("review.yaml",)
    (tmp_path / "out").mkdir()
    film.write(tmp_path / "out", file)
    assert [path.name for path in (tmp_path / "out").iterdir()] == [f"video{Path(video).suffix}"]


@pytest.mark.parametrize(
    "video",
    ["javascript:alert(1)", "http://video.example/a", "a film", "film.exe", "https://", "https:// a.example"],
)
def test_what_is_no_video_is_told(tmp_path: Path, video: str) -> None:
    _, file = _review(tmp_path, video)
    (told,) = film.faults(file)
    assert told.message.startswith(
        f"review.yaml, review.video: '{video}' is no video; expected an address with https:"
    )
    assert film.film(file) is None


def test_a_video_that_is_not_there_is_told_before_a_run(tmp_path: Path) -> None:
    _, file = _review(tmp_path, "film.mp4")
    with pytest.raises(InputError, match=r"film\.mp4: there is no such file"):
        loading.films([file])


# ---------------------------------------------------------------- WebVTT


def _cues(text: str) -> list[tuple[float, float, str]]:
    """Read a WebVTT file by the letter of W3C WebVTT, 4.1, as far as chapters need it."""
    assert text.startswith("WEBVTT\n\n")
    assert text.endswith("\n")
    found = []
    for block in text.removeprefix("WEBVTT\n\n").strip("\n").split("\n\n"):
        timing, *payload = block.split("\n")
        times = re.fullmatch(
            r"(\d\d+):([0-5]\d):([0-5]\d\.\d{3}) --> (\d\d+):([0-5]\d):([0-5]\d\.\d{3})", timing
        )
        assert times
        assert len(payload) == 1
        assert payload[0]
        assert not re.search(r"-->|<|&(?!(amp|lt|gt);)", payload[0])
        part = [float(item) for item in times.groups()]
        start, end = (3600 * h + 60 * m + s for h, m, s in (part[:3], part[3:]))
        found.append((start, end, html.unescape(payload[0])))
    return found


def _nested(spans: list[tuple[float, float]]) -> bool:
    """Whether of any two cues that share time one lies whole within the other."""
    return all(
        one[1] <= other[0]
        or other[1] <= one[0]
        or (one[0] <= other[0] and other[1] <= one[1])
        or (other[0] <= one[0] and one[1] <= other[1])
        for one, other in itertools.combinations(spans, 2)
    )


def _is_a_chapters_file(text: str) -> bool:
    found = _cues(text)
    starts = [start for start, _, _ in found]
    spans = [(start, end) for start, end, _ in found]
    return all(end > start for start, end in spans) and starts == sorted(starts) and _nested(spans)


def test_the_check_of_nesting_tells_the_published_examples_apart() -> None:
    """W3C WebVTT, 4.5.1."""
    example = published("webvtt_overlap")
    assert _nested([(start, end) for start, end in example["nested_s"]])
    assert not _nested([(start, end) for start, end in example["not_nested_s"]])


def test_chapters_are_written_as_webvtt() -> None:
    found = chapters.cues([Chapter(2, 0.0, "Start"), Chapter(3, 83.5, "R & D <b> --> end")])
    assert film.webvtt(found) == (
        "WEBVTT\n\n00:00:00.000 --> 00:01:23.500\nStart\n\n"
        "00:01:23.500 --> 99:59:59.999\nR &amp; D &lt;b&gt; --&gt; end\n"
    )


TITLES = st.text(min_size=1).map(lambda text: " ".join(text.split())).filter(bool)
TIMES = st.lists(st.integers(0, int(chapters.LATEST_S * 1000)), min_size=1, max_size=8, unique=True).map(
    sorted
)


@given(times=TIMES, data=st.data())
def test_any_chapters_make_a_valid_file_that_says_the_same(times: list[int], data: st.DataObject) -> None:
    rows = [Chapter(row, time / 1000, data.draw(TITLES)) for row, time in enumerate(times, 2)]
    text = film.webvtt(chapters.cues(rows))
    assert _is_a_chapters_file(text)
    assert [(start, title) for start, _, title in _cues(text)] == [
        (pytest.approx(row.start_s, abs=6e-4), row.title) for row in rows
    ]


@pytest.mark.parametrize("device", ["alder", "birch"])
def test_the_examples_chapters_are_valid(device: str) -> None:
    found = chapters.cues(chapters.read(EXAMPLES / device))
    assert len(found) >= 10
    assert _is_a_chapters_file(film.webvtt(found))


def test_timestamps_stand_as_a_description_has_them() -> None:
    found = chapters.cues([Chapter(2, 0.0, "Start"), Chapter(3, 83.9, "Then"), Chapter(4, 3723.0, "Last")])
    assert film.timestamps(found) == "0:00 Start\n1:23 Then\n1:02:03 Last\n"


# ---------------------------------------------------------------- Media Fragments


@pytest.mark.parametrize("written", FRAGMENTS)
def test_times_are_read_as_media_fragments_have_them(written: str) -> None:
    """W3C Media Fragments URI 1.0, 4.2.1."""
    ends = written.removeprefix("t=").removeprefix("npt:").split(",")
    read = [csv_table.seconds(text) if text else 0.0 for text in ends]
    assert read == [end for end in FRAGMENTS[written] if end is not None]


@pytest.mark.parametrize(
    ("moment_s", "written"),
    [(10.0, "#t=10"), (0.0, "#t=0"), (120.1, "#t=120.1"), (83.5, "#t=83.5"), (18610, "#t=18610")],
)
def test_a_moment_is_written_in_the_shortest_form(moment_s: float, written: str) -> None:
    """Seconds, as in "t=10" of W3C Media Fragments URI 1.0, 4.2.1."""
    assert csv_table.fragment(moment_s) == written
    assert csv_table.seconds(written.removeprefix("#t=")) == moment_s


def test_the_moment_takes_the_place_of_another_in_the_address(tmp_path: Path) -> None:
    """Only what stands behind "#" is a fragment; queries stay."""
    _, file = _review(tmp_path, "https://video.example/watch?v=1&x=2#t=30")
    shown = film.film(file)
    assert shown is not None
    assert shown.at(90) == "https://video.example/watch?v=1&x=2#t=90"
