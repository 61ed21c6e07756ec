"""Every public function has an example in its docstring, and every example is true.

They run in a clone of the project, with what the notebooks call `session`, `record` and `result` at hand,
`drained`, `slept`, `results`, `apart` and `read_out` what other sections found, `birch` a review folder,
`birch_copy` one to write in,
`film_file` a film of a light, `filmed` what it tells,
`site` the folder that both invented devices were published in, and `empty` an empty one.
"""

from __future__ import annotations

import doctest
import importlib
import inspect
import pydoc
import shutil
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import yaml

import reviewkit
from reviewkit import bench_day, charge, commands, comparison, drain, film, planning, readout, summary
from reviewkit import ui_states as ui
from tests.films import render

ROOT = Path(__file__).parents[1]


class _Spaces(doctest.OutputChecker):
    """What the kit keeps on one line with no-break spaces is written with spaces in a docstring."""

    def check_output(self, want: str, got: str, optionflags: int) -> bool:
        return super().check_output(want, got.replace("\u00a0", " "), optionflags)


SECTIONS = ("drain", "readout", "ui_states")
ROOMS = (
    "bench_day",
    "charge",
    "commands",
    "comparison",
    "figures",
    "film",
    "findings",
    "following",
    "logs",
    "metrology",
    "planning",
    "summary",
    *SECTIONS,
)


def _public() -> Iterator[tuple[str, tuple[Callable[..., Any], dict[str, Any]]]]:
    """Give each public function with the names that its room, or the kit itself, hands out."""
    seen = set()
    for room in (reviewkit, *(importlib.import_module(f"reviewkit.{name}") for name in ROOMS)):
        names = {**vars(room), **{name: getattr(room, name) for name in room.__all__}}
        for name, found in names.items():
            # What is at hand beside the room's public names has an example where it is worth one.
            is_wanted = name in room.__all__ or "Examples" in (getattr(found, "__doc__", "") or "")
            # The kit itself hands out some of what its rooms do.
            if inspect.isfunction(found) and is_wanted and found not in seen:
                seen.add(found)
                yield f"{room.__name__}.{name}", (found, names)


PUBLIC = dict(_public())


def _filmed(path: Path) -> film.Told:
    """A light that tells one reading, three and two, in a small film."""
    (pulses,), end_s = render.readings(
        [(3, 2)], lit_s=0.15, dark_s=0.15, pause_s=0.6, between_s=1.5, start_s=1.3
    )
    light = render.Light(0.5, 0.5, 0.03, "green", 2.0, tuple(pulses))
    render.render(render.Scene(320, 180, Fraction(30), "libx264", end_s, (light,), 1), path)
    return film.tell(path, rule={"groups": ["units", "tenths"]})


@pytest.fixture(scope="module")
def at_hand(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What the examples use besides what their own modules hold."""
    site = tmp_path_factory.mktemp("site")
    commands.run(ROOT / "examples" / "alder", ROOT / "examples" / "birch", out=site)
    alder = yaml.safe_load((ROOT / "examples" / "alder" / "review.yaml").read_text(encoding="utf-8"))
    charged = {key: alder[key] for key in ("cell", "voltmeter", "ammeter", "charge_runs")}
    birch = yaml.safe_load((ROOT / "examples" / "birch" / "review.yaml").read_text(encoding="utf-8"))
    bench = ui.inputs(birch)
    standby = {"name": "standby", "reading_A": "45 uA", "range_full_scale_A": "600 uA"}
    ammeter = {"accuracy": "±(1 % + 3)", "resolution": "0.1 uA", "burden_ohm": 100}
    meters = (
        {"accuracy": "±(0.5 % + 2)", "resolution": "1 mV"},
        {"accuracy": "±(1 % + 3)", "resolution": "1 mA"},
    )
    bench_of_alder = charge.inputs(**charged)
    records = charge.read(bench_of_alder, folder=ROOT / "examples" / "alder")
    results = charge.analyse(records, cell=bench_of_alder.cell)
    copied = shutil.copytree(ROOT / "examples" / "birch", tmp_path_factory.mktemp("bench") / "birch")
    film_file = tmp_path_factory.mktemp("filmed") / "film.mp4"
    filmed = _filmed(film_file)
    return {
        "alder": alder,
        "bench_day": bench_day,
        "film_file": film_file,
        "filmed": filmed,
        "birch_copy": Path(copied),
        "planned": {"voltmeter": meters[0], "ammeter": meters[1]},
        "results": results,
        "apart": charge.separate_all(results, bench_of_alder),
        "together": comparison.open_all([str(site / "alder"), str(site / "birch")]),
        "reviewkit": reviewkit,
        "ui": ui,
        "bench": bench_of_alder,
        "folder": ROOT / "examples" / "alder",
        "records": records,
        "site": site,
        "empty": tmp_path_factory.mktemp("empty"),
        "record": summary.read(str(site / "birch" / "findings.json")),
        "birch": ROOT / "examples" / "birch",
        "drained": drain.analyse(
            drain.inputs(cell={"rated_capacity_Ah": 3.0}, drain_ammeter=ammeter, drain_states=[standby])
        ),
        "slept": drain.analyse(drain.inputs(alder), folder=ROOT / "examples" / "alder"),
        "read_out": readout.analyse(readout.inputs(birch), folder=ROOT / "examples" / "birch"),
        "result": ui.analyse(bench, folder=ROOT / "examples" / "birch"),
        "session": planning.inputs(
            cell={"rated_capacity_Ah": 3.0}, voltmeter=meters[0], ammeter={**meters[1], "burden_ohm": 0.03}
        ),
    }


def test_what_is_public_is_found() -> None:
    assert {"reviewkit.run", "reviewkit.ui_states.analyse"} <= set(PUBLIC)


@pytest.mark.parametrize("name", PUBLIC)
def test_an_example_shows_how_it_is_called_and_is_true(
    name: str, at_hand: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    function, names = PUBLIC[name]
    (example,) = doctest.DocTestFinder(recurse=False).find(function, name, globs={**names, **at_hand})
    assert example.examples, f"{name} has no example"
    told: list[str] = []
    result = doctest.DocTestRunner(_Spaces()).run(example, out=told.append)
    assert not result.failed, "".join(told)


@pytest.mark.parametrize("room", SECTIONS)
def test_a_section_is_used_by_the_same_verbs(room: str) -> None:
    section = importlib.import_module(f"reviewkit.{room}")
    assert {"inputs", "check", "analyse", "findings"} <= set(section.__all__)


@pytest.mark.parametrize(
    "room", ["charge", "comparison", "findings", "logs", "metrology", "planning", "summary", *SECTIONS]
)
def test_the_help_of_a_room_is_two_screens_long(room: str) -> None:
    """A screen is 80 lines here: chosen, a terminal window of usual height on a desk's screen."""
    handed_out = importlib.import_module(f"reviewkit.{room}")
    assert pydoc.render_doc(handed_out, renderer=pydoc.plaintext).count("\n") <= 2 * 80
