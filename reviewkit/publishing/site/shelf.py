"""All reviews of a published folder with their key figures side by side."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.findings import Finding, findings_file
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.metrology.formatting import listed, number
from reviewkit.publishing import written
from reviewkit.publishing.site.context import Link


@dataclass(frozen=True)
class Figure:
    """One key figure of one review: as text, and as what it is sorted by."""

    text: str
    order: str


@dataclass(frozen=True)
class ShelfRow:
    """One review on the list.

    Parameters
    ----------
    title, about, href : str
        About: the sample, in a few words.
    figures : tuple of Figure
        One for each column; empty where the review has none.
    """

    title: str
    about: str
    href: str
    figures: tuple[Figure, ...]


def shelf(out: Path) -> tuple[list[str], list[ShelfRow]]:
    """Return the columns' names and the reviews of a published folder, drafts left out."""
    wholes = _published(out)
    names = dict.fromkeys(key for name, _ in wholes for key in _declared(out / name))
    keys = _key_figures(names, (whole for _, whole in wholes))
    rows = [_row(name, whole, keys) for name, whole in wholes]
    return list(keys.values()), sorted(rows, key=lambda row: row.title.lower())


def comparisons(out: Path) -> list[Link]:
    """Return the pages of a published folder that show its reviews side by side."""
    devices = {name: whole["device"]["name"] for name, whole in _published(out)}
    links = []
    for path in sorted(out.glob(f"*/{COMPARED}")):
        place = path.parent
        if "." in place.name or place.is_symlink() or COMPARED not in written.files(place):
            continue
        names = json.loads(path.read_text(encoding="utf-8"))["reviews"]
        if all(name in devices for name in names):
            links.append(Link(f"{place.name}/index.html", listed(devices[name] for name in names)))
    return links


COMPARED = "compared.json"
"""In a comparison's folder: the folders of the reviews that it shows."""
_LONGEST = 80
"""Characters of a comparison's folder name: chosen, well under what every file system takes."""


def beside(names: Sequence[str]) -> str:
    """Return the folder's name of the page that shows reviews side by side."""
    whole = "-and-".join(names)
    if len(whole) <= _LONGEST:
        return whole
    # The same reviews keep their address, others do not get it.
    return f"{whole[: _LONGEST - 9]}-{hashlib.sha256(whole.encode()).hexdigest()[:8]}"


def _published(out: Path) -> list[tuple[str, dict[str, Any]]]:
    """Return name and findings of each folder that is a review of the kit's, and not a draft."""
    places = [path.parent for path in sorted(out.glob(f"*/{JSON_FILE}")) if "." not in path.parent.name]
    return [
        (place.name, findings_file.whole(place / JSON_FILE))
        for place in places
        if not place.is_symlink() and written.is_review(place)
    ]


def _declared(place: Path) -> list[str]:
    """Return the keys that a review's summary names in its metadata as its key figures."""
    summaries = (json.loads(path.read_text(encoding="utf-8")) for path in place.glob("notebooks/*.ipynb"))
    own = (summary["metadata"].get("reviewkit", {}) for summary in summaries)
    return [key for about in own if about.get("kind") == "summary" for key in about.get("figures", ())]


def _key_figures(names: Iterable[str], wholes: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """Return key and label of the figures that the reviews' summaries call their key figures."""
    labels: dict[str, str] = {}
    for whole in wholes:
        for item in whole["findings"]:
            labels.setdefault(item["key"], item["label"])
    return {key: label for key in names if (label := labels.get(key) or _of_first_run(key, labels))}


def _of_first_run(key: str, found: Mapping[str, Any]) -> Any:
    """Return what stands under a key with a run's name in it, where there is none under the short one."""
    head, _, tail = key.partition(".")
    return next(
        (item for name, item in found.items() if name.startswith(f"{head}.") and name.endswith(f".{tail}")),
        None,
    )


def _row(name: str, whole: Mapping[str, Any], keys: Iterable[str]) -> ShelfRow:
    found = {item["key"]: Finding.from_dict(item) for item in whole["findings"]}
    device = whole["device"]
    firmware = f"firmware {device['firmware']}" if device.get("firmware") else ""
    edition = whole["review"].get("edition", 1)
    about = [firmware, "" if edition == 1 else f"edition {edition}" if edition else "a working copy"]
    return ShelfRow(
        title=whole["review"]["title"] or device["name"],
        about=", ".join(part for part in about if part),
        href=f"{name}/index.html",
        figures=tuple(_figure(found.get(key) or _of_first_run(key, found)) for key in keys),
    )


def _figure(item: Finding | None) -> Figure:
    if item is None:
        return Figure("", "")
    if isinstance(item.value, list):
        return Figure(_in_words(item), number(len(item.value), 0))
    return Figure(item.text, "" if item.value is None else str(item.value))


_SEEN = {"protection not recovered": "the lock is lost"}
"""What one sees of a hazard, where its name in the findings is another."""


def _in_words(item: Finding) -> str:
    """Return what can go wrong as one sees it, gravest first; the number of anything else that is a list."""
    found = item.value if isinstance(item.value, list) else []
    kinds = dict.fromkeys(str(one["hazard"]) for one in found if isinstance(one, dict) and "hazard" in one)
    return "; ".join(_SEEN.get(kind, kind) for kind in kinds) or item.text
