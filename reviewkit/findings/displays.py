"""What a section shows beside its findings: sentences with a small table, a page of its own, measured series.

A section notebook displays a `Dataset`; the run takes it out of the executed notebook and publishes it as
a CSV file. Column labels are those of the Battery Data Format 1.0.0: quantity, blank, slash, blank, unit.
Current into the cell is positive.
"""

from __future__ import annotations

import base64
import gzip
import html
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Answer:
    """Sentences, and a table where one helps; a notebook shows both.

    Parameters
    ----------
    sentences : tuple of str
        Plain text: what was typed in a table of the reviewer's is shown as typed, never read as markup.
    columns : tuple of str
        Headers; empty: no table.
    form : {"paragraphs", "bullets", "steps"}
        Steps are to be taken in order.
    """

    sentences: tuple[str, ...]
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    form: Literal["paragraphs", "bullets", "steps"] = "paragraphs"

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        text = {"text/plain": str(self)}
        if not self.columns:
            return {"text/markdown": self._markdown(), **text}
        told = "".join(f"<p>{html.escape(item)}</p>" for item in self.sentences)
        return {"text/html": told + table(self.columns, self.rows), **text}

    def __str__(self) -> str:
        return "\n".join([*self.sentences, *(" | ".join(row) for row in self.rows)])

    def _markdown(self) -> str:
        marks = {"paragraphs": "", "bullets": "- ", "steps": "{}. "}[self.form]
        shown = [marks.format(number) + plain(text) for number, text in enumerate(self.sentences, 1)]
        return ("\n\n" if self.form == "paragraphs" else "\n").join(shown)


def table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return an HTML table, its first column the rows' names; empty without columns.

    Parameters
    ----------
    columns : sequence of str
    rows : sequence of sequences of str
        Plain text: what HTML would read as markup is shown as it is.
    """
    if not columns:
        return ""
    head = "".join(f'<th scope="col">{html.escape(name)}</th>' for name in columns)
    body = "".join(
        f'<tr><th scope="row">{html.escape(row[0])}</th>'
        + "".join(f"<td>{html.escape(cell)}</td>" for cell in row[1:])
        + "</tr>"
        for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


EXTRA_PAGE_MIME = "application/vnd.reviewkit.page+json"

NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
"""What a page, or a table, may be called: it becomes a file name."""
_BLANKS = re.compile(r"[ \t\r\n]+")
_MARKS = re.compile(r"([\\`*_{}\[\]<>#|~&!])")


def _check_name(name: str, what: str) -> None:
    if not NAME.fullmatch(name):
        raise ValueError(f"'{name}' is no name of a {what}: small letters, digits, single hyphens")


@dataclass(frozen=True)
class ExtraPage:
    """A text that is published as a page of its own.

    Parameters
    ----------
    name : str
        File name without ending: small letters, digits and single hyphens.
    markdown : str
        CommonMark with tables; raw HTML is not rendered. The title is not repeated in it.

    Raises
    ------
    ValueError
        If the name does not do as a file name.
    """

    name: str
    title: str
    markdown: str

    def __post_init__(self) -> None:
        _check_name(self.name, "page")

    @property
    def page(self) -> str:
        """The file name of the page."""
        return f"{self.name}.html"

    def to_dict(self) -> dict[str, str]:
        """Return the page as a notebook displays it."""
        return {"name": self.name, "title": self.title, "markdown": self.markdown}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> ExtraPage:
        """Return the page that `to_dict` wrote.

        Raises
        ------
        KeyError
            If a part is missing.
        """
        return cls(name=str(data["name"]), title=str(data["title"]), markdown=str(data["markdown"]))

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        text = f"# {plain(self.title)}\n\n{self.markdown}"
        return {EXTRA_PAGE_MIME: self.to_dict(), "text/markdown": text, "text/plain": text}


def plain(text: str) -> str:
    """Return text that Markdown shows as it is, on one line; no-break spaces stay."""
    return _MARKS.sub(r"\\\1", _BLANKS.sub(" ", text).strip(" "))


DATASET_MIME = "application/vnd.reviewkit.findings.dataset+json"
PACKED = "csv_gzip_base64"
"""Key of a dataset's packed table."""

TIME = "Test Time / s"
VOLTAGE = "Voltage / V"
CURRENT = "Current / A"
TEMPERATURE = "Surface Temperature / degC"

_LEVEL = 5
"""Of compression: tables of readings become no smaller beyond it, only slower."""

_ROWS = 100_000
"""Written at a time, so that a long log's table costs little memory."""

_MEANING = {
    TIME: "elapsed time",
    VOLTAGE: "voltage at the cell",
    CURRENT: "current, positive into the cell",
    TEMPERATURE: "temperature at the cell's surface",
}


@dataclass(frozen=True)
class Dataset:
    """One table, published as `data/NAME.csv`.

    Parameters
    ----------
    name : str
        Small letters, digits, single hyphens.
    title : str
        What a reader calls it.
    frame : pandas.DataFrame
        Numbers only; headings are labels with units. Missing readings stay empty.
    meaning : mapping of str to str
        What each column holds, for those whose label does not say enough.
    inputs : tuple of str
        Files it was made from, relative to the review folder.

    Raises
    ------
    ValueError
        If the name does not do as a file name.
    """

    name: str
    title: str
    frame: pd.DataFrame
    meaning: Mapping[str, str]
    inputs: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _check_name(self.name, "table")

    def csv(self) -> str:
        """Return the table as text: comma, decimal point, nine significant digits."""
        heading: str = self.frame.iloc[:0].to_csv(index=False, lineterminator="\n")
        starts = range(0, len(self.frame), _ROWS)
        return heading + "".join(_rows(self.frame.iloc[start : start + _ROWS]) for start in starts)

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        packed = gzip.compress(self.csv().encode(), _LEVEL, mtime=0)
        columns = [str(label) for label in self.frame.columns]
        return {
            DATASET_MIME: {
                "name": self.name,
                "title": self.title,
                "rows": len(self.frame),
                "fields": [{"name": label, "title": self.meaning.get(label, "")} for label in columns],
                "from": list(self.inputs),
                PACKED: base64.b64encode(packed).decode(),
            },
            "text/plain": f"{self.title}: {len(self.frame)} rows, {', '.join(columns)}",
        }


@dataclass(frozen=True)
class Datasets:
    """Several tables; a notebook displays one after the other."""

    items: tuple[Dataset, ...]

    def _ipython_display_(self) -> None:
        from IPython import display

        show: Any = display.display
        for item in self.items:
            show(item)


def _rows(frame: pd.DataFrame) -> str:
    # A line of nothing at all would be passed over by who reads it.
    missing = "" if frame.shape[1] > 1 else '""'
    columns = [_written(column, missing) for _, column in frame.items()]
    return "\n".join([*map(",".join, zip(*columns, strict=True)), ""])


def _written(column: pd.Series[Any], missing: str) -> list[str]:
    """Return numbers as text. What a meter shows are few different ones, each written once."""
    import numpy as np

    if column.dtype.kind != "f":
        return column.astype(str).tolist()
    given = np.ascontiguousarray(column.to_numpy(dtype=np.float64))
    # Told apart by their bits, for 0 and -0 are written differently.
    bits, where = np.unique(given.view(np.int64), return_inverse=True)
    few = len(bits) < len(given) / 4
    numbers = bits.view(np.float64) if few else given
    texts = [missing if number != number else f"{number:.9g}" for number in numbers.tolist()]
    return np.array(texts, dtype=object)[where].tolist() if few else texts


def unpacked(packed: str) -> str:
    """Return the text of a packed table."""
    return gzip.decompress(base64.b64decode(packed)).decode()


def merged(
    *,
    name: str,
    title: str,
    voltage_V: pd.Series[float] | None = None,
    current_A: pd.Series[float] | None = None,
    temperature_C: pd.Series[float] | None = None,
    inputs: Sequence[str] = (),
) -> Dataset:
    """Return logs that are on one clock as one table.

    Parameters
    ----------
    name, title : str
    voltage_V, current_A, temperature_C : pandas.Series, optional
        float64, index elapsed time [s]. Each keeps its own moments: a row in which only one meter
        read leaves the others' columns empty, nothing is interpolated.
    inputs : sequence of str
        The logs.

    Returns
    -------
    Dataset
        Rows in the order of time, counted from the first of any meter, to the millisecond.
    """
    import pandas as pd

    given = {VOLTAGE: voltage_V, CURRENT: current_A, TEMPERATURE: temperature_C}
    columns = {}
    for label, series in given.items():
        if series is not None:
            times = series.index.to_numpy(dtype=float).round(3)
            column = pd.Series(series.to_numpy(dtype=float), index=times)
            columns[label] = column[~column.index.duplicated()]
    frame = pd.DataFrame(columns).sort_index()
    elapsed = frame.index.to_numpy(dtype=float)
    frame.insert(0, TIME, (elapsed - elapsed[0] if len(elapsed) else elapsed).round(3))
    return Dataset(name, title, frame, _MEANING, tuple(inputs))
