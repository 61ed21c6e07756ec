"""Small valid reviews of every section at random, held in memory: values, logs and tables as rows of text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from random import Random
from typing import Any

import adversary
import drain_devices
import numpy as np

NAMES = (
    *("Hazel", "Ольха", "Σφένδαμος", "ירוק", "نور", "दीपक", "โคมไฟ", "灯一", "ランプ", "등불"),
    *(
        "Müller’s lampe",
        "verrouillé",
        "待机",
        "😀",
        "a" * 120,
        "3",
        "yes",
        "x.y/z",
        "=1+1",
        "n/a",
        "  wide  ",
    ),
)
"""Names in ten scripts, and some that are hard for another reason."""

BEGAN = datetime(2026, 2, 17, 8, 0, 0)
Rows = list[list[str]]


@dataclass
class Review:
    """A review folder that is not written yet.

    Parameters
    ----------
    values : dict
        What the review file says.
    tables : dict of str to rows
        By path; the ending says what kind of file it becomes.
    links : list of str
        Links to nowhere that lie in the folder.
    """

    values: dict[str, Any]
    tables: dict[str, Rows] = field(default_factory=dict)
    links: list[str] = field(default_factory=list)


def draw(draw: Random) -> Review:
    """Return a valid review of one section, now and then of all."""
    review = Review({"device": {"name": draw.choice(NAMES), "sample": "invented"}})
    kinds = [*PARTS] if draw.random() < 0.03 else draw.choices([*PARTS], weights=(3, 4, 4, 3))
    if draw.random() < 0.5:
        review.values["cell"] = _cell(draw)
    for kind in kinds:
        PARTS[kind](draw, review)
    if draw.random() < 0.3:
        review.values["claims"] = [_claim(draw)]
    if draw.random() < 0.3:
        review.values["review"] = {
            "title": draw.choice(NAMES),
            "edition": draw.choice([0, 1, 2]),
            "ambient_C": 21,
        }
    if draw.random() < 0.02:
        review.links = [draw.choice(["logs/.#charge.csv", ".#review.yaml", "old"])]
    return review


def _claim(draw: Random) -> dict[str, Any]:
    about = draw.choice(
        ["readout.largest_error", "drain.standby.mean", "drain.standby.days_to_empty", "charge.hold_voltage"]
    )
    unit = {"r": "V", "d": "A", "c": "V"}[about[0]] if "days" not in about else "d"
    return {
        "about": about,
        draw.choice(["at_most", "at_least"]): f"{draw.choice([0, 1e-6, 0.1, 4.2, 100])} {unit}",
    }


def _cell(draw: Random) -> dict[str, Any]:
    whole = {
        "label": draw.choice(NAMES),
        "chemistry": draw.choice(["NMC", "NCA", "LCO", "LMO", "Li-ion"]),
        "rated_capacity_Ah": draw.choice([0.1, 1.0, 3.0, "3400 mAh"]),
        "charge_limit_V": draw.choice([4.1, 4.2, "4350 mV"]),
        "max_charge_A": draw.choice([0.5, 1.7, "3 A"]),
        "floor_V": 2.8,
    }
    return {key: value for key, value in whole.items() if draw.random() < 0.7}


def write_log(draw: Random, review: Review, name: str, columns: dict[str, Any]) -> str:
    """Hold a log of the columns {heading: texts}, the first its times in seconds; return its path."""
    times, *others = columns.items()
    stamps = _stamps(draw, times[1])
    rows = [[stamps[0], *(heading for heading, _ in others)]]
    rows += [list(row) for row in zip(stamps[1], *(texts for _, texts in others), strict=True)]
    path = f"logs/{name}{draw.choice(['.csv', '.csv', '.csv', '.xlsx', '.parquet'])}"
    review.tables[path] = rows
    return path


def _stamps(draw: Random, times_s: Any) -> tuple[str, list[str]]:
    if draw.random() < 0.5:
        return "Time (s)", [f"{one:.6g}" if one < 1e5 else f"{one:.1f}" for one in times_s]
    return "Time", [(BEGAN + timedelta(seconds=float(one))).isoformat(" ", "milliseconds") for one in times_s]


def _texts(values: Any, step: float) -> list[str]:
    places = min(max(-int(np.floor(np.log10(step))), 0), 12)
    return ["OL" if not np.isfinite(one) else f"{one:.{places}f}" for one in values]


_QUICK = tuple(kind for kind in adversary.KINDS if not kind.startswith("physics"))
"""Drawing the others takes half a minute each."""


@cache
def _charge(kind: str) -> adversary.Charge:
    return adversary.draw(kind, 0)


def charge(draw: Random, review: Review) -> None:
    """Add a charge of one of the simulated kinds, its logs thinned to some hundred rows."""
    made = _charge(draw.choice(_QUICK))
    said = made.declared()
    review.values.update(
        charge_runs=said["charge_runs"], voltmeter=said["voltmeter"], ammeter=said["ammeter"]
    )
    review.values["cell"] = {**review.values.get("cell", {}), **said["cell"]}
    run = review.values["charge_runs"][0] = {**said["charge_runs"][0], "source": draw.choice(NAMES)}
    rows = draw.randint(60, 600)
    taken = {}
    for key, log, unit in (("voltage", made.voltage, "V"), ("current", made.current, "A")):
        every = max(len(log.stamp_s) // rows, 1)
        step = min(one.resolution for one in log.meter.ranges)
        start = log.stamp_s[0]
        taken[key] = log.stamp_s[::every] - start, _texts(log.shown[::every], step)
        run[key] = write_log(
            draw, review, key, {"t": taken[key][0], f"{key.title()} ({unit})": taken[key][1]}
        )
    if draw.random() < 0.25:
        times = taken["voltage"][0]
        review.values["source_voltmeter"] = {"accuracy": "±(0.3 % + 2)", "resolution": "1 mV"}
        review.values["source_ammeter"] = {"accuracy": "±(0.3 % + 2)", "resolution": "1 mA"}
        current = np.interp(times, taken["current"][0], [float(one) for one in taken["current"][1]])
        port = {
            "t": times,
            "Port voltage (V)": _texts(5.1 - 0.1 * current, 1e-3),
            "Port current (A)": _texts(0.95 * current, 1e-3),
            "Cell temperature (°C)": _texts(21 + 8 * current, 0.1),
        }
        path = write_log(draw, review, "port", port)
        wanted = {"source_voltage": 2, "source_current": 3, "temperature": 4}
        run.update({key: {"path": path, "value": place} for key, place in wanted.items()})


def drain(draw: Random, review: Review) -> None:
    """Add drain states: logs of every kind of device, some with a start that is odd, and single readings."""
    states = []
    names = draw.sample(NAMES, k=draw.randint(1, 3))
    if draw.random() < 0.5:
        names[0] = "standby"
    step = 1e-7
    for number, name in enumerate(names):
        if draw.random() < 0.3:
            states.append({"name": name, "reading_A": draw.choice([0.0, "2.4 uA", 1e-3, "-1 uA"])})
            continue
        log, step = _drain_log(draw, review, number)
        states.append({"name": name, **log})
    ranges = [
        {"full_scale": 6000 * step * 100**k, "resolution": step * 100**k, "burden_ohm": 100 / 10**k}
        for k in (0, 1)
    ]
    block = {"accuracy": f"±({draw.choice([0, 0.5, 1.5])} % + {draw.choice([0, 3, 10])})"}
    block |= {"ranges": ranges} if draw.random() < 0.3 and len(states) == 1 else {"resolution": 1e-9}
    if "ranges" in block:
        states[0]["range_full_scale_A"] = draw.choice(ranges)["full_scale"]
    review.values["drain_ammeter"] = block
    review.values["drain_states"] = states
    if draw.random() < 0.2:
        states[0]["limit_A"] = draw.choice(["1 uA", 1e-3])


def _drain_log(draw: Random, review: Review, number: int) -> tuple[dict[str, Any], float]:
    made = drain_devices.record(draw.randrange(10_000), draw.choice(drain_devices.KINDS))
    rows = min(draw.randint(60, 600), len(made.time_s))
    time_s, current_A = made.time_s[:rows], made.current_A[:rows].copy()
    step, top = made.resolution_A, float(np.nanmax(current_A))
    part = draw.randint(1, rows - 4)
    odd = draw.choice(["", "", "", "OL first", "ramp", "slow rise", "exact", "one step", "zero", "negative"])
    if odd == "OL first":
        current_A[:part] = np.nan
    elif odd == "ramp":
        current_A = np.linspace(0, top * draw.choice([1, 30]), rows)
    elif odd == "slow rise":
        current_A = top * (1 - np.exp(-time_s / time_s[-1] * draw.choice([0.1, 1, 5])))
    elif odd == "exact":
        current_A[:] = draw.choice([0.0, step, top])
    elif odd == "one step":
        current_A[part:] = current_A[0]
    elif odd == "zero":
        current_A[:part] = 0.0
    elif odd == "negative":
        current_A = current_A - top
    unit, factor = draw.choice([("A", 1.0), ("mA", 1e3), ("µA", 1e6)])
    texts = _texts(current_A * factor, step * factor)
    entry: dict[str, Any] = {
        "log": write_log(draw, review, f"drain-{number}", {"t": time_s, f"Current ({unit})": texts})
    }
    windows = draw.choice(["gapless", "with gaps", "", "aperture"])
    entry |= {"aperture_s": made.interval_s / 3} if windows == "aperture" else {"windows": windows}
    return entry, step


def readout(draw: Random, review: Review) -> None:
    """Add a table of readings of a device with a rule, an offset and a gain of its own."""
    step = draw.choice([0.1, 0.1, 0.01, 0.05, 0.25])
    offset, gain, share = (
        draw.uniform(-0.3, 0.3) * step,
        1 + draw.uniform(-0.02, 0.02),
        draw.choice([0.0, 0.5, 0.99]),
    )
    marks = draw.random() < 0.2
    heads = ["reference (V)", "shown"] + [
        name for name in ("load (mA)", "warning", "remark") if draw.random() < 0.3
    ]
    rows = [heads]
    for _ in range(draw.randint(1, 30)):
        volts = draw.uniform(2.9, 4.25)
        shown = int((volts * gain + offset) / step + share) * step
        said = f"{max(int((volts - 2.9) / 0.3), 0)}" if marks else f"{shown:.2f}"
        more = {
            "load (mA)": draw.choice(["0", "120"]),
            "warning": "low" if volts < 3.3 else "",
            "remark": draw.choice(NAMES),
        }
        rows.append([f"{volts:.3f}", said, *(more[name] for name in heads[2:])])
    path = f"readout{draw.choice(['.csv', '.csv', '.xlsx'])}"
    review.tables[path] = rows
    review.values.update(readout_table=path, voltmeter={"accuracy": "±(0.05 % + 2)", "resolution": "1 mV"})
    if marks:
        review.values["readout_shows"] = "marks"
    elif draw.random() < 0.7:
        review.values["readout_resolution_V"] = step
    if draw.random() < 0.2:
        low = draw.uniform(2.5, 3.9)
        review.values["readout_range_V"] = [low, low + draw.choice([0.1, 0.100001, 0.5, 1.2])]
    if draw.random() < 0.2:
        review.values["readout_gain_bound_percent"] = draw.choice([0, 0.001, 4, 20])
    if draw.random() < 0.2:
        review.values["readout_cell_ohm"] = draw.choice([0, 0.05, "50 mohm"])


_EVENTS = (
    *("press", "hold", "turn the ring", "lock", "unlock", "cable in", "cable out"),
    *("power lost", "power back", "charge complete", "time passed", "press in the bag", "too hot", "cools"),
)


def ui(draw: Random, review: Review) -> None:
    """Add a machine of a few states, some that nothing reaches, with outcomes and signals."""
    names = draw.sample(NAMES, k=draw.randint(2, 5))
    states = {name: _state(draw) for name in names}
    rows = [["state", "event", "next", "seen", "tried", "remark", "video"]]
    for name in names:
        for event in draw.sample(_EVENTS, k=draw.randint(0, 8)):
            rows += _outcomes(draw, names, states, name, event)
    path = f"transitions{draw.choice(['.csv', '.csv', '.xlsx'])}"
    review.tables[path] = rows
    review.values.update(ui_states=states, ui_transitions=path)
    shown = [state["shows"] for state in states.values() if state.get("shows")]
    if shown:
        review.values["ui_signals"] = {shown[0]: draw.choice(_SIGNALS)}
    if draw.random() < 0.3:
        when = draw.choice(
            ["light_percent >= 30 and cable", "not locked", "error or charging", "light_percent == 0"]
        )
        review.values["ui_hazards"] = [{"name": draw.choice(NAMES), "when": when}]
    if draw.random() < 0.4:
        review.values["ui_leave_in"] = draw.sample(names, k=draw.randint(1, len(names)))
    if draw.random() < 0.3 and len(rows) > 1:
        row = draw.choice(rows[1:])
        review.values["ui_walks"] = [[row[0], row[1]]]


_SIGNALS = (
    *({"flashes": 10, "seconds": 20}, {"flashes": 1, "seconds": 0.1}, {"lit_s": [0.1], "dark_s": [0.9]}),
    {"flashes": 41, "seconds": 10, "video_frames_per_second": 30},
)


def _state(draw: Random) -> dict[str, Any]:
    state: dict[str, Any] = {}
    if draw.random() < 0.5:
        state["light_percent"] = draw.choice([0, 5, 100, 0.001])
    state |= {key: draw.choice([True, False]) for key in ("locked", "error") if draw.random() < 0.25}
    state |= {key: True for key in ("charging", "cable") if draw.random() < 0.3}
    if draw.random() < 0.4:
        state |= {
            "shows": draw.choice(["red", "green", *NAMES[:6]]),
            "action": draw.choice(["wait", "let it cool"]),
        }
    return state


def _outcomes(draw: Random, names: list[str], states: dict[str, Any], name: str, event: str) -> Rows:
    def on(state: str) -> bool:
        return bool(states[state].get("charging") or states[state].get("cable"))

    fitting = {"cable in": lambda to: on(to), "cable out": lambda to: not on(to)}.get(event, lambda to: True)
    nexts = [to for to in names if fitting(to)]
    if not nexts or draw.random() < 0.1:
        return [[name, event, "n/a", "", "", "", ""]]
    tried = draw.randint(1, 20)
    if len(nexts) > 1 and tried > 1 and draw.random() < 0.2:
        seen = draw.randint(1, tried - 1)
        one, two = draw.sample(nexts, k=2)
        return [
            [name, event, one, str(seen), str(tried), "", ""],
            [name, event, two, str(tried - seen), str(tried), "", "1:02"],
        ]
    return [[name, event, draw.choice(nexts), str(tried), str(tried), "", ""]]


PARTS: dict[str, Callable[[Random, Review], None]] = {
    "charge": charge,
    "drain": drain,
    "readout": readout,
    "ui_states": ui,
}
