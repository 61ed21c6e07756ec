"""The bench sheet for a device: made from its review file and the plan, to print and write on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from reviewkit import drain, planning, readout, ui_states
from reviewkit.bench_day.answers import say
from reviewkit.bench_day.entering import values
from reviewkit.bench_day.tonight import session
from reviewkit.errors import InputError
from reviewkit.metrology import formatting
from reviewkit.planning.charges import in_line
from reviewkit.planning.inputs import Session, volts
from reviewkit.sections import review_outline, template
from reviewkit.sections.review_outline import Known
from reviewkit.ui_states.analysis import Assessment

FILE = "bench-sheet.html"
_OURS = '<meta name="generator" content="reviewkit">'


def sheet(
    folder: str | Path, *, templates: Iterable[str | Path] = (), only_templates: Iterable[str | Path] = ()
) -> Path:
    """Write a review folder's bench sheet anew, with what its review file and the plan tell by now.

    Parameters
    ----------
    folder : str or pathlib.Path
        A review folder.
    templates, only_templates : iterable of str or pathlib.Path
        Folders with section templates, beside the kit's own or in place of them.

    Raises
    ------
    InputError
        If the folder has no review file that can be read, or somebody else's file has the sheet's name.

    Examples
    --------
    >>> reviewkit.start(empty / "on-paper").files[0].name
    'review.yaml'
    >>> bench_day.sheet(empty / "on-paper").name
    'bench-sheet.html'
    """
    path = Path(folder)
    held = values(path)
    written = path / FILE
    if written.exists() and _OURS not in written.read_text(encoding="utf-8", errors="replace"):
        remedy = "Move it away, or rename it."
        raise InputError("the kit did not write this file, and leaves it alone", file=FILE, remedy=remedy)
    parts = template.of_kind("section", template.discover(templates, only=only_templates))
    device = held.get("device") if isinstance(held.get("device"), dict) else {}
    name = str((device or {}).get("name") or path.resolve().name)
    written.write_text(review_outline.page(name, parts, _known(path, held)), encoding="utf-8")
    return written


def _known(folder: Path, held: Mapping[str, Any]) -> Known:
    """Return what can be told; what can't yet is left to be written by hand."""
    do: dict[str, tuple[str, ...]] = {}
    rows: dict[str, Sequence[Sequence[str]]] = {}
    with suppress(InputError):
        planned = session(folder=folder)
        do = {"readout": _readings(planned), "charge": _charge(planned), "drain": _drain(planned)}
        rows["readout"] = _voltages(planned)
    with suppress(InputError):
        rows["drain"] = [_drain_row(state) for state in drain.inputs(held).drain_states]
    with suppress(InputError):
        result = ui_states.analyse(ui_states.inputs(held), folder=folder)
        if isinstance(result, Assessment):
            rows["ui_states"] = [(trial.state, trial.event) for trial in result.next_trials]
    states = held.get("ui_states")
    if isinstance(states, dict):
        rows["States"] = [_state(name, about) for name, about in states.items()]
    return Known(_head(held), tuple(_meters(held)), {key: told for key, told in do.items() if told}, rows)


def _readings(planned: Session) -> tuple[str, ...]:
    return (planning.readings(planned).sentences[0], say("sheet_readings"))


def _voltages(planned: Session) -> list[tuple[str, ...]]:
    plan = readout.plan(
        resolution_V=planned.readout_resolution_V,
        range_V=planned.readout_range_V,
        wanted_width_V=planned.readout_wanted_width_V,
        meter=planned.voltmeter.meter(),
        gain=True,
    )
    return [(volts(one),) for one in plan.all_at_once_V] if plan.readings is not None else []


def _charge(planned: Session) -> tuple[str, ...]:
    told = planning.charge_log(planned)
    best = in_line(planned)
    return (
        told.sentences[0],
        say("sheet_pull", parts=[f"{what}: {length}" for what, length in told.rows]),
        say(
            "sheet_range",
            name=best.name,
            scale=formatting.rough(best.full_scale, "A") if best.full_scale else "",
        ),
    )


def _drain(planned: Session) -> tuple[str, ...]:
    """Return which range to use, of the meter that is for small currents, and for how long."""
    return (planning.drain_ranges(planned).sentences[0], planning.drain_log(planned).sentences[0])


def _drain_row(state: Any) -> tuple[str, ...]:
    scale = state.range_full_scale_A
    return (state.name, formatting.rough(scale, "A") if scale else "")


def _state(name: str, about: Any) -> tuple[str, ...]:
    told = about if isinstance(about, dict) else {}
    is_so = [word for word in ("charging", "cable", "locked") if told.get(word)]
    return (str(name), str(told.get("light_percent", "")), ", ".join(is_so), str(told.get("shows", "")))


def _head(held: Mapping[str, Any]) -> dict[str, str]:
    device, cell = (_block(held, name) for name in ("device", "cell"))
    claims = held.get("claims") if isinstance(held.get("claims"), list) else []
    said = [str(claim.get("says", "")) for claim in claims or () if isinstance(claim, dict)]
    told: dict[str, list[Any]] = {
        "Sample, serial, firmware": [device.get(name) for name in ("sample", "serial", "firmware")],
        "Cell: label, chemistry, capacity, limit": [
            cell.get("label"),
            cell.get("chemistry"),
            _with(cell.get("rated_capacity_Ah"), "Ah"),
            _with(cell.get("charge_limit_V"), "V"),
        ],
        "To declare: from whom, paid, links": [
            _called("paid", device.get("payment")),
            _called("links", device.get("links")),
            device.get("afterwards"),
        ],
        "Maker’s claims, from the box": said,
    }
    return {label: "; ".join(str(part) for part in parts if part)[:110] for label, parts in told.items()}


def _block(held: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = held.get(name)
    return found if isinstance(found, dict) else {}


def _with(value: Any, unit: str) -> str:
    return f"{value} {unit}" if isinstance(value, int | float) else str(value or "")


def _called(label: str, value: Any) -> str:
    return f"{label}: {value}" if value else ""


def _meters(held: Mapping[str, Any]) -> Iterator[tuple[str, ...]]:
    for name in ("voltmeter", "ammeter", "drain_ammeter"):
        meter = _block(held, name)
        if meter:
            ranges = meter.get("ranges") if isinstance(meter.get("ranges"), list) else []
            scales = [str(one.get("full_scale", "")) for one in ranges or () if isinstance(one, dict)]
            yield (
                str(meter.get("name") or name),
                ", ".join(scales) or _with(meter.get("full_scale"), ""),
                str(meter.get("resolution") or ""),
                str(meter.get("accuracy") or ""),
                ", ".join(_with(meter[key], "Ω") for key in ("burden_ohm", "leads_ohm") if meter.get(key)),
                str(meter.get("last_check") or "").partition(",")[0][:40],
            )
