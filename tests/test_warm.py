"""Notebooks run in forked children: the same outputs as in a kernel of their own, limits, and a fallback."""

from __future__ import annotations

import importlib
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest
import yaml

from reviewkit.execution import forkserver
from reviewkit.execution.execute import execute, execute_in_kernel
from reviewkit.execution.papermill_run import Outcome, Task
from reviewkit.sections import template
from reviewkit.system import disk, kit

ROOT = Path(__file__).parents[1]
SECTIONS = [part for part in template.discover() if part.kind == "section"]

linux = pytest.mark.skipif(sys.platform != "linux", reason="children are forked on Linux alone")


@pytest.fixture(scope="module")
def server() -> Iterator[forkserver.Server]:
    with forkserver.serving():
        assert forkserver._server is not None
        yield forkserver._server


def notebook(folder: Path, *cells: str) -> Path:
    path = folder / "section.ipynb"
    book = nbformat.v4.new_notebook(
        cells=[
            nbformat.v4.new_code_cell(
                "x: int = 0  # any", metadata={"tags": ["parameters"]}, id="parameters"
            ),
            *(nbformat.v4.new_code_cell(cell, id=f"c{number}") for number, cell in enumerate(cells)),
        ],
        metadata={"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}},
    )
    nbformat.write(book, path)
    return path


HANGING = (
    "import os, pathlib, time\npathlib.Path('child').write_text(str(os.getpid()))",
    "time.sleep(600)",
)
"""Cells that tell their process in a file, and then do not end."""


def without_times(outcome: Outcome) -> Any:
    """Return the executed notebook but for when each cell ran, and the id that papermill draws."""
    book = json.loads(outcome.notebook)
    book["metadata"].pop("papermill", None)
    for cell in book["cells"]:
        for name in ("papermill", "execution"):
            cell["metadata"].pop(name, None)
        if "injected-parameters" in cell["metadata"].get("tags", ()):
            del cell["id"]
        # The page of the failure is found by a mark that papermill gives a random id.
        if "papermill-error-cell-tag" in cell["metadata"].get("tags", ()):
            del cell["id"]
    return book


def same(task: Task) -> Outcome:
    """Run a task both ways and hold what the notebooks show against each other."""
    quick, plain = forkserver.execute(task), execute_in_kernel(task)
    assert quick is not None, "it fell back to a kernel"
    assert json.dumps(without_times(quick), indent=1) == json.dumps(without_times(plain), indent=1)
    assert (quick.message, quick.input_faults) == (plain.message, plain.input_faults)
    assert quick.detail == plain.detail
    return quick


@linux
@pytest.mark.parametrize("device", ["alder", "birch"])
@pytest.mark.parametrize("section", SECTIONS, ids=lambda part: part.name)
def test_every_section_shows_the_same_as_in_a_kernel(server: object, section: Any, device: str) -> None:
    folder = ROOT / "examples" / device
    values = yaml.safe_load((folder / "review.yaml").read_text(encoding="utf-8"))
    assert same(Task(section.path, section.own(values), folder)).ok


SHOWN = (
    "print('one'); print('two', end=''); print(' three')",
    "import sys\nprint('to the other stream', file=sys.stderr)\nprint('and back')",
    "from IPython.display import display, HTML, Markdown, clear_output, update_display\n"
    "handle = display(HTML('<b>first</b>'), display_id=True)\n"
    "handle.update(HTML('<b>second</b>'))\ndisplay(Markdown('*third*'))",
    "update_display('fourth', display_id=handle.display_id)\n1 + 1",
    "print('gone'); clear_output(); print('stays')\nclear_output(wait=True)\nprint('in its place')",
    "import pandas as pd\npd.DataFrame({'a': [1, 2], 'b': ['x', 'ü']})",
    "x, _, __name__, [name for name in dir() if name.startswith('_i')][:3]",
    "%%capture kept\nprint('caught')",
    "kept.stdout; kept.stdout",
    "import random\nimport numpy as np\nrandom.seed(1); np.random.seed(1)\nrandom.random(), np.random.rand()",
    "import os, time\nos.environ['TZ'], os.environ.get('USER'), time.localtime(0).tm_hour, "
    "sorted({'a', 'b', 'c'}), list({'a', 'b', 'c'}), os.environ['PYTHONHASHSEED'], os.getcwd()",
    "'' in sys.path, os.getcwd() in sys.path",
    "get_ipython().run_cell('2 + 2').result",
    "display({'text/plain': 'raw', 'application/x-own+json': {'n': [1, None, 0.1]}}, raw=True)",
    "import threading\nt = threading.Thread(target=lambda: print('from a thread')); t.start(); t.join()",
    "def deep(n):\n    return 1 / n if n == 0 else deep(n - 1)\nraise_from = None",
)


@linux
def test_streams_displays_updates_and_the_like_are_the_same(server: object, tmp_path: Path) -> None:
    assert same(Task(notebook(tmp_path, *SHOWN), {"x": 3}, tmp_path)).ok


@linux
@pytest.mark.parametrize(
    "cell",
    [
        "def deep(n):\n    return 1 / n if n == 0 else deep(n - 1)\ndeep(3)",
        "1 +",
        "input('how much? ')",
        "raise SystemExit(1)",
        "raise KeyboardInterrupt",
        "from reviewkit.errors import InputError\nraise InputError('no number', file='a.csv', place='row 3')",
        "try:\n    int('{')\nexcept ValueError as error:\n    raise RuntimeError('no') from error",
        "%no_such_magic",
        "class A:\n    def __repr__(self): raise ValueError('no words')\nA()",
        "from IPython.display import display\ndisplay({'application/x-own': {'n': 1}}, raw=True)",
    ],
)
def test_a_failure_is_the_same(server: object, tmp_path: Path, cell: str) -> None:
    path = notebook(tmp_path, "print('before')", cell, "print('never')")
    assert not same(Task(path, {}, tmp_path)).ok


@linux
@pytest.mark.parametrize(
    "cell",
    [
        "import os\nos.system('echo past the streams')",
        "from ipykernel.comm import Comm\nComm(target_name='jupyter.widget', data={})",
    ],
)
def test_what_needs_a_kernel_gets_one(server: object, tmp_path: Path, cell: str) -> None:
    task = Task(notebook(tmp_path, cell, "'done'"), {}, tmp_path)
    assert forkserver.execute(task) is None
    assert "'done'" in execute(task).notebook


@linux
def test_a_cell_that_awaits_is_run(server: object, tmp_path: Path) -> None:
    """In a kernel or, where the kernel's library can, without one."""
    task = Task(notebook(tmp_path, "import asyncio\nawait asyncio.sleep(0)", "'done'"), {}, tmp_path)
    assert "'done'" in execute(task).notebook


def test_without_a_server_a_kernel_does_it(tmp_path: Path) -> None:
    task = Task(notebook(tmp_path, "'done'"), {}, tmp_path)
    if forkserver._server is None:
        assert forkserver.execute(task) is None
    assert execute_in_kernel(task).ok


@linux
def test_values_that_json_would_change_arrive_as_they_do_in_a_kernel(server: object, tmp_path: Path) -> None:
    assert same(Task(notebook(tmp_path, "x"), {"x": {1: "a"}}, tmp_path)).ok


@linux
def test_values_are_judged_by_the_server_as_they_are_here(server: object) -> None:
    wrong = [
        {"cell": {"rated_capacity_Ah": -1}, "charge_runs": 5},
        {"readout_resolution_V": "2 apples", "drain_states": [{"name": "a", "log": "../out.csv"}]},
        {},
    ]
    given = wrong, [part.path for part in SECTIONS]
    there = forkserver.call(template.refused_there, *given)
    assert there == template.refused_there(*given)
    assert [bool(found) for found in there] == [True, True, False]
    told = [[(type(fault), fault.message) for fault in found] for found in template.refused(wrong, SECTIONS)]
    assert told == [[(type(f), f.message) for f in found] for found in template._refused(wrong, SECTIONS)]


@linux
def test_a_call_that_fails_there_is_left_to_be_made_here(server: object) -> None:
    assert forkserver.call(os.path.getsize, "/no/such/file") is None
    assert forkserver.call(os.path.basename, "a/b") == "b"


@linux
def test_a_cell_that_takes_too_long_is_stopped(server: object, tmp_path: Path) -> None:
    path = notebook(tmp_path, "'before'", "while True: pass")
    outcome = forkserver.execute(Task(path, {}, tmp_path, cell_limit_s=0.5))
    assert outcome
    assert outcome.message.startswith("it was stopped: too slow")
    assert "'before'" in outcome.notebook


@linux
def test_a_cell_that_swallows_the_stop_is_ended_all_the_same(
    server: object, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cell = "import signal\nsignal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGALRM})\nwhile True: pass"
    outcome = forkserver.execute(Task(notebook(tmp_path, cell), {}, tmp_path, cell_limit_s=0.3, grace_s=0.3))
    assert outcome
    assert outcome.message.startswith("it was stopped: too slow")


@linux
def test_a_notebook_has_a_limit_too(server: object, tmp_path: Path) -> None:
    path = notebook(tmp_path, *["import time; time.sleep(0.3)"] * 5)
    outcome = forkserver.execute(Task(path, {}, tmp_path, notebook_limit_s=0.8))
    assert outcome
    assert outcome.message.startswith("it was stopped: too slow")


@linux
def test_a_child_that_is_killed_costs_only_its_notebook(server: object, tmp_path: Path) -> None:
    path = notebook(tmp_path, "import os, signal\nos.kill(os.getpid(), signal.SIGKILL)")
    outcome = forkserver.execute(Task(path, {}, tmp_path))
    assert outcome
    assert outcome.message.startswith("it was stopped")
    assert same(Task(notebook(tmp_path, "'well'"), {}, tmp_path)).ok


@linux
def test_a_notebook_that_fills_the_memory_fails_by_itself(server: object, tmp_path: Path) -> None:
    path = notebook(tmp_path, "import numpy as np\nnp.ones(10**13)")
    outcome = forkserver.execute(Task(path, {}, tmp_path))
    assert outcome
    assert outcome.message in {f"its cell 2 failed ({name}MemoryError)" for name in ("", "_Array")}


@pytest.mark.parametrize("way", [execute_in_kernel, forkserver.execute], ids=["kernel", "child"])
def test_a_notebook_that_prints_without_end_is_refused(way: Any, tmp_path: Path) -> None:
    with forkserver.serving():
        if way is forkserver.execute and forkserver._server is None:
            pytest.skip("children are forked on Linux alone")
        path = notebook(tmp_path, "for _ in range(300): print('x' * 99)")
        outcome = way(Task(path, {}, tmp_path, printed_limit=20_000))
    assert outcome.message == "it prints more than 20000 characters"
    assert len(outcome.notebook) < 10_000


@linux
def test_children_differ_in_chance_and_share_nothing(server: object, tmp_path: Path) -> None:
    path = notebook(
        tmp_path,
        "import random\nimport numpy as np\nimport math\nmath.left = 1",
        "random.random(), np.random.rand()",
    )
    first, second = (
        without_times(forkserver.execute(Task(path, {}, tmp_path)))["cells"][-1]["outputs"] for _ in "ab"
    )
    assert first != second
    path = notebook(tmp_path, "import math\nhasattr(math, 'left')")
    assert "False" in forkserver.execute(Task(path, {}, tmp_path)).notebook  # type: ignore[union-attr]


@linux
def test_what_lies_in_the_folder_is_not_imported(server: object, tmp_path: Path) -> None:
    for name in ("numpy.py", "sitecustomize.py", "colorsys.py"):
        (tmp_path / name).write_text("raise RuntimeError('run from the folder')\n", encoding="utf-8")
    assert same(Task(notebook(tmp_path, "import numpy, colorsys\n'well'"), {}, tmp_path)).ok


@linux
def test_nothing_is_left_when_the_asking_process_is_killed(tmp_path: Path) -> None:
    hang = notebook(
        tmp_path,
        *HANGING,
    )
    code = (
        "from pathlib import Path\nfrom reviewkit.execution import forkserver\n"
        "from reviewkit.execution.papermill_run import Task\nwith forkserver.serving():\n"
        f"    forkserver.execute(Task(Path({str(hang)!r}), {{}}, Path({str(tmp_path)!r})))\n"
    )
    home = tmp_path / "tmp"
    home.mkdir()
    asking = subprocess.Popen([sys.executable, "-c", code], env={**os.environ, "TMPDIR": str(home)})
    child = _when(lambda: int((tmp_path / "child").read_text()))
    asking.send_signal(signal.SIGKILL)
    asking.wait()
    _when(lambda: not _runs(child) or None)
    _when(lambda: not list(home.iterdir()) or None)


@linux
def test_children_die_with_the_server(tmp_path: Path) -> None:
    path = notebook(
        tmp_path,
        *HANGING,
    )
    with forkserver.serving():
        assert forkserver._server
        own = forkserver._server
        asked = threading.Thread(target=lambda: execute(Task(path, {}, tmp_path, notebook_limit_s=1)))
        asked.start()
        child = _when(lambda: int((tmp_path / "child").read_text()))
        os.kill(own.process, signal.SIGKILL)
        _when(lambda: not _runs(child) or None)
        # Without a server a kernel does it.
        asked.join()
        assert execute(Task(notebook(tmp_path, "'done'"), {}, tmp_path)).ok


LINGERING = """
from pathlib import Path
from reviewkit.execution import forkserver
from reviewkit.execution.papermill_run import Task
with forkserver.serving(linger_s=3):
    print(forkserver.execute(Task(Path({path!r}), {{}}, Path({folder!r}))).ok, forkserver._server.process)
"""


@linux
def test_a_server_can_stay_ready_for_the_next_run_and_then_ends(tmp_path: Path) -> None:
    # Named by the program, this interpreter and what it may know of the machine: here, another folder.
    surroundings = {**os.environ, "TMPDIR": str(tmp_path)}
    code = LINGERING.format(path=str(notebook(tmp_path, "'done'")), folder=str(tmp_path))
    first, second = (
        subprocess.run([sys.executable, "-c", code], env=surroundings, capture_output=True, check=True).stdout
        for _ in "ab"
    )
    assert first == second
    well, process = first.split()
    assert well == b"True"
    _when(lambda: not _runs(int(process)) or None)
    assert not list(tmp_path.glob("reviewkit-*"))


@linux
def test_two_that_start_at_once_use_the_same_server(tmp_path: Path) -> None:
    surroundings = {**os.environ, "TMPDIR": str(tmp_path)}
    code = LINGERING.format(path=str(notebook(tmp_path, "'done'")), folder=str(tmp_path))
    asking = [
        subprocess.Popen([sys.executable, "-c", code], env=surroundings, stdout=subprocess.PIPE) for _ in "ab"
    ]
    first, second = (one.communicate()[0] for one in asking)
    assert first == second
    assert first.startswith(b"True")


@linux
def test_another_user_is_not_answered(server: forkserver.Server, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both ends ask the system who is at the other one."""
    monkeypatch.setattr(forkserver, "peer", lambda line: (0, os.getuid() + 1))
    assert forkserver._reached(server._address) is None


def _runs(process: int) -> bool:
    try:
        status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    except OSError:
        return False
    return "State:\tZ" not in status


def _when(ask: Any) -> Any:
    """Wait for an answer; a test that waits in vain fails after half a minute."""
    for _ in range(600):
        try:
            if (answer := ask()) is not None:
                return answer
        except (OSError, ValueError):
            pass
        time.sleep(0.05)
    raise AssertionError("it did not come")


def test_folders_of_processes_that_are_no_more_are_swept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    (tmp_path / f"reviewkit-{ended.pid}-abc").mkdir()
    (tmp_path / "reviewkit-notes").mkdir()
    own = disk.made_temporary()
    disk.sweep()
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([own.name, "reviewkit-notes"])


def test_a_formatter_that_is_imported_already_writes_no_parameters(tmp_path: Path) -> None:
    import colorsys

    with kit.imports_without("colorsys", even_imported=True), pytest.raises(ImportError):
        importlib.import_module("colorsys")
    assert importlib.import_module("colorsys") is colorsys
    # papermill has it written by black, where that can be imported.
    pytest.importorskip("black")
    task = Task(notebook(tmp_path, "x"), {"x": 7, "y": {"a": "b" * 60, "c": "d" * 60}}, tmp_path)
    written = json.loads(execute_in_kernel(task).notebook)["cells"]
    (given,) = (one for one in written if "injected-parameters" in one["metadata"].get("tags", ()))
    assert len("".join(given["source"]).splitlines()) == 3


def test_a_library_left_out_can_be_imported_afterwards() -> None:
    sys.modules.pop("colorsys", None)
    with kit.imports_without("colorsys"):
        with kit.imports_without("colorsys"), pytest.raises(ImportError):
            import colorsys
        with pytest.raises(ImportError):
            import colorsys
    import colorsys

    assert colorsys.rgb_to_hsv(0, 0, 0) == (0, 0, 0)


EMPTY_SERVER = """
import os
from reviewkit.execution import forked
forked.load_most = lambda: None
forked.main()
os._exit(0)
"""
"""A server that loads nothing: what is asked of it is how it ends."""


@linux
@pytest.mark.parametrize("round_", range(40))
def test_a_server_asked_to_end_at_any_moment_ends_and_leaves_nothing(tmp_path: Path, round_: int) -> None:
    """While it forks, and while it tidies after a client that has just left."""
    draw = random.Random(round_)
    name = f"ending-{os.getpid()}-{round_}"
    process = subprocess.Popen(
        [sys.executable, "-c", EMPTY_SERVER, name, "0"],
        env={**os.environ, "TMPDIR": str(tmp_path), "PYTHONPATH": str(ROOT)},
    )
    try:
        server = None
        while server is None:
            server = forkserver._reached(forkserver.PREFIX + name)
        lines = [server._sent(server._name, (time.sleep, (600,))) for _ in range(draw.choice([0, 1, 4]))]
        time.sleep(draw.uniform(0, 0.06))
        server.close()
        time.sleep(draw.choice([0, draw.uniform(0, 0.012)]))
        process.terminate()
        assert process.wait(60) == 0
        assert list(tmp_path.iterdir()) == []
        for line in lines:
            line.close()
    finally:
        process.kill()
        process.wait()
