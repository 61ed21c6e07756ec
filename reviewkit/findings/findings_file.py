"""Findings in order: as a notebook displays them, as a reader sees them, as `findings.json` holds them."""

from __future__ import annotations

import hashlib
import html
import json
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any, overload

from reviewkit.errors import InputError
from reviewkit.findings.item import MIME, SCHEMA, Finding
from reviewkit.metrology import Component, formatting


def table_html(items: Iterable[Finding]) -> str:
    """Return the findings as an HTML table: finding, value, limit and its source, verdict.

    Examples
    --------
    >>> table_html([not_tested("ui.hazards", "hazards", "no states are named")]).startswith("<table")
    True
    """
    rows = "".join(
        f'<tr id="{html.escape(item.key)}"><th scope="row">{html.escape(item.label)}</th>'
        f'<td class="value">{html.escape(value_text(item))}</td>'
        f"<td>{html.escape(limit_text(item))}</td><td>{html.escape(verdict_text(item))}</td></tr>"
        for item in items
    )
    return (
        '<table class="findings"><thead><tr><th scope="col">Finding</th><th scope="col">Measured</th>'
        f'<th scope="col">Limit</th><th scope="col">Verdict</th></tr></thead><tbody>{rows}</tbody></table>'
    )


LIFE_D = 3652.5
"""Days beyond which a time says nothing: a cell's own life. Chosen: ten years; common practice, no source."""


def value_text(item: Finding) -> str:
    """Return the value as a table shows it: its text, but no time far beyond a cell's own life.

    Examples
    --------
    >>> value_text(Finding("drain.off.days_to_empty", "off", 52083.0, "d", 6818.0, 45265.0, 58901.0))
    'longer than the cell itself lasts'
    """
    surely = item.value if item.low is None else item.low
    is_number = isinstance(surely, int | float) and not isinstance(surely, bool)
    if item.unit == "d" and is_number and surely > LIFE_D:  # type: ignore[operator]
        return "longer than the cell itself lasts"
    return item.text


def limit_text(item: Finding) -> str:
    """Return "at most 4.25 V (cell's data sheet)", or nothing where there is no limit.

    Examples
    --------
    >>> from reviewkit.metrology.conformity import Limit
    >>> why = "no log of the cell's voltage"
    >>> print(limit_text(not_tested("charge.hold_voltage", "hold voltage", why, "V", Limit(high=4.25))))
    at most 4.25 V
    """
    if item.limit is None:
        return ""
    span = formatting.declared(item.limit.low, item.limit.high, item.unit)
    return f"{span} ({item.limit.source})" if item.limit.source else span


def verdict_text(item: Finding) -> str:
    """Return the verdict in the trade's words.

    Examples
    --------
    >>> verdict_text(not_tested("ui.hazards", "hazards", "no states are named"))
    'not tested'
    """
    words: dict[str | None, str] = {
        "pass": "within the limit",
        "fail": "outside the limit",
        "inconclusive": "the meter can’t tell",
        "not tested": "not tested",
        None: "",
    }
    return words[item.verdict]


_VERDICTS = ("pass", "fail", "inconclusive", "not tested", None)


def check(item: Finding) -> None:
    """Make sure of a finding's fields.

    Raises
    ------
    ValueError
        Names the first field that is at fault.
    """
    kinds: tuple[tuple[str, Callable[[Any], bool]], ...] = (
        ("key", lambda value: _is_text(value) and value != ""),
        ("label", _is_text),
        ("value", _is_value),
        ("unit", _is_text),
        *((name, _is_number_or_none) for name in ("uncertainty", "low", "high", "video_s")),
        ("verdict", lambda value: value in _VERDICTS),
        ("note", _is_text),
        ("inputs", lambda value: all(map(_is_text, value))),
    )
    wrong = [name for name, fits in kinds if not fits(getattr(item, name))]
    wrong += [*_of_limit(item), *(name for part in item.budget for name in _of_component(part))]
    if wrong:
        raise ValueError(f"its '{wrong[0]}' is none")


def _of_limit(item: Finding) -> Iterator[str]:
    limit = item.limit
    if limit is not None:
        fits = _is_number_or_none(limit.low) and _is_number_or_none(limit.high) and _is_text(limit.source)
        yield from () if fits else ("limit",)


def _of_component(part: Component) -> Iterator[str]:
    numbers = part.size, part.sensitivity, 0.0 if part.dof == math.inf else part.dof
    if not (all(map(_is_number, numbers)) and _is_text(part.name) and _is_text(part.unit)):
        yield "budget"


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_number_or_none(value: Any) -> bool:
    return value is None or _is_number(value)


def _is_value(value: Any) -> bool:
    return value is None or isinstance(value, bool | str | list) or _is_number(value)


@dataclass(frozen=True)
class Findings(Sequence[Finding]):
    """Findings in the order a reader should see them; a notebook shows them as a table.

    Parameters
    ----------
    items : tuple of Finding
        Keys are unique.

    Raises
    ------
    ValueError
        If two findings have the same key.
    """

    items: tuple[Finding, ...] = field(default=())

    def __post_init__(self) -> None:
        keys = [item.key for item in self.items]
        double = sorted({key for key in keys if keys.count(key) > 1})
        if double:
            raise ValueError(f"findings with the same key: {', '.join(double)}")

    @overload
    def __getitem__(self, key: int | str) -> Finding: ...
    @overload
    def __getitem__(self, key: slice) -> Findings: ...
    def __getitem__(self, key: int | str | slice) -> Finding | Findings:
        """Return a finding by its key or number, or a slice of them.

        Raises
        ------
        KeyError
            If there is no such key; it names the nearest.
        """
        if isinstance(key, str):
            return self._by_key(key)
        return Findings(self.items[key]) if isinstance(key, slice) else self.items[key]

    def _by_key(self, key: str) -> Finding:
        found = self.get(key)
        if found is None:
            near = get_close_matches(key, [item.key for item in self.items], n=1, cutoff=0.5)
            raise KeyError(f"no finding '{key}'" + (f"; did you mean '{near[0]}'?" if near else ""))
        return found

    def __len__(self) -> int:
        return len(self.items)

    def __iter__(self) -> Iterator[Finding]:
        return iter(self.items)

    def __add__(self, other: Iterable[Finding]) -> Findings:
        return Findings(self.items + tuple(other))

    def get(self, key: str) -> Finding | None:
        """Return the finding with this key, or None."""
        return next((item for item in self.items if item.key == key), None)

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        return {
            MIME: {"schema": SCHEMA, "findings": [item.to_dict() for item in self.items]},
            "text/html": table_html(self.items),
            "text/plain": "\n".join(f"{item.label}: {item.text}" for item in self.items),
        }


def twins(items: Iterable[Finding]) -> dict[str, str]:
    """Return the long keys that say what a short one says already: long → short.

    Where there is one run, each of its findings stands under ``charge.hold_voltage`` and under
    ``charge.RUN.hold_voltage``.

    Examples
    --------
    >>> from reviewkit.findings import Finding
    >>> names = ("charge.a.hold_voltage", "charge.hold_voltage")
    >>> twins(Finding(key=key, label="hold voltage", value=4.2, unit="V") for key in names)
    {'charge.a.hold_voltage': 'charge.hold_voltage'}
    """
    known = {item.key: item for item in items}
    found = {}
    for key, item in known.items():
        parts = key.split(".")
        short = known.get(f"{parts[0]}.{parts[-1]}") if len(parts) == 3 else None
        if short and _said(short) == _said(item):
            found[key] = short.key
    return found


def _said(item: Finding) -> tuple[Any, ...]:
    return item.value, item.low, item.high, item.verdict


def with_inputs(items: Iterable[Finding], inputs: Sequence[str]) -> Findings:
    """Return the findings, each leading back to the files it was made from.

    Examples
    --------
    >>> (item,) = with_inputs([not_tested("ui.hazards", "hazards", "no states")], ["transitions.csv"])
    >>> item.inputs
    ('transitions.csv',)
    """
    return Findings(tuple(item if item.inputs else replace(item, inputs=tuple(inputs)) for item in items))


FILE = "findings.json"
LAST_EDITION = "last_edition.json"
"""The findings of the edition before, beside it."""
WORDS = "words.md"
"""The author's own paragraphs, among a review's inputs: they take numbers from findings and give none."""
_MOST_BYTES = 64 << 20
"""Of a file that is read at all. Chosen: some hundred times the largest review's."""
_EXPECTED = "a published review's findings"


@dataclass(frozen=True)
class FindingsFile:
    """What a review's file of findings holds.

    Parameters
    ----------
    device, review : mapping
        These blocks of the review file, checked.
    declared : mapping
        Its further blocks as they were written: cell, meters and the like.
    sections : tuple of mapping
        name, title, page, status, message of each.
    inputs : tuple of mapping
        path, sha256, bytes of each file that was read.
    made_with : mapping
        Versions of the kit, of Python and of the libraries.
    """

    findings: Findings
    device: Mapping[str, Any]
    review: Mapping[str, Any]
    declared: Mapping[str, Any]
    sections: tuple[Mapping[str, Any], ...]
    inputs: tuple[Mapping[str, Any], ...]
    made_with: Mapping[str, Any]

    @property
    def edition(self) -> int:
        """The review's edition; 0 for a working copy."""
        return int(self.review.get("edition", 1))


def read(path: Path) -> FindingsFile:
    """Return a review's findings and what is told beside them.

    Raises
    ------
    InputError
        If the file is missing, none of the kit's, or of another schema.

    Examples
    --------
    >>> read(site / "birch" / "findings.json").findings["charge.wall_adapter.terminates"].value
    True
    """
    data = of_this_schema(path)
    try:
        return FindingsFile(
            findings=Findings(tuple(Finding.from_dict(item) for item in data["findings"])),
            device=dict(data["device"]),
            review=dict(data["review"]),
            declared=dict(data["declared"]),
            sections=tuple(data["sections"]),
            inputs=tuple(data["inputs"]),
            made_with=dict(data["made_with"]),
        )
    except (KeyError, TypeError, ValueError) as error:
        problem = f"it holds no whole findings ({error})"
        raise InputError(problem, file=path.name, expected=_EXPECTED) from None


def measured_from(inputs: Iterable[Mapping[str, Any]]) -> tuple[Mapping[str, Any], ...]:
    """Return the inputs that findings can depend on."""
    return tuple(item for item in inputs if item.get("path") != WORDS)


def digests(folder: Path) -> dict[str, str]:
    """Return SHA-256, by file, of what a folder's findings and those of the edition before have to tell."""
    told = whole(folder / FILE)
    told["inputs"] = list(measured_from(told["inputs"]))
    before = folder / LAST_EDITION
    content = {
        FILE: json.dumps(told).encode(),
        **({LAST_EDITION: before.read_bytes()} if before.is_file() else {}),
    }
    return {name: hashlib.sha256(data).hexdigest() for name, data in content.items()}


def of_this_schema(path: Path) -> dict[str, Any]:
    """Return what the file holds, as JSON has it, if this kit could have written it.

    Raises
    ------
    InputError
        If it is missing, no JSON, or of another schema.
    """
    data = whole(path)
    if data.get("schema") != SCHEMA:
        problem = f"its findings are of schema {str(data.get('schema'))[:20]}"
        raise InputError(problem, file=path.name, expected=f"schema {SCHEMA}")
    return data


def whole(path: Path) -> dict[str, Any]:
    """Return what the file holds, of whatever schema.

    Raises
    ------
    InputError
        If it is missing or no JSON.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError("it is larger than any review's findings", file=path.name)
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"the file cannot be read ({error.strerror})", file=path.name) from None
    except (ValueError, RecursionError):
        raise InputError("it is no JSON", file=path.name, expected=_EXPECTED) from None
    if not isinstance(data, dict):
        raise InputError("it holds no findings", file=path.name, expected=_EXPECTED)
    return data
