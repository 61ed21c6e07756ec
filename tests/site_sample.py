"""A review as the runner would hand it over, made without a kernel."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from IPython.core.formatters import DisplayFormatter

from reviewkit import summary
from reviewkit.execution.papermill_run import Outcome
from reviewkit.figures import marks, sheet
from reviewkit.figures.chart import Chart
from reviewkit.findings import Finding, Findings, measured, not_tested
from reviewkit.findings.displays import ExtraPage
from reviewkit.metrology import Component, Measured
from reviewkit.metrology.conformity import Limit
from reviewkit.pipeline import harvest, results
from reviewkit.pipeline.results import Reviewed, SectionResult
from reviewkit.review import review_file
from reviewkit.review import video as film
from reviewkit.sections.template import Metadata, Section
from reviewkit.system import kit

HOSTILE = (
    "<script>document.title='taken'</script>",
    '"><img src=x onerror="document.title=1">',
    "{{7*7}}",
    "[here](javascript:alert(1))",
    "</script><script>document.title='taken'</script>",
)
LONG = "A helmet lamp with a name of sixty characters, no more no less"


def chart(key: str = "charge-curve", text: str = "", points: int = 20_000) -> Chart:
    """Return a chart of a long log."""
    time_s = np.linspace(0.0, 4.5 * 3600, points)
    current_A = np.where(time_s < 10_000, 0.8, 0.8 * np.exp(-(time_s - 10_000) / 1800))
    clock = marks.Clock(4.5 * 3600)
    figure = marks.panels(["charge current, A"], x_axis=clock.axis("time since charge start"))
    spans = [
        (0.0, clock.at(10_000), "constant current"),
        (clock.at(10_000), clock.at(16_200), "constant voltage"),
    ]
    marks.phases(figure, spans, width=clock.width)
    marks.line(figure, clock.x(time_s), current_A, name="current", colour=sheet.CURRENT, unit="A")
    marks.limit(figure, 1.5, f"1.5 A at most: the cell's data sheet {text}")
    return Chart(
        key=key,
        question=f"How does the device charge its cell? {text}",
        answer=f"It charges at 0.800 A ± 0.011 A. {text}",
        figure=figure.checked(),
        table=pd.DataFrame({f"phase {text}": ["constant current", text], "current, A": ["0.800", "0.090"]}),
    )


def findings(text: str = "") -> Findings:
    """Return findings with every kind of verdict."""

    def of(value: float, half: float, unit: str) -> Measured:
        parts = Component(f"meter accuracy {text}", half, unit, "rectangular", shared="meter")
        return Measured(value, unit, (parts, Component("noise", half / 40, unit)))

    high = Limit(None, 1.5, "the cell's data sheet")
    volts, amps = Limit(None, 4.25, f"the cell's data sheet {text}"), Limit(None, 0.001, "common practice")
    return Findings(
        (
            measured(
                "charge.plateau_current", "plateau current", of(0.8, 0.011, "A"), limit=Limit(None, 1.5, "")
            ),
            measured(
                "charge.peak_voltage", f"peak voltage {text}", of(4.252, 0.02, "V"), limit=volts, note=text
            ),
            measured(
                "charge.current_after",
                "current after",
                of(0.012, 0.001, "A"),
                limit=amps,
                inputs=("logs/i.csv",),
            ),
            measured("charge.usb.plateau_current", "plateau current, usb", of(0.8, 0.011, "A"), limit=high),
            measured("charge.delivered", "charge delivered", of(2.7, 0.03, "A.h")),
            Finding("charge.ended_by", "ended by", text or "device"),
            not_tested(
                "charge.settled_voltage_60min", "settled voltage", f"The log ends too early. {text}", "V"
            ),
        )
    )


def cells(*shown: Any) -> list[dict[str, Any]]:
    """Return code cells that displayed these things."""
    formatter = DisplayFormatter()
    outputs = [dict(zip(("data", "metadata"), formatter.format(item), strict=True)) for item in shown]
    return [_code(f"shown-{place}", "show()", output) for place, output in enumerate(outputs)]


def _code(name: str, source: str, output: dict[str, Any]) -> dict[str, Any]:
    return {
        "id": name,
        "cell_type": "code",
        "metadata": {},
        "source": source,
        "execution_count": 1,
        "outputs": [{"output_type": "display_data", **output}],
    }


def words(name: str, text: str) -> dict[str, Any]:
    return {"id": name, "cell_type": "markdown", "metadata": {}, "source": text}


def notebook(parts: Iterable[dict[str, Any]], **metadata: Any) -> dict[str, Any]:
    return {"cells": list(parts), "metadata": {"reviewkit": metadata}, "nbformat": 4, "nbformat_minor": 5}


def reviewed(
    folder: Path,
    staged: Path,
    *,
    text: str = "",
    name: str = "Alder",
    failed: str = "",
    video: str = "",
    caution: str = "",
) -> Reviewed:
    """Return a review with one section, its summary made by the kit's own summary notebook's calls.

    A table of chapters is read from its folder.
    """
    values = _values(text, name)
    values["review"] |= {"video": video or text, "video_caution": caution or text}
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "review.yaml").write_text("invented: true\n", encoding="utf-8")
    (staged / "notebooks").mkdir(parents=True)
    file = review_file.bind(folder, values, [])
    assert file is not None
    found = findings(text)
    letter = ExtraPage(
        "note-to-the-maker", f"Note to the maker {text}", f"## Two hazards {text}\n\nWe saw {text}"
    )
    body = [
        words("title", f"# Charge curve\n\nTwo meters log one charge. {text}"),
        words("question", "## How does the device charge its cell?"),
        *cells(chart(text=text), pd.DataFrame({"file": ["logs/i.csv", text]}), letter, found),
    ]
    about = Metadata(kind="section", title=f"Charge curve {text}".strip(), place=20)
    section = SectionResult(
        Section(Path("charge.ipynb"), about, ()),
        notebook(body),
        Findings() if failed else found,
        failed,
        Outcome(""),
        extra_pages=() if failed else (letter,),
    )
    (section,) = results.with_moments([section], file.chapters)
    harvest.write_findings(staged, file, [section.entry()], section.findings or found)
    film.write(staged, file)
    whole = _summary(staged, values)
    (staged / "notebooks" / "summary.ipynb").write_text(json.dumps(whole), encoding="utf-8")
    last = SectionResult(
        Section(Path("summary.ipynb"), Metadata(kind="summary", title="Summary"), ()),
        whole,
        Findings(),
        "",
        Outcome(""),
    )
    return Reviewed(file, staged, (section,), last)


def _values(text: str, name: str) -> dict[str, Any]:
    device = dict.fromkeys(
        ("kind", "maker", "serial", "firmware", "sample", "disclosure", "payment"), text or "invented"
    )
    about = dict.fromkeys(("author", "method", "source", "place", "notice", "date"), text or "invented")
    return {
        "device": {"name": name, **device},
        "review": {"title": f"{name} {text}".strip(), "edition": 2, "changes": [text or "first"], **about},
        "claims": [{"about": "charge.peak_voltage", "at_most": "4.2 V", "says": text, "source": text}],
        "cell": {"label": text or "test cell", "rated_capacity_Ah": 3.0, "floor_V": 2.5},
        "voltmeter": {"name": text or "a meter", "accuracy": "±(0.5 % + 2)", "resolution": "1 mV"},
    }


def _summary(staged: Path, values: dict[str, Any]) -> dict[str, Any]:
    """Return the summary notebook as if it had been executed."""
    own = json.loads((kit.kit_folder() / "summary.ipynb").read_text(encoding="utf-8"))
    record = summary.read(str(staged / "findings.json"), **values)
    for cell in own["cells"]:
        cell["source"] = "".join(cell["source"])
        if cell["cell_type"] == "code" and cell["source"].startswith("summary."):
            shown = eval(cell["source"], {"summary": summary, "record": record})
            cell.update({key: value for key, value in cells(shown)[0].items() if key == "outputs"})
    return dict(own)
