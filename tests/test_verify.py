"""Published reviews run again from their evidence: what stands, what has changed, what is refused."""

from __future__ import annotations

import json
import shutil
import stat
import struct
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import reviewkit
from reviewkit import commands
from reviewkit.cli import main
from reviewkit.commands import verification
from reviewkit.errors import InputError
from reviewkit.findings import Finding
from reviewkit.metrology.conformity import Limit
from reviewkit.publishing import editions, evidence

pytestmark = pytest.mark.usefixtures("libraries_ready")

FILES = Path(__file__).parent / "files"
KIT = ["--only-templates", str(FILES / "templates")]
Files = dict[str, bytes]
BASE = Finding(
    *(
        "lamp.reading",
        "reading",
        2.0,
        "V",
        0.1,
        1.9,
        2.1,
        Limit(None, 2.5, "a data sheet"),
        "pass",
        "as read",
    ),
)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A published folder of two reviews."""
    folder = tmp_path_factory.mktemp("bench")
    for name in ("lantern", "torch"):
        shutil.copytree(FILES / "lantern", folder / name)
    out = tmp_path_factory.mktemp("site")
    commands.run(folder / "lantern", folder / "torch", out=out, only_templates=[FILES / "templates"])
    return out


@pytest.fixture
def lantern(site: Path, tmp_path: Path) -> Path:
    """A published review to tamper with."""
    return Path(shutil.copytree(site / "lantern", tmp_path / "lantern"))


def call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["verify", *map(str, arguments), *KIT], catch_exceptions=False)


def contents(path: Path) -> Files:
    with zipfile.ZipFile(path) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def pack(path: Path, files: Files) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in files.items():
            packed.writestr(name, content)
    return path


def changed_findings(path: Path, change: Callable[[Any], None]) -> None:
    whole = json.loads(path.read_text(encoding="utf-8"))
    change(whole)
    path.write_text(json.dumps(whole), encoding="utf-8")


def test_a_zip_alone_is_enough_and_is_only_read(site: Path, tmp_path: Path) -> None:
    mailed = Path(shutil.copy(site / "lantern" / "evidence.zip", tmp_path / "from a stranger.zip"))
    before = mailed.read_bytes()
    (verified,) = reviewkit.verify(mailed, only_templates=[FILES / "templates"])
    assert verified.stands
    assert [check.key for check in verified.checks] == ["lamp.reading", "weight.mass", "weight.belt"]
    assert mailed.read_bytes() == before
    assert list(tmp_path.iterdir()) == [mailed]


def test_reviews_that_nobody_touched_stand(site: Path) -> None:
    result = call(site)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines() == [
        line
        for name in ("lantern", "torch")
        for line in (
            "stands   lamp.reading: 410.5",
            "stands   weight.mass: 182",
            "stands   weight.belt: not tested",
            f"{site / name}: 3 of 3 findings still stand",
        )
    ]


def test_a_finding_that_was_published_otherwise_is_named_with_both_values(lantern: Path) -> None:
    def change(whole: Any) -> None:
        whole["findings"][0]["value"] = 510.5
        del whole["findings"][1]

    changed_findings(lantern / "findings.json", change)
    result = call(lantern)
    assert result.exit_code == 2
    assert result.stdout.splitlines() == [
        "CHANGED  lamp.reading: 510.5; now 410.5",
        "stands   weight.belt: not tested",
        "CHANGED  weight.mass: not there; now 182",
        f"{lantern}: 1 of 3 findings still stand",
    ]


def test_raw_data_that_are_not_those_published_are_refused(lantern: Path) -> None:
    path = lantern / "evidence.zip"
    pack(path, contents(path) | {"review/logs/lux.csv": b"lux\n999\n"})
    result = call(lantern)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "logs/lux.csv: the file is not the one that the published findings were made from" in result.stderr


def test_a_file_missing_from_the_evidence_is_named(lantern: Path) -> None:
    path = lantern / "evidence.zip"
    files = contents(path)
    del files["review/logs/lux.csv"]
    pack(path, files)
    result = call(path)
    assert result.exit_code == 2
    assert "logs/lux.csv: there is no such file" in result.stderr


def test_a_section_that_fails_the_second_time_does_not_stand(lantern: Path) -> None:
    shutil.copytree(FILES / "templates", lantern / "templates")
    broken = lantern / "templates" / "lamp.ipynb"
    text = broken.read_text(encoding="utf-8")
    broken.write_text(text.replace("Findings((Finding", "1 / 0, Findings((Finding"), encoding="utf-8")
    shown = CliRunner().invoke(main, ["verify", str(lantern), "--only-templates", str(broken.parent)])
    assert shown.exit_code == 1
    assert "Light output: its cell 5 failed (ZeroDivisionError)" in shown.stderr
    assert "CHANGED  lamp.reading: 410.5; now not there" in shown.stdout


def test_no_notebook_of_the_evidence_is_executed(lantern: Path, tmp_path: Path) -> None:
    """A template, and a notebook, that would leave a mark come with the zip; neither does."""
    mark = tmp_path / "mark"
    path = lantern / "evidence.zip"
    code = f"open({str(mark)!r}, 'w')"
    template = json.loads((FILES / "templates" / "lamp.ipynb").read_text(encoding="utf-8"))
    template["cells"][2]["source"] = code
    evil = json.dumps(template).encode()
    names = ("lamp.ipynb", "templates/lamp.ipynb", "review/lamp.ipynb", "review/templates/lamp.ipynb")
    pack(path, contents(path) | dict.fromkeys(names, evil) | {"notebooks/lamp.ipynb": evil})
    assert call(path).exit_code == 0
    assert not mark.exists()


@pytest.mark.parametrize(
    "content",
    [
        *(b"", b"{", b"[]", b"\xff\xfe", b"[" * 200_000, b'{"schema": 1}', b'{"schema": 99}'),
        b'{"schema": 1, "inputs": [], "review": {}, "findings": [{"key": 5}]}',
        b'{"schema": 1, "inputs": [], "review": {}, "findings": []}',
        b'{"schema": 1, "inputs": [{"path": "../x", "sha256": "0"}, {"path": "review.yaml", "sha256": "0"}], '
        b'"review": {}, "findings": []}',
    ],
)
def test_findings_that_are_none_are_a_plain_fault(lantern: Path, content: bytes) -> None:
    (lantern / "findings.json").write_bytes(content)
    with pytest.raises(InputError, match="lantern"):
        reviewkit.verify(lantern, only_templates=[FILES / "templates"])


def of_one(folder: Path, item: dict[str, Any]) -> Path:
    path = folder / "findings.json"
    whole = {"schema": 1, "inputs": [], "review": {}, "findings": [item]}
    path.write_text(json.dumps(whole), encoding="utf-8")
    return path


@pytest.mark.parametrize("number", [1e308, -1e308, 10**400, float("nan"), float("inf")])
@pytest.mark.parametrize("name", ["value", "uncertainty", "low", "high"])
def test_numbers_beyond_all_reason_are_a_plain_fault(tmp_path: Path, number: Any, name: str) -> None:
    path = of_one(tmp_path, BASE.to_dict() | {"value": 2.0, name: number})
    with pytest.raises(InputError, match=name):
        editions.read(path)


def test_a_number_beyond_all_reason_in_a_list_does_not_stand(tmp_path: Path) -> None:
    (read,) = editions.read(of_one(tmp_path, BASE.to_dict() | {"value": [10**400]})).findings
    check = verification.Check("lamp.reading", read, replace(BASE, value=[1.0]))
    assert not check.stands
    assert check.text


def test_a_folder_without_a_review_is_a_plain_fault(tmp_path: Path) -> None:
    result = call(tmp_path)
    assert result.exit_code == 2
    assert "no published review is here" in result.stderr


def test_text_of_a_stranger_does_not_steer_the_terminal() -> None:
    item = Finding("lamp.\x1b[2J", "reading", value="\x1b]0;title\x07")
    assert "\x1b" not in verification.Check(item.key, item, None).text


@pytest.mark.parametrize(
    "again",
    [
        replace(BASE, value=2.0009),
        replace(BASE, low=1.9009, high=2.0991, uncertainty=0.0999),
        replace(BASE, note="in other words", label="the reading"),
    ],
)
def test_what_differs_by_rounding_alone_stands(again: Finding) -> None:
    """A hundredth of the uncertainty is a digit that the published number does not have."""
    assert verification.same(BASE, again)


@pytest.mark.parametrize(
    "again",
    [
        *(replace(BASE, value=2.002), replace(BASE, value=None), replace(BASE, value="2.0")),
        *(replace(BASE, low=1.8), replace(BASE, high=None), replace(BASE, uncertainty=0.2)),
        *(replace(BASE, verdict="inconclusive"), replace(BASE, unit="A"), replace(BASE, limit=None)),
        *(
            replace(BASE, limit=Limit(None, 2.6, "a data sheet")),
            replace(BASE, limit=Limit(None, 2.5, "hearsay")),
        ),
    ],
)
def test_what_says_something_else_does_not_stand(again: Finding) -> None:
    assert not verification.same(BASE, again)


def test_a_wide_interval_published_does_not_hide_a_change() -> None:
    wide = replace(BASE, uncertainty=100.0, low=-98.0, high=102.0)
    assert not verification.same(wide, BASE)


@pytest.mark.parametrize(
    ("old", "new", "stands"),
    [
        (True, True, True),
        (True, 1, False),
        (3, 4, False),
        (0, 0, True),
        ([["a", "b"]], [["a", "b"]], True),
        ([["a", "b"]], [["a", "c"]], False),
        ([{"steps": [1.0]}], [{"steps": [1.0 + 1e-9]}], True),
        ([{"steps": [1.0]}], [{"stops": [1.0]}], False),
        ([], [1], False),
        ("ab", ["a", "b"], False),
    ],
)
def test_values_that_are_no_measured_numbers_are_compared_as_they_are(
    old: Any, new: Any, stands: bool
) -> None:
    assert verification.same(Finding("ui.x", "x", value=old), Finding("ui.x", "x", value=new)) is stands


# Hostile zips. What each does is said by its name.


def entry(name: str, *, mode: int = 0o100644, system: int = 3) -> zipfile.ZipInfo:
    item = zipfile.ZipInfo("placeholder")
    item.filename = item.orig_filename = name
    item.external_attr = mode << 16
    item.create_system = system
    item.compress_type = zipfile.ZIP_DEFLATED
    return item


def of(path: Path, items: Iterable[tuple[zipfile.ZipInfo, bytes]]) -> Path:
    with zipfile.ZipFile(path, "w") as packed, pytest.MonkeyPatch.context() as patch:
        # Python's own writer warns of a name that stands there twice; here it is meant.
        patch.setattr("warnings.warn", lambda *_, **__: None)
        for item, content in items:
            packed.writestr(item, content)
    return path


def unpacked(path: Path, into: Path) -> set[str]:
    into.mkdir()
    evidence.unpack(path, into, wanted=lambda _: True)
    return {item.relative_to(into).as_posix() for item in into.rglob("*") if item.is_file()}


NAMES = {
    "up": "../outside",
    "up from inside": "review/../../outside",
    "absolute": "/outside",
    "a drive": "C:/outside",
    "a drive's own folder": "C:outside",
    "backslashes": "..\\..\\outside",
    "a backslash inside": "review\\..\\outside",
    "another machine": "\\\\host\\share",
    "another stream of a file": "review/a:b",
    "a dot alone": "review/./a",
    "nothing between two slashes": "review//a",
    "blanks that some systems drop": "review/.. /outside",
    "dots that some systems drop": "review/a.",
    "a control character": "review/a\x1bb",
    "too long": "review/" + "a" * 300,
}


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_a_name_that_leads_elsewhere_is_refused(tmp_path: Path, name: str) -> None:
    good = (entry("review/good"), b"good")
    path = of(tmp_path / "evidence.zip", [good, (entry(name), b"evil")])
    with pytest.raises(InputError, match=r"evidence\.zip, its file .*refused: its name"):
        unpacked(path, tmp_path / "in")
    assert list((tmp_path / "in").iterdir()) == []
    assert sorted(item.name for item in tmp_path.iterdir()) == ["evidence.zip", "in"]


def test_a_nul_in_a_name_is_refused(tmp_path: Path) -> None:
    """Readers cut the name there, so that what is checked would not be what is written."""
    path = of(tmp_path / "evidence.zip", [(entry("review/aXb"), b"")])
    path.write_bytes(path.read_bytes().replace(b"review/aXb", b"review/a\0b"))
    with pytest.raises(InputError, match="refused"):
        unpacked(path, tmp_path / "in")


@pytest.mark.parametrize(
    "mode", [stat.S_IFLNK | 0o777, stat.S_IFIFO | 0o644, stat.S_IFCHR | 0o644, stat.S_IFDIR | 0o755]
)
def test_links_and_whatever_is_no_plain_file_are_refused(tmp_path: Path, mode: int) -> None:
    path = of(tmp_path / "evidence.zip", [(entry("review/log", mode=mode), b"/etc/hostname")])
    with pytest.raises(InputError, match=r"it is a link|it is no plain file"):
        unpacked(path, tmp_path / "in")


@pytest.mark.parametrize(
    "pair",
    [
        ("review/log", "review/log"),
        ("review/log", "review/LOG"),
        ("review/l\u00f6g", "review/lo\u0308g"),
        ("review", "review/log"),
        ("review/log/x", "review/log"),
    ],
)
def test_two_files_under_one_name_are_refused(tmp_path: Path, pair: tuple[str, str]) -> None:
    path = of(tmp_path / "evidence.zip", [(entry(name), b"x") for name in pair])
    with pytest.raises(InputError, match="two files have the same name"):
        unpacked(path, tmp_path / "in")


def test_an_encrypted_file_is_refused(tmp_path: Path) -> None:
    path = of(tmp_path / "evidence.zip", [(entry("review/log"), b"x")])
    data = bytearray(path.read_bytes())
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(data)
    with pytest.raises(InputError, match="it is encrypted"):
        unpacked(path, tmp_path / "in")


def test_an_unusual_way_of_packing_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "evidence.zip", "w", zipfile.ZIP_LZMA) as packed:
        packed.writestr("review/log", b"x" * 1000)
    with pytest.raises(InputError, match="packed in an unusual way"):
        unpacked(tmp_path / "evidence.zip", tmp_path / "in")


def test_a_file_that_unpacks_to_far_more_than_it_is_is_refused(tmp_path: Path) -> None:
    path = of(tmp_path / "evidence.zip", [(entry("review/log"), bytes(20 << 20))])
    assert path.stat().st_size < 100_000
    with pytest.raises(InputError, match="far more than a meter's log"):
        unpacked(path, tmp_path / "in")


def test_files_too_large_together_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(evidence, "MOST_BYTES", 3 << 20)
    items = [(entry(f"review/{number}"), bytes(1 << 20)) for number in range(4)]
    path = of(tmp_path / "evidence.zip", items)
    with pytest.raises(InputError, match="larger than 3 MB"):
        unpacked(path, tmp_path / "in")


@pytest.mark.parametrize(("number", "size"), [(100, 9 << 20), (100_000, 0)])
def test_evidence_that_would_fill_a_disk_is_refused_by_the_command_at_once(
    tmp_path: Path, number: int, size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A hundred files of 9 MB, each alone small enough; a hundred thousand names. Nothing is unpacked."""
    with zipfile.ZipFile(tmp_path / "evidence.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        for place in range(number):
            packed.writestr(f"review/{place}.csv", bytes(size))
    monkeypatch.setattr(zipfile.ZipFile, "open", None)
    result = call(tmp_path / "evidence.zip")
    assert result.exit_code == 2
    assert "refused" in result.stderr or "more than" in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_too_many_files_are_refused_before_their_names_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    items = [(entry(f"review/{number}"), b"") for number in range(evidence.MOST_FILES + 1)]
    path = of(tmp_path / "evidence.zip", items)
    monkeypatch.setattr(zipfile, "ZipFile", None)
    with pytest.raises(InputError, match="more than 2000 files"):
        unpacked(path, tmp_path / "in")


def test_a_size_that_is_a_lie_gives_no_more_than_it_says(tmp_path: Path) -> None:
    """The table of contents says ten bytes of a file of ten million: at most ten are ever unpacked."""
    path = of(tmp_path / "evidence.zip", [(entry("review/log"), bytes(10_000_000))])
    data = path.read_bytes()
    path.write_bytes(data.replace(struct.pack("<L", 10_000_000), struct.pack("<L", 10)))
    with pytest.raises(InputError, match="refused: it is damaged"):
        unpacked(path, tmp_path / "in")
    assert sum(item.stat().st_size for item in (tmp_path / "in").rglob("*") if item.is_file()) <= 10


@pytest.mark.parametrize("size", [0, 1, 21, 22, 100, -1, -30])
def test_what_is_cut_short_or_no_zip_is_a_plain_fault(site: Path, tmp_path: Path, size: int) -> None:
    whole = (site / "lantern" / "evidence.zip").read_bytes()
    for content in (whole[:size], b"\0" * max(size, 0)):
        path = tmp_path / "evidence.zip"
        path.write_bytes(content)
        with pytest.raises(InputError, match=r"evidence\.zip: refused: it is damaged, or no zip file"):
            reviewkit.verify(path, only_templates=[FILES / "templates"])


def test_any_byte_may_be_wrong(site: Path, tmp_path: Path) -> None:
    """Bytes flipped one at a time: what comes out is what was packed, or a plain fault."""
    whole = bytearray((site / "lantern" / "evidence.zip").read_bytes())
    good = contents(site / "lantern" / "evidence.zip")
    path = tmp_path / "evidence.zip"
    for number, place in enumerate(range(0, len(whole), 37)):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0xFF]) + whole[place + 1 :])
        into = tmp_path / str(number)
        try:
            names = unpacked(path, into)
        except InputError:
            continue
        for name in names & set(good):
            assert (into / name).read_bytes() == good[name]


def test_folders_of_their_own_and_empty_files_are_no_fault(tmp_path: Path) -> None:
    """Zipped again with another program, evidence has entries for its folders."""
    folder = (entry("review/logs/", mode=stat.S_IFDIR | 0o755, system=0), b"")
    path = of(tmp_path / "evidence.zip", [folder, (entry("review/logs/log"), b"")])
    assert unpacked(path, tmp_path / "in") == {"review/logs/log"}
