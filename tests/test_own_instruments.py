"""One's own meters, declared once: found, put in, kept with the evidence, noticed when they change."""

from __future__ import annotations

import json
import shutil
import zipfile
from pathlib import Path
from typing import Any

import pytest
import yaml

import reviewkit
from reviewkit import charge, commands, planning
from reviewkit.comparison.rows import sharing
from reviewkit.errors import Faults, InputError
from reviewkit.pipeline import cache, loading
from reviewkit.preview.build import look
from reviewkit.review import review_file
from reviewkit.schema import instruments
from reviewkit.sections import template

pytestmark = pytest.mark.usefixtures("libraries_ready")

ALDER = Path(__file__).parents[1] / "examples" / "alder"
BENCH: dict[str, Any] = {
    "bench voltmeter": {
        "accuracy": "±(0.05 % + 2)",
        "resolution": "1 mV",
        "full_scale": "6 V",
        "input_ohm": 10000000,
        "last_check": "2025-11-03, against a 2.5 V reference",
    },
    "bench C": {
        "serial": "C-17",
        "last_check": "2025-11-03",
        "leads_ohm": 0.02,
        "ranges": [
            {"full_scale": "600 mV", "accuracy": "0.5 % + 2", "resolution": "0.1 mV", "input_ohm": 1e7},
            {"full_scale": "6 V", "accuracy": "0.5 % + 2", "resolution": "1 mV", "input_ohm": 1e7},
            {"full_scale": "600 mA", "accuracy": "1 % + 3", "resolution": "0.1 mA", "burden_ohm": 1},
            {"full_scale": "10 A", "accuracy": "1.5 % + 5", "resolution": "10 mA", "burden_ohm": 0.01},
        ],
    },
}


def write(path: Path, values: Any) -> Path:
    path.write_text(yaml.safe_dump(values, allow_unicode=True, sort_keys=False), encoding="utf-8")
    return path


def put_in(folder: Path, **values: Any) -> dict[str, Any]:
    faults: list[InputError] = []
    done, _ = instruments.put_in(values, folder, faults)
    if faults:
        raise Faults(faults)
    return done


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """A folder of reviews with a file of meters above one of them."""
    write(tmp_path / "instruments.yaml", BENCH)
    (tmp_path / "reviews" / "lamp").mkdir(parents=True)
    return tmp_path / "reviews" / "lamp"


def test_a_meter_by_name_is_written_out(bench: Path) -> None:
    assert put_in(bench, voltmeter="bench voltmeter")["voltmeter"] == {
        "name": "bench voltmeter",
        **BENCH["bench voltmeter"],
    }


def test_a_meter_of_both_kinds_gives_the_ranges_that_the_key_asks_for(bench: Path) -> None:
    done = put_in(bench, voltmeter="bench C, 6 V range", drain_ammeter="bench C", cell={"label": "bench C"})
    assert done["voltmeter"] == {
        "name": "bench C",
        "serial": "C-17",
        "last_check": "2025-11-03",
        "full_scale": "6 V",
        "accuracy": "0.5 % + 2",
        "resolution": "1 mV",
        "input_ohm": 1e7,
    }
    assert [one["full_scale"] for one in done["drain_ammeter"]["ranges"]] == ["600 mA", "10 A"]
    assert done["drain_ammeter"]["leads_ohm"] == 0.02
    assert done["cell"] == {"label": "bench C"}
    read = charge.inputs(voltmeter=done["voltmeter"], ammeter=done["drain_ammeter"])
    assert read.voltmeter.meter().half_width(4.0) == pytest.approx(0.02 + 0.002)
    assert read.ammeter.meter(10).half_width(2.0) == pytest.approx(0.03 + 0.05)
    assert read.ammeter.meter(10).series_ohm == pytest.approx(0.03)


@pytest.mark.parametrize("written", ["bench C, 6 V", "bench C,6000 mV range", " bench C , 6.0 V range "])
def test_a_range_is_read_as_people_write_it(bench: Path, written: str) -> None:
    assert put_in(bench, readout_voltmeter=written)["readout_voltmeter"]["full_scale"] == "6 V"


def test_a_parameter_cell_and_a_plan_take_the_same_names(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(bench)
    read = charge.inputs({"voltmeter": "bench C, 6 V range", "ammeter": "bench C, 10 A range", "other": 1})
    assert read.ammeter.meter().label == "bench C, 10 A range"
    session = planning.inputs(
        {"cell": {"rated_capacity_Ah": 3}, "voltmeter": "bench voltmeter", "ammeter": "bench C"}
    )
    assert [one.full_scale for one in session.ranges()] == [0.6, 10]
    with pytest.raises(Faults, match="'bench voltmeter'"):
        charge.inputs({"voltmeter": "bench volmeter"})


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("bench D", r"no meter 'bench D' is declared in \.\./\.\./instruments\.yaml; expected 'bench C'"),
        (
            "bench C, 60 V range",
            r"bench C: the meter has no range of 60 V; expected one of its ranges: 600 mV, 6 V",
        ),
        ("±(0.5 % + 2)", "no meter '±"),
    ],
)
def test_what_is_not_there_is_told_with_what_is(bench: Path, written: str, told: str) -> None:
    with pytest.raises(Faults, match=told):
        put_in(bench, voltmeter=written)


def test_without_any_file_the_name_alone_says_nothing(tmp_path: Path) -> None:
    with pytest.raises(Faults, match=r"'bench A' is a meter by name, and there is no instruments\.yaml"):
        put_in(tmp_path, voltmeter="bench A")


def test_two_files_that_differ_are_both_named_and_the_key(bench: Path) -> None:
    near = {"bench C": {**BENCH["bench C"], "leads_ohm": 0.03}, "mine": BENCH["bench voltmeter"]}
    write(bench / "instruments.yaml", near)
    with pytest.raises(Faults, match=r"in 'leads_ohm': instruments\.yaml and \.\./\.\./instruments\.yaml"):
        put_in(bench, ammeter="bench C")
    # What this review does not name is no matter to it; and both files count.
    assert put_in(bench, voltmeter="mine", readout_voltmeter="bench voltmeter")


@pytest.mark.parametrize(
    ("block", "told"),
    [
        ({"accuracy": "0.5 % + 2", "resolution": 0.001, "full_scale": 6}, "neither by its full_scale nor"),
        ({"acuracy": "0.5 % + 2", "resolution": "1 mV"}, "no such key 'acuracy'.*Did you mean 'accuracy'"),
        ({"ranges": [{"resolution": "1 mV"}, {"resolution": "1 mA"}]}, "one has no full_scale"),
        ("0.5 % + 2", "a meter is a block of keys"),
    ],
)
def test_a_fault_in_the_file_is_told_as_of_that_file(tmp_path: Path, block: Any, told: str) -> None:
    write(tmp_path / "instruments.yaml", {"mine": block})
    with pytest.raises(Faults, match=rf"^instruments\.yaml, mine.*{told}"):
        put_in(tmp_path, voltmeter="mine")


def test_a_file_for_a_newer_kit_is_told_in_a_plain_sentence(bench: Path) -> None:
    write(bench / "instruments.yaml", {"schema": 7, "bench X": {}})
    with pytest.raises(Faults, match=r"written for a newer kit \(schema 7\).*Update the kit"):
        put_in(bench, voltmeter="bench C")
    (bench / "review.yaml").write_text("schema: 2\ndevice: {name: Lamp}\nnew_key: 1\n", encoding="utf-8")
    (told,) = commands.check(bench)
    assert "newer kit (schema 2)" in told.message
    (bench / "review.yaml").write_text("schema: 1\ndevice: {name: Lamp}\n", encoding="utf-8")
    assert commands.check(bench) == ()


# ---------------------------------------------------------------- whole reviews


def named_alder(folder: Path, *, meters: Any = BENCH) -> Path:
    """Alder with its voltmeter by name, beside a file of meters."""
    alder = Path(shutil.copytree(ALDER, folder / "alder"))
    text = (alder / "review.yaml").read_text(encoding="utf-8")
    start, end = text.index("voltmeter:\n"), text.index("ammeter:\n")
    text = text[:start] + "voltmeter: bench voltmeter\n\n" + text[end:]
    (alder / "review.yaml").write_text(text, encoding="utf-8")
    write(folder / "instruments.yaml", meters)
    return alder


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The folder of reviews, and where Alder was published from it."""
    folder = tmp_path_factory.mktemp("bench")
    alder = named_alder(folder)
    assert commands.check(alder) == ()
    reviewkit.run(alder, out=folder / "site")
    return folder, folder / "site" / "alder"


def changed(meter: str, **keys: Any) -> dict[str, Any]:
    return {**BENCH, meter: {**BENCH[meter], **keys}}


def test_a_review_with_meters_by_name_is_the_review_with_them_written_out(
    published: tuple[Path, Path],
) -> None:
    found = json.loads((published[1] / "findings.json").read_text(encoding="utf-8"))
    golden = Path(__file__).parent / "golden"
    assert found["declared"]["voltmeter"] == {"name": "bench voltmeter", **BENCH["bench voltmeter"]}
    assert golden.is_dir()
    assert [item["path"] for item in found["inputs"]].count("instruments.yaml") == 1


def test_the_evidence_holds_what_was_used_and_is_verified_by_itself(
    published: tuple[Path, Path], tmp_path: Path
) -> None:
    with zipfile.ZipFile(published[1] / "evidence.zip") as packed:
        held = yaml.safe_load(packed.read("review/instruments.yaml"))
        assert all(b"C-17" not in packed.read(name) for name in packed.namelist())
    assert held == {"bench voltmeter": BENCH["bench voltmeter"]}
    # Another such file above the place where it is unpacked is no matter.
    alone = shutil.copy(published[1] / "evidence.zip", tmp_path / "evidence.zip")
    (verified,) = reviewkit.verify(alone)
    assert verified.stands


def test_only_a_change_of_what_is_used_makes_the_review_another(published: tuple[Path, Path]) -> None:
    folder, place = published
    wanted = cache.RunOptions(folder / "site")
    write(folder / "instruments.yaml", BENCH)
    assert cache.among([folder / "alder"], wanted)
    write(folder / "instruments.yaml", changed("bench C", serial="C-18"))
    assert cache.among([folder / "alder"], wanted)
    write(folder / "instruments.yaml", changed("bench voltmeter", accuracy="±(0.1 % + 2)"))
    assert not cache.among([folder / "alder"], wanted)
    (fault,) = commands.check(folder / "alder", out=folder / "site")
    assert "made from other data: voltmeter.accuracy in instruments.yaml" in fault.message
    # Another such file nearer to the review, declaring the same: still the same review.
    write(folder / "instruments.yaml", BENCH)
    write(folder / "alder" / "instruments.yaml", {"bench voltmeter": BENCH["bench voltmeter"]})
    assert cache.among([folder / "alder"], wanted)
    assert commands.check(folder / "alder", out=folder / "site") == ()
    (folder / "alder" / "instruments.yaml").unlink()
    assert place.is_dir()


def test_written_out_or_by_name_it_is_the_same_edition(published: tuple[Path, Path], tmp_path: Path) -> None:
    folder = Path(shutil.copytree(published[0], tmp_path / "again"))
    shutil.copy(ALDER / "review.yaml", folder / "alder" / "review.yaml")
    assert commands.check(folder / "alder", out=folder / "site") == ()


def test_a_change_while_the_review_is_run_is_noticed(published: tuple[Path, Path]) -> None:
    folder, _ = published
    (file,) = loading.read([folder / "alder"], template.discover())
    assert file.is_still_so()
    before = file.seen[-1]
    assert before.path == "instruments.yaml"
    write(folder / "instruments.yaml", changed("bench voltmeter", full_scale="60 V"))
    now = review_file.fingerprints.of_text(before.path, file.meters.again(file.folder))
    assert not file.is_still_so()
    write(folder / "instruments.yaml", BENCH)
    assert now.sha256 != before.sha256
    assert review_file.fingerprints.of_text(before.path, file.meters.again(file.folder)) == before


# ---------------------------------------------------------------- identity in comparisons


def declared(bench: Path, **values: Any) -> dict[str, Any]:
    return put_in(bench, **values)


def test_two_reviews_that_name_one_meter_share_it_and_no_other(bench: Path, tmp_path: Path) -> None:
    ours = declared(bench, voltmeter="bench C")
    theirs = declared(bench, voltmeter="bench C, 6 V range")
    assert sharing(ours, theirs).names == {"bench C": "bench C"}
    write(tmp_path / "instruments.yaml", changed("bench C", serial="C-18"))
    other = declared(bench, voltmeter="bench C, 6 V range")
    assert sharing(ours, other).names == {}
    assert sharing(ours, other).apart == (("bench C", "two serial numbers"),)
    unnamed = {"voltmeter": {"accuracy": "0.5 % + 2", "resolution": "1 mV", "full_scale": "6 V"}}
    assert sharing(unnamed, unnamed).names == {}


def test_a_review_in_a_parameter_cell_takes_the_names_that_its_folder_knows(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(bench)
    cell = {"device": {"name": "Lamp"}, "voltmeter": "bench C, 6 V range", "write_to": "kept"}
    assert reviewkit.filled_in(cell).values["voltmeter"]["serial"] == "C-17"
    assert "voltmeter: bench C, 6 V range" in (bench / "kept" / "review.yaml").read_text(encoding="utf-8")
    with pytest.raises(Faults, match="parameter cell, voltmeter: no meter 'bench D'"):
        reviewkit.filled_in({**cell, "voltmeter": "bench D"})


# ---------------------------------------------------------------- what there is, and what is missing


def test_the_list_says_which_review_uses_what_and_what_is_missing(tmp_path: Path) -> None:
    meters = {
        **BENCH,
        "old": {
            "last_check": "3 Nov 2023",
            "ranges": [
                {"full_scale": "6 V", "accuracy": "0.5 % + 2 @ 23 °C, 1 year", "resolution": "1 mV"},
                {"full_scale": "60 V", "accuracy": "0.5 % + 2 @ 23 °C, 5 years", "resolution": "10 mV"},
                {"full_scale": "10 A", "resolution": "10 mA"},
            ],
        },
    }
    write(tmp_path / "instruments.yaml", meters)
    dated = {"device": {"name": "Lamp"}, "review": {"date": "14.02.2026", "edition": 0}}
    for name, more in {
        "first": {"voltmeter": "old, 6 V range", "ammeter": "old"},
        "second": {"voltmeter": "old, 60 V range", "ammeter": {"accuracy": "1 % + 2", "resolution": "1 mA"}},
        "third": {"voltmeter": "odl"},
    }.items():
        (tmp_path / name).mkdir()
        write(tmp_path / name / "review.yaml", dated | more)
    told = str(commands.instruments_of(tmp_path))
    assert "bench C, serial C-17, last check 2025-11-03\n" in told
    assert "6 V range: 0.5\u202f% of the reading + 2 counts of the last digit" in told
    assert "used by first: voltmeter; first: ammeter; second: voltmeter" in told
    missing = [line.strip() for line in told.splitlines() if "missing:" in line]
    assert missing == [
        "missing: a check: the 6 V range's accuracy is stated for 365 days, and on 2026-02-14 (first) the "
        "last check was 834 days ago",
        "missing: 10 A range: a meter needs its accuracy, such as '±(0.5 % + 2)' (first uses it)",
    ]
    assert "second writes out its ammeter, 'without a name'." in told
    assert "third: review.yaml, voltmeter: no meter 'odl' is declared in ../instruments.yaml" in told
    assert told.count("used by no review below here") == 2


def test_without_any_meters_the_list_says_so(tmp_path: Path) -> None:
    assert str(commands.instruments_of(tmp_path)).startswith("There is no instruments.yaml")
    with pytest.raises(InputError, match="no such folder"):
        commands.instruments_of(tmp_path / "gone")


def test_start_offers_the_meters_that_there_are(tmp_path: Path) -> None:
    write(tmp_path / "instruments.yaml", BENCH)
    reviewkit.start(tmp_path / "lamp")
    lines = (tmp_path / "lamp" / "review.yaml").read_text(encoding="utf-8").splitlines()
    (voltmeter,) = [line for line in lines if line.startswith("#voltmeter:")]
    (ammeter,) = [line for line in lines if line.startswith("#ammeter:")]
    own = "   ## as instruments.yaml has it, or: "
    assert voltmeter == f"#voltmeter: bench voltmeter{own}bench C, 6 V range; bench C, 600 mV range"
    assert ammeter == f"#ammeter: bench C, 10 A range{own}bench C, 600 mA range"
    assert commands.check(tmp_path / "lamp") == ()


def test_a_preview_looks_at_the_files_that_declare_its_meters(bench: Path) -> None:
    watched = [bench, *instruments.places(bench)]
    before = look(watched)
    above = str(bench.parents[1] / "instruments.yaml")
    assert above in before
    write(bench.parents[1] / "instruments.yaml", changed("bench C", serial="another"))
    assert look(watched) != before
    write(bench.parent / "instruments.yaml", {})
    assert set(look(watched)) - set(before) == {str(bench.parent / "instruments.yaml")}
