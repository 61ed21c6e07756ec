"""Section notebooks that fail while they run: each costs its own section, with a plain line, and no other."""

from __future__ import annotations

import base64
import gzip
import json
import os
import re
from dataclasses import dataclass
from pathlib import Path

from reviewkit.execution.execute import execute
from reviewkit.execution.papermill_run import Outcome, Task

CELL_LIMIT_S, PRINTED_LIMIT, GRACE_S = 1.5, 1_000_000, 1.0
_STOPPED = "it was stopped: too slow, or out of memory"
_FLOODS = f"it prints more than {PRINTED_LIMIT} characters"
_FINDINGS = "application/vnd.reviewkit.findings+json"


@dataclass(frozen=True)
class Failing:
    """A section whose second cell does what no section should."""

    name: str
    code: str
    said: str
    """A pattern of the message; empty for a section that must come out well."""
    stops: bool = False
    """Whether it only ends because it is stopped."""
    posix: bool = False

    def needs(self) -> str:
        return "needs a POSIX system" if self.posix and os.name != "posix" else ""

    def fits(self, message: str) -> bool:
        return re.fullmatch(self.said, message) is not None


def template(entry: Failing, place: Path) -> Path:
    """Write the section's notebook."""
    about = {"kind": "section", "title": entry.name, "place": 50}
    cells = [
        {"id": "cell-1", "metadata": {"tags": ["parameters"]}, "source": "device: dict = {}  # the device"},
        {"id": "cell-2", "metadata": {}, "source": entry.code},
    ]
    whole = {
        "cells": [{"cell_type": "code", "execution_count": None, "outputs": [], **cell} for cell in cells],
        "metadata": {
            "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
            "language_info": {"name": "python"},
            "reviewkit": about,
        },
        "nbformat": 4,
        "nbformat_minor": 5,
    }
    path = place / f"{re.sub('[^a-z]+', '_', entry.name)}.ipynb"
    path.write_text(json.dumps(whole), encoding="utf-8")
    return path


def executed(entry: Failing, folder: Path, place: Path) -> Outcome:
    """Run the section in the review folder under small limits."""
    limit_s = CELL_LIMIT_S if entry.stops else 60.0
    made = template(entry, place)
    task = Task(made, {}, folder, cell_limit_s=limit_s, printed_limit=PRINTED_LIMIT, grace_s=GRACE_S)
    return execute(task)


FAILING = (
    Failing("notebook: divides by nothing", "1 / 0", r"its cell 2 failed \(ZeroDivisionError\)"),
    Failing("notebook: is no Python", "if true then", r"its cell 2 failed \(SyntaxError\)"),
    Failing(
        "notebook: needs what is not installed",
        "import no_such_library",
        r"its cell 2 failed \(ModuleNotFoundError\)",
    ),
    Failing(
        "notebook: finds the input at fault",
        "from reviewkit.errors import LogError\n"
        "raise LogError('the file is empty', file='logs/x.csv', remedy='Export it again.')",
        r"logs/x\.csv: the file is empty\. Export it again\.",
    ),
    Failing(
        "notebook: calls itself without end",
        "def again():\n    again()\nagain()",
        r"its cell 2 failed \(RecursionError\)",
    ),
    Failing(
        "notebook: asks a question", "input('well? ')", r"its cell 2 failed \(StdinNotImplementedError\)"
    ),
    Failing("notebook: leaves", "raise SystemExit(3)", r"its cell 2 failed \(SystemExit\)"),
    Failing("notebook: waits for ever", "import time\ntime.sleep(3600)", _STOPPED, stops=True),
    Failing("notebook: works for ever", "while True:\n    pass", _STOPPED, stops=True),
    Failing(
        "notebook: works for ever and will not be interrupted",
        "while True:\n    try:\n        while True:\n            pass\n"
        "    except BaseException:\n        pass",
        _STOPPED,
        stops=True,
    ),
    Failing(
        "notebook: waits for a pipe that nobody fills",
        "import os\nread, write = os.pipe()\nos.read(read, 1)",
        _STOPPED,
        stops=True,
    ),
    Failing(
        "notebook: prints a hundred megabytes",
        "for _ in range(1000):\n    print('x' * 100_000)",
        f"{_FLOODS}|{_STOPPED}",
    ),
    Failing(
        "notebook: prints for ever",
        "while True:\n    print('x' * 1000)",
        f"{_FLOODS}|{_STOPPED}",
        stops=True,
    ),
    Failing(
        "notebook: asks for a million gigabytes at once",
        "bytearray(1 << 50)",
        r"its cell 2 failed \(MemoryError\)",
    ),
    Failing(
        "notebook: fills the memory bit by bit",
        "held = [bytearray(1 << 30) for _ in range(100_000)]",
        r"its cell 2 failed \(MemoryError\)|" + _STOPPED,
        posix=True,
    ),
    Failing("notebook: ends its own process", "import os\nos._exit(1)", _STOPPED),
    Failing(
        "notebook: kills its own process",
        "import os, signal\nos.kill(os.getpid(), signal.SIGKILL)",
        _STOPPED,
        posix=True,
    ),
    Failing("notebook: crashes its own process", "import ctypes\nctypes.string_at(0)", _STOPPED),
    Failing(
        "notebook: leaves threads that never end",
        "import threading, time\n"
        "def wait():\n    while True:\n        time.sleep(1)\n"
        "for _ in range(20):\n    threading.Thread(target=wait).start()",
        "",
    ),
    Failing(
        "notebook: leaves a process that never ends",
        "import subprocess, sys\n"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)'])\n"
        "print(child.pid)",
        "",
    ),
    Failing(
        "notebook: closes its own output", "import os\nos.close(1)\nos.close(2)\nprint('still here')", ""
    ),
)

_WHOLE = {
    **{"key": "a.b", "label": "a", "value": 1.0, "unit": "V", "uncertainty": None, "low": None, "high": None},
    **{"limit": None, "verdict": None, "note": "", "budget": [], "from": [], "video_s": None},
}
BROKEN_FINDINGS = (
    "junk",
    {},
    {"schema": 1},
    {"schema": 1, "findings": "none"},
    {"schema": 1, "findings": [{}]},
    {"schema": 1, "findings": [{"key": 5, "label": "x", "value": 1}]},
    {"schema": 1, "findings": [{"key": "a.b", "label": "x", "value": 1, "unit": "bananas"}]},
    {"schema": 1, "findings": [{"key": "a.b", "label": "x", "value": {"deep": [1]}, "unit": "V"}]},
    {"schema": 1, "findings": [_WHOLE | {"key": 5}]},
    {"schema": 1, "findings": [_WHOLE | {"value": {"deep": 1}}]},
    {"schema": 1, "findings": [_WHOLE | {"uncertainty": "much"}]},
    {"schema": 1, "findings": [_WHOLE | {"limit": {"low": "a", "high": None, "source": "b"}}]},
    {"schema": 1, "findings": [_WHOLE | {"verdict": "splendid"}]},
    {"schema": 1, "findings": [_WHOLE | {"budget": [1]}]},
    {"schema": 1, "findings": [_WHOLE | {"from": [5]}]},
    {"schema": 99, "findings": []},
    [[[[]]]],
    None,
)


_TABLE = {
    **{"name": "x", "title": "x", "rows": 1, "fields": [{"name": "a", "title": "a"}], "from": []},
    "csv_gzip_base64": base64.b64encode(gzip.compress(b"a\n1\n", mtime=0)).decode(),
}
BROKEN_DISPLAYS = (
    ("application/vnd.reviewkit.findings.dataset+json", "junk"),
    ("application/vnd.reviewkit.findings.dataset+json", {"name": "x"}),
    ("application/vnd.reviewkit.findings.dataset+json", _TABLE | {"csv_gzip_base64": "junk"}),
    ("application/vnd.reviewkit.findings.dataset+json", _TABLE | {"name": "../x"}),
    ("application/vnd.reviewkit.findings.dataset+json", _TABLE | {"fields": [1]}),
    ("application/vnd.reviewkit.page+json", "junk"),
    ("application/vnd.reviewkit.chart+json", "junk"),
    ("application/vnd.reviewkit.chart+json", {"question": 5}),
    ("application/vnd.reviewkit.chart+json", {"rows": [[1, {}]]}),
    ("application/vnd.plotly.v1+json", "junk"),
    ("application/vnd.plotly.v1+json", {"data": 5, "layout": {}}),
    ("application/vnd.plotly.v1+json", {"data": [], "layout": {"height": 1e9}}),
    ("application/vnd.reviewkit.page+json", {"name": "../x", "title": "x", "markdown": "x"}),
)


def displaying(data: object, number: int, mime: str = _FINDINGS) -> Failing:
    """A section that displays what are no findings, or no other thing of the kit's."""
    code = (
        "import json\n"
        "from IPython.display import display\n"
        f"display({{{mime!r}: json.loads({json.dumps(data)!r})}}, raw=True)"
    )
    kind = mime.rpartition(".")[2].partition("+")[0]
    return Failing(f"notebook: displays a broken {kind}, kind {chr(97 + number)}", code, ".+")
