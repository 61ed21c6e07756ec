"""What client and child leave for each other in a scratch folder."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from reviewkit.execution.task import Outcome, Task

DONE, NEEDS_KERNEL, FAULT = 0, 3, 4
"""How a child ends; killed, it ends with minus the signal's number."""

_TASK, _OUTCOME = "task.json", "outcome.json"
_CALL, _ANSWER = "call.json", "answer.json"


def write_task(scratch: Path, task: Task) -> None:
    """Leave a task for a child.

    Raises
    ------
    TypeError
        If a value is none that JSON knows.
    """
    plain = {**asdict(task), "template": str(task.template), "folder": str(task.folder)}
    _leave(scratch, _TASK, plain)


def read_task(scratch: Path) -> Task:
    """Return the task that lies in the folder."""
    plain: Any = _left(scratch, _TASK)
    return Task(**{**plain, "template": Path(plain["template"]), "folder": Path(plain["folder"])})


def write_outcome(scratch: Path, outcome: Outcome) -> None:
    """Leave an outcome."""
    _leave(scratch, _OUTCOME, {**asdict(outcome), "input_faults": list(outcome.input_faults)})


def read_outcome(scratch: Path) -> Outcome | None:
    """Return what a child left; None if it did not come that far."""
    plain = _left(scratch, _OUTCOME)
    if plain is None:
        return None
    return Outcome(**{**plain, "input_faults": tuple(plain["input_faults"])})


def write_call(scratch: Path, function: str, argument: Mapping[str, Any]) -> None:
    """Leave a call of one of the kit's own functions for a child.

    Raises
    ------
    TypeError
        If the argument is none that JSON knows.
    """
    _leave(scratch, _CALL, {"function": function, "argument": argument})


def read_call(scratch: Path) -> tuple[str, dict[str, Any]] | None:
    """Return the function to call, as ``module:name``, and its arguments; None where a task lies there."""
    plain = _left(scratch, _CALL)
    return None if plain is None else (plain["function"], plain["argument"])


def write_answer(scratch: Path, answer: Any) -> None:
    """Leave what a call returned."""
    _leave(scratch, _ANSWER, answer)


def read_answer(scratch: Path) -> Any | None:
    """Return what a call returned; None if it did not come that far."""
    return _left(scratch, _ANSWER)


def _leave(scratch: Path, name: str, plain: Any) -> None:
    """Write a file whole or not at all."""
    text = json.dumps(plain)
    # A key that is a number would arrive as a text.
    if json.loads(text) != plain:
        raise TypeError("JSON does not tell all of it")
    unfinished = scratch / f"{name}.part"
    unfinished.write_text(text, encoding="utf-8")
    unfinished.replace(scratch / name)


def _left(scratch: Path, name: str) -> Any | None:
    path = scratch / name
    return json.loads(path.read_text(encoding="utf-8")) if path.exists() else None
