"""The section as a reader meets it: the invented devices, findings, figures, the note to the maker."""

from __future__ import annotations

import csv
import itertools
import json
import math
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
import ui_machines as small
import yaml
from markdown_it import MarkdownIt
from simulate import ui_states as invented

from reviewkit import figures, findings
from reviewkit import ui_states as ui
from reviewkit.drawing import ink
from reviewkit.figures import sheet
from reviewkit.findings import displays
from reviewkit.sections import template
from reviewkit.ui_states import layout

ROOT = Path(__file__).resolve().parent.parent
TEMPLATE = ROOT / "templates" / "ui_states.ipynb"


def result_of(device, **more):
    folder = ROOT / "examples" / device
    written = yaml.safe_load((folder / "review.yaml").read_text(encoding="utf-8"))
    own = {name: value for name, value in written.items() if name.startswith("ui_") or name == "device"}
    return ui.analyse(ui.inputs(**(own | more)), folder=folder)


@pytest.mark.parametrize("device", ["alder", "birch"])
def test_an_invented_device_gives_what_is_true_of_it(device):
    truth = json.loads((ROOT / "examples" / "truth" / f"{device}.json").read_text(encoding="utf-8"))[
        "ui_states"
    ]
    found = ui.findings(result_of(device))
    for name in ("hazards", "precautions", "untested", "contradictions"):
        assert found.get(f"ui.{name}").value == truth[name], name
    assert [item["states"] for item in found.get("ui.ambiguous_signals").value] == truth["ambiguous_signals"]


@pytest.mark.parametrize("device", ["alder", "birch"])
def test_the_committed_table_is_the_generators(device, tmp_path):
    known = {}
    (tmp_path / device).mkdir()
    invented.write(tmp_path / device, known)
    made = (tmp_path / device / "transitions.csv").read_bytes()
    assert made == (ROOT / "examples" / device / "transitions.csv").read_bytes()
    assert known["ui_states"]["hazards"]


def test_alders_charging_comes_back_only_when_it_was_locked_first():
    result = result_of("alder")
    assert [(item.leave_in, item.ends_in) for item in result.hazards] == [("charging", "idle on cable")]
    assert "charging" not in result.safe
    assert "charging locked" in result.safe
    (change,) = result.changes
    assert (change.state, change.event, change.instead, change.remains) == (
        "no power",
        "power back",
        "charging",
        0,
    )


def test_birch_lights_up_in_the_bag_after_its_cell_was_changed():
    result = result_of("birch")
    worst = result.hazards[0]
    assert (worst.leave_in, worst.ends_in, worst.light_percent) == ("locked", "high", 100)
    assert result.next_trials[0].state == "full"
    assert [step.trial for step in result.plan.steps][-1]
    assert result.coverage.untested == (("full", "power lost"),)


def test_every_finding_reads_as_text_and_goes_to_json_and_back():
    for device in ("alder", "birch"):
        for item in ui.findings(result_of(device)):
            assert item.note.rstrip().endswith("."), item.key
            assert item.text
            again = json.loads(json.dumps(item.to_dict(), allow_nan=False))
            back = findings.Finding.from_dict(again).to_dict()
            assert {**back, "budget": []} == {**again, "budget": []}
            assert len(back["budget"]) == len(again["budget"])
            assert item.inputs == ("transitions.csv",)


def test_keys_are_the_same_with_and_without_data():
    nothing = {item.key for item in ui.findings(ui.analyse(ui.inputs()))}
    some = {item.key for item in ui.findings(result_of("birch"))}
    assert nothing == some
    assert {"ui.hazards", "ui.safe_to_leave", "ui.precautions", "ui.untested"} <= nothing
    assert {"ui.contradictions", "ui.ambiguous_signals"} <= nothing


def test_the_template_declares_what_its_model_takes():
    section = template.read(TEMPLATE)
    assert (section.kind, section.place, section.about.makes) == ("section", 40, ("ui.",))
    assert section.names == set(ui.UiInputs.model_fields)
    assert section.faults({}, ROOT) == []
    cells = json.loads(TEMPLATE.read_text(encoding="utf-8"))["cells"]
    assert all(not cell.get("outputs") for cell in cells)


def test_the_template_runs_without_any_data(tmp_path):
    """Every call of the notebook, on nothing: a sentence in place of each figure and table."""
    result = ui.analyse(ui.inputs(), folder=tmp_path)
    shown = [figures.witnesses(result), figures.state_graph(result), figures.trials_grid(result)]
    assert all("No states" in repr(item) for item in shown)
    for listed in (ui.precaution_list, ui.change_list, ui.trial_list, ui.signal_table):
        assert "No states" in listed(result)._repr_mimebundle_()["text/plain"]


def test_the_note_to_the_maker_holds_steps_trials_expectation_and_severity():
    note = ui.note_to_maker(result_of("birch"))
    for words in (
        "1. Leave it in “locked”.",
        "2. Event: cell changed by someone else.",
        "(10 of 10",
        "Video: 5:10",
        "Expected: the light stays off",
        "Severity: light at 100 %",
        "go to “locked” instead of “standby”; no hazard is left",
        "can’t be told apart",
        "Power lost in full",
    ):
        assert words in note.markdown.translate(dict.fromkeys((0xA0, 0x2009, 0x202F), " "))
    bundle = note._repr_mimebundle_()
    assert set(bundle[displays.EXTRA_PAGE_MIME]) == {"name", "title", "markdown"}
    assert displays.ExtraPage.from_dict(bundle[displays.EXTRA_PAGE_MIME]) == note
    assert bundle["text/markdown"].startswith("# Note to the maker of Birch")


HOSTILE = "<script>alert(1)</script> *b* [x](javascript:y) `c` | {q}"


def test_hostile_names_stay_text_everywhere():
    states = {"standby": {}, HOSTILE: {"light_percent": 100, "shows": HOSTILE}}
    rows = [
        {"state": "standby", "event": "power lost", "next": HOSTILE, "remark": HOSTILE},
        {"state": HOSTILE, "event": "power back", "next": "standby"},
    ]
    bench = ui.inputs(
        device={"name": HOSTILE}, ui_states=states, ui_transitions=rows, ui_leave_in=["standby"]
    )
    result = ui.analyse(bench)
    page = MarkdownIt("commonmark", {"html": False}).render(ui.note_to_maker(result).markdown)
    assert "<script" not in page
    assert "<a " not in page
    assert "<em>" not in page
    assert "<script" not in ui.signal_table(result)._repr_mimebundle_()["text/html"]
    for listed in (ui.precaution_list, ui.change_list, ui.trial_list):
        shown = MarkdownIt("commonmark").render(listed(result)._repr_mimebundle_()["text/markdown"])
        assert "<script" not in shown
        assert "<em>" not in shown
    for chart in (figures.state_graph(result), figures.trials_grid(result), *figures.witnesses(result).items):
        assert "<script" not in chart.figure.to_json()


@pytest.mark.parametrize("name", ["", "Note", "a b", "../x", "a--b", "x.html"])
def test_an_extra_pages_name_is_a_file_name(name):
    with pytest.raises(ValueError, match="no name of a page"):
        displays.ExtraPage(name, "t", "m")


def test_charts_use_only_colours_that_have_a_dark_partner():
    import re

    for device in ("alder", "birch"):
        result = result_of(device)
        for chart in (
            figures.state_graph(result),
            figures.trials_grid(result),
            *figures.witnesses(result).items,
        ):
            used = set(re.findall(r"#[0-9a-f]{6}", chart.figure.to_json().lower()))
            assert used <= set(sheet.LIGHT_TO_DARK)
            assert chart.answer.endswith(".")
            assert len(chart.table) > 0


def test_the_state_graph_shows_what_happens_with_no_one_there_and_hazards_thick():
    drawing = ui.drawing(result_of("alder"))
    assert len(drawing.nodes) == 12
    chart = figures.state_graph(result_of("alder"))
    assert {trace.line.dash for trace in chart.figure.data} == {None}
    thick = [trace for trace in chart.figure.data if trace.line.width > 3]
    assert len(thick) == sum(line.hazardous for line in drawing.lines) == 2
    assert set(chart.table["by"]) == {"hand", "outside"}


@pytest.mark.parametrize("seed", range(30))
def test_boxes_never_overlap_and_every_change_from_outside_is_on_the_drawing(seed):
    made = small.random_machine(seed)
    drawing = layout.draw(made)
    for one, other in ((a, b) for a in drawing.nodes for b in drawing.nodes if a.name < b.name):
        apart_x = abs(one.x - other.x) >= 2 * layout.HALF_WIDTH
        assert apart_x or abs(one.y - other.y) >= 2 * layout.HALF_HEIGHT
    shown = {(line.state, name, line.next) for line in drawing.lines for name in line.events}
    outside = [edge for edge in made.edges if made.events[edge.event].outside]
    assert shown == {(e.state, e.event, e.next) for e in outside if e.state != e.next}
    for line in drawing.lines:
        assert all(math.isfinite(value) for point in line.points for value in point)
        assert 0 <= line.label[0] <= layout.WIDTH


def test_the_drawing_is_the_same_in_every_process(tmp_path):
    given = {
        name: value
        for name, value in yaml.safe_load((ROOT / "examples/alder/review.yaml").read_text("utf-8")).items()
        if name.startswith("ui_") or name == "device"
    }
    (tmp_path / "given.json").write_text(json.dumps(given), encoding="utf-8")
    asked = (
        "import json, pathlib, sys; from reviewkit import ui_states as ui; "
        "given = json.loads(pathlib.Path(sys.argv[1]).read_text('utf-8')); "
        "print(ui.drawing(ui.analyse(ui.inputs(**given), folder=pathlib.Path(sys.argv[2]))))"
    )
    command = [sys.executable, "-c", asked, str(tmp_path / "given.json"), str(ROOT / "examples" / "alder")]
    first, second = (
        subprocess.run(
            command, env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        ).stdout
        for seed in ("0", "1")
    )
    assert first == second
    assert b"Line(" in first


def twelve(seed):
    """Twelve states, most of which one leads to from outside, and fifteen ways between them."""
    draw = random.Random(seed)
    names = [f"state {place}" for place in range(12)]
    outside = [name for name, event in small.EVENTS.items() if event.outside]
    ways = set()
    for place in range(1, 12):
        pair = (names[draw.randrange(place)], names[place])
        ways.add(pair if draw.random() < 0.7 else pair[::-1])
    while len(ways) < 15:
        ways.add(tuple(draw.sample(names, 2)))
    moves = [(one, draw.choice(outside), other) for one, other in sorted(ways)]
    return layout.draw(small.machine([*moves, (names[0], "press", names[5])]))


def box_of(line):
    """Where a line's label lies."""
    half = 12 * ink.advance(line.text, bold=True) / 2
    return ink.Box(line.label[0] - half, line.label[1] - 6, line.label[0] + half, line.label[1] + 6)


@pytest.mark.parametrize("seed", range(30))
def test_twelve_states_can_be_read(seed):
    """At most three beside each other, three pairs of lines that cross, none behind a name, no label hidden.

    The limits are what thirty drawings hold: 19 of them cross nowhere.
    """
    drawing = twelve(seed)
    rows = [sum(node.y == y for node in drawing.nodes) for y in {node.y for node in drawing.nodes}]
    assert max(rows) <= 3
    apart = [
        pair
        for pair in itertools.combinations(drawing.lines, 2)
        if not {pair[0].state, pair[0].next} & {pair[1].state, pair[1].next}
    ]
    assert sum(crossed(*pair) for pair in apart) <= 3
    for line in drawing.lines:
        for node in drawing.nodes:
            if node.name not in (line.state, line.next):
                assert not any(abs(x - node.x) < 36 and abs(y - node.y) < 16 for x, y in line.points)
            assert (
                abs(line.label[0] - node.x) > layout.HALF_WIDTH
                or abs(line.label[1] - node.y) > layout.HALF_HEIGHT
            )
        assert all(0 <= x <= layout.WIDTH and -drawing.height <= y <= 0 for x, y in line.points)
    labels = [box_of(line) for line in drawing.lines]
    assert not [pair for pair in itertools.combinations(labels, 2) if pair[0].meets(pair[1])]


def crossed(one, other):
    """Whether two lines cross: whether pieces of them part each other’s ends."""

    def side(a, b, c):
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    pieces = itertools.product(itertools.pairwise(one.points), itertools.pairwise(other.points))
    return any(
        side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0 for (a, b), (c, d) in pieces
    )


def test_the_table_is_plain_csv():
    with (ROOT / "examples" / "birch" / "transitions.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["state", "event", "next", "seen", "tried", "remark", "video"]
