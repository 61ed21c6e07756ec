"""The list of all reviews in a published folder, with their key figures."""

from __future__ import annotations

import hashlib
import html
import json
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from reviewkit.findings import PART_MIME, Finding, findings_file
from reviewkit.findings.findings_file import FILE as JSON_FILE
from reviewkit.metrology import units
from reviewkit.metrology.formatting import listed
from reviewkit.pipeline import harvest
from reviewkit.publishing import written
from reviewkit.publishing.site import context, rendering
from reviewkit.publishing.site.context import Link, PageContext


def write_list(
    out: Path, *, charts_script: Path | None = None, home: str = "index.html", fresh: bool = False
) -> None:
    """Write what the reviews of a published folder share: the list of them all, and the charts' script.

    Parameters
    ----------
    out : pathlib.Path
    charts_script : pathlib.Path, optional
        As given to `write_review`.
    home : str
        What the list is called; one of another name that the kit wrote before is removed.
    fresh : bool
        Whether to render it, too, where it comes out as it did before.

    Raises
    ------
    InputError
        If somebody else's page has that name.
    """
    context.write_charts(out, context.charts_source(charts_script))
    every = told(out, fresh=fresh)
    columns, reviews = key_figures(every)
    page = PageContext(title="All reviews")
    text = rendering.template(
        "list.html.j2",
        page,
        lambda: {"pictures": pictures(columns, reviews)},
        fresh=fresh,
        columns=columns,
        reviews=reviews,
        comparisons=comparisons(out, {name: one["device"]["name"] for name, one in every.items()}),
    )
    written.put(out, home, lambda part: part.write_text(text, encoding="utf-8"))
    for name in [name for name in written.shared(out) if name.endswith(".html") and name != home]:
        written.remove(out, name)


@dataclass(frozen=True)
class Figure:
    """One key figure of one review.

    Parameters
    ----------
    text, order : str
        What it says, and what it is sorted by.
    has : str
        What the list can be narrowed down to by it.
    unit : str
    interval : tuple of (float, float) or None [unit]
        Of a number that is drawn over all devices.
    """

    text: str = ""
    order: str = ""
    has: str = ""
    unit: str = ""
    interval: tuple[float, float] | None = None


@dataclass(frozen=True)
class ListRow:
    """One review on the list.

    Parameters
    ----------
    title, device, about, href : str
        About: the sample, edition and date, in a few words.
    figures : tuple of Figure
        One for each column; empty where the review has none.
    """

    title: str
    device: str
    about: str
    href: str
    figures: tuple[Figure, ...]

    @property
    def has(self) -> str:
        """What the list can be narrowed down to by its figures."""
        return " ".join(figure.has for figure in self.figures if figure.has)


def told(out: Path, *, fresh: bool = False) -> dict[str, dict[str, Any]]:
    """Return what each review of a published folder tells the list, by its folder's name; no drafts."""
    return {folder.name: _listed(folder, fresh=fresh) for folder in _published(out)}


def key_figures(every: Mapping[str, Mapping[str, Any]]) -> tuple[list[str], list[ListRow]]:
    """Return the columns' names and the rows, of what each review tells the list."""
    columns = {key: head for one in every.values() for key, (head, _) in one["figures"].items()}
    rows = [_row(name, one, [_figure(one, key) for key in columns]) for name, one in every.items()]
    return list(columns.values()), sorted(rows, key=lambda row: row.title.lower())


MOST_DRAWN = 12
"""Devices that one picture shows; of more, the lowest and the highest. Chosen: one screen's height."""
_WIDE = 340
_LONGEST_NAME = 24
"""Letters of a device's name beside its mark: what a third of the picture holds."""


def _short(name: str) -> str:
    short = name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1].rstrip()}…"
    return html.escape(short, quote=False)


def pictures(columns: Sequence[str], rows: Sequence[ListRow]) -> list[tuple[str, Markup]]:
    """Return a picture for each figure that at least two devices have: what it shows, and the drawing."""
    found = []
    for index, head in enumerate(columns):
        drawn = [(row.device, row.figures[index]) for row in rows if row.figures[index].interval]
        drawn.sort(key=lambda pair: float(pair[1].order))
        if len(drawn) < 2 or len({figure.unit for _, figure in drawn}) > 1:
            continue
        count, half = len(drawn), MOST_DRAWN // 2
        kept = drawn if count <= MOST_DRAWN else [*drawn[:half], *drawn[-half:]]
        of_all = f", the {half} lowest and {half} highest of {count} devices" if kept is not drawn else ""
        found.append((f"{head}{of_all}", _picture(head, kept)))
    return found


def _picture(head: str, drawn: Sequence[tuple[str, Figure]]) -> Markup:
    from reviewkit.drawing import strip  # only where one is drawn
    from reviewkit.drawing.picture import picture

    unit = drawn[0][1].unit
    scale, sign = (3600.0, "h") if unit == "s" else units.for_people(float(drawn[-1][1].order), unit)
    entries = [
        strip.Entry(_short(name), *(number / scale for number in (float(figure.order), *figure.interval)))
        for name, figure in drawn
        if figure.interval
    ]
    made = picture(strip.over_devices(entries, title=head, unit=sign), width=_WIDE)
    return Markup(made.for_page)  # the drawing escapes its texts


def comparisons(out: Path, devices: Mapping[str, str]) -> list[Link]:
    """Return the pages of a published folder that show its reviews side by side; told are their devices."""
    links = []
    for path in sorted(out.glob(f"*/{COMPARED}")):
        folder = path.parent
        if "." in folder.name or folder.is_symlink() or COMPARED not in written.files(folder):
            continue
        names = json.loads(path.read_text(encoding="utf-8"))["reviews"]
        if all(name in devices for name in names):
            links.append(Link(f"{folder.name}/index.html", listed(devices[name] for name in names)))
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


def _published(out: Path) -> list[Path]:
    """Return each folder that is a review of the kit's, and not a draft."""
    places = [path.parent for path in sorted(out.glob(f"*/{JSON_FILE}")) if "." not in path.parent.name]
    return [folder for folder in places if not folder.is_symlink() and written.is_review(folder)]


def _listed(folder: Path, *, fresh: bool = False) -> dict[str, Any]:
    """Return what a review tells the list, as plain data: read once while its files stay as they are."""
    read = [folder / written.MARK, folder / JSON_FILE, *sorted(folder.glob("notebooks/*.ipynb"))]
    states = [(str(path), status.st_size, status.st_mtime_ns) for path in read if (status := _status(path))]

    def make() -> str:
        whole = findings_file.whole(folder / JSON_FILE)
        figures = {name: (head, asdict(own)) for name, (head, own) in _own_figures(folder, whole).items()}
        return json.dumps({"device": whole["device"], "review": whole["review"], "figures": figures})

    plain: dict[str, Any] = json.loads(rendering.kept(("listed", states), make, fresh=fresh))
    return plain


def _status(path: Path) -> os.stat_result | None:
    return path.stat() if path.is_file() else None


def _figure(one: Mapping[str, Any], key: str) -> Figure:
    """Return what stands in one of the list's columns; empty where the review has nothing for it."""
    _, own = one["figures"].get(key, ("", {}))
    return Figure(**{**own, "interval": tuple(own["interval"])} if own.get("interval") else own)


_SUMMARY = re.compile(r'"kind":\s*"summary"')


def _own_figures(folder: Path, whole: Mapping[str, Any]) -> dict[str, tuple[str, Figure]]:
    """Return a review's key figures, by name: the column's head, and what stands in it.

    Its summary displays them; its metadata may name findings as `figures` beside.
    """
    texts = (path.read_text(encoding="utf-8") for path in folder.glob("notebooks/*.ipynb"))
    # Most of what a review has is in other notebooks, and reading it takes longest.
    summaries = (json.loads(text) for text in texts if _SUMMARY.search(text))
    own = [one for one in summaries if one["metadata"].get("reviewkit", {}).get("kind") == "summary"]
    shown = (part for one in own for part in harvest.displayed(one, PART_MIME) if "figures" in part)
    found = {item["name"]: (item["head"], _read(item)) for part in shown for item in part["figures"]}
    named = (key for one in own for key in one["metadata"]["reviewkit"].get("figures", ()))
    items = {item["key"]: item for item in whole["findings"]}
    return found | {key: _of_finding(Finding.from_dict(items[key])) for key in named if key in items}


def _read(item: Mapping[str, Any]) -> Figure:
    interval = item.get("interval")
    drawn = (float(interval[0]), float(interval[1])) if interval else None
    return Figure(item["text"], _order(item["order"]), item["has"], item.get("unit", ""), drawn)


def _of_finding(item: Finding) -> tuple[str, Figure]:
    is_list = isinstance(item.value, list)
    order = len(item.value) if is_list else item.value  # type: ignore[arg-type]
    return item.label, Figure(item.text, _order(order))


def _order(value: Any) -> str:
    return "" if value is None else str(value)


def _row(name: str, whole: Mapping[str, Any], figures: Iterable[Figure]) -> ListRow:
    device, about = whole["device"], whole["review"]
    firmware = f"firmware {device['firmware']}" if device.get("firmware") else ""
    edition = about.get("edition", 1)
    told = [firmware, f"edition {edition}" if edition else "a working copy", about.get("date") or ""]
    return ListRow(
        title=about["title"] or device["name"],
        device=device["name"],
        about=", ".join(part for part in told if part),
        href=f"{name}/index.html",
        figures=tuple(figures),
    )
