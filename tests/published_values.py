"""Published values to test against: one file per table or example in `tests/published`, its source inside."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

_FOLDER = Path(__file__).resolve().parent / "published"


def published(name: str) -> dict[str, Any]:
    """Return a published example; every file says where its numbers come from."""
    values: dict[str, Any] = json.loads((_FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    assert values["source"]
    assert values["seen"]
    return values
