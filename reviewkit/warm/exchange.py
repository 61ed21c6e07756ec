"""What client and child leave for each other in a scratch folder."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from reviewkit.task import Outcome, Task

DONE, NEEDS_KERNEL, FAULT = 0, 3, 4
"""How a child ends; killed, it ends with minus the signal's number."""

_TASK, _OUTCOME = "task.json", "outcome.json"


def write_task(scratch: Path, task: Task) -> None:
    """Leave a task for a child.

    Raises
    ------
    TypeError
        If a value is none that JSON knows.
    """
    plain = {**asdict(task), "template": str(task.template), "folder": str(task.folder)}
    (scratch / _TASK).write_text(json.dumps(plain), encoding="utf-8")


def read_task(scratch: Path) -> Task:
    """Return the task that lies in the folder."""
    plain = json.loads((scratch / _TASK).read_text(encoding="utf-8"))
    return Task(**{**plain, "template": Path(plain["template"]), "folder": Path(plain["folder"])})


def write_outcome(scratch: Path, outcome: Outcome) -> None:
    """Leave an outcome, whole or not at all."""
    unfinished = scratch / f"{_OUTCOME}.part"
    unfinished.write_text(json.dumps(asdict(outcome)), encoding="utf-8")
    unfinished.replace(scratch / _OUTCOME)


def read_outcome(scratch: Path) -> Outcome | None:
    """Return what a child left; None if it did not come that far."""
    path = scratch / _OUTCOME
    if not path.exists():
        return None
    plain = json.loads(path.read_text(encoding="utf-8"))
    return Outcome(**{**plain, "input_faults": tuple(plain["input_faults"])})
