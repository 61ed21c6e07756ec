"""A small review folder without a fault: invented, and quick to check."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from pathlib import Path

VOLTMETER = """\
voltmeter:
  accuracy: "±(0.05 % + 2)"
  resolution: 1 mV
  full_scale: 6 V
"""
AMMETER = """\
ammeter:
  accuracy: "±(0.5 % + 3)"
  resolution: 1 mA
  full_scale: 10 A
  burden_ohm: 0.03
  leads_ohm: 0.02
"""
CHARGE_RUNS = """\
charge_runs:
  - source: wall adapter
    source_controls_charge: false
    voltage: logs/voltage.csv
    current: logs/current.csv
"""
DRAIN_AMMETER = """\
drain_ammeter:
  accuracy: "±(1.0 % + 3)"
  ranges:
    - {full_scale: 600 uA, resolution: 0.1 uA, burden_ohm: 100}
    - {full_scale: 6 mA, resolution: 1 uA, burden_ohm: 10}
"""
UI_STATES = """\
ui_states:
  off: {light_percent: 0}
  lit: {light_percent: 80}
  charging: {charging: true, shows: red}
  full: {cable: true, shows: green}
"""
REVIEW = f"""\
device:
  name: Hazel
  sample: invented
review:
  title: "Hazel: an invented lamp"
  edition: 1
  ambient_C: 21
  video: ""
cell:
  label: test cell
  chemistry: NMC
  rated_capacity_Ah: 2.0
  charge_limit_V: 4.20
  max_charge_A: 2.0
{VOLTMETER}{AMMETER}claims:
  - {{about: readout.largest_error, at_most: 0.1 V}}
{CHARGE_RUNS}{DRAIN_AMMETER}drain_states:
  - {{name: standby, log: logs/standby.csv, range_full_scale_A: 6 mA, windows: gapless}}
  - {{name: locked, reading_A: 2.4 uA, range_full_scale_A: 600 uA}}
readout_table: readout.csv
readout_resolution_V: 0.1
{UI_STATES}ui_transitions: transitions.csv
ui_hazards:
  - {{name: lit on the cable, when: light_percent >= 30 and cable}}
ui_leave_in: [charging, full]
ui_signals:
  red: {{flashes: 10, seconds: 20}}
ui_walks:
  - [off, press, press]
"""

READOUT = """\
reference (V),shown,remark
3.605,3.6,
3.557,3.6,
4.172,4.2,after the charge
4.138,4.1,
3.081,3.1,
3.533,3.5,
"""

TRANSITIONS = """\
state,event,next,seen,tried,remark,video
off,press,lit,10,10,,0:12
lit,press,off,10,10,,
off,cable in,charging,5,5,,1:02
lit,cable in,charging,5,5,light goes out,
charging,cable out,off,5,5,,
charging,charge complete,full,3,3,,
charging,power lost,off,0,3,,
full,cable out,off,5,5,,
full,power lost,off,0,3,,
"""

CHAPTERS = """\
time,title,about
0:00,The lamp,
0:40,A night on the charger,charge
2:15,What it draws,drain.standby.mean
"""

WORDS = "It gives {charge.plateau_current} and draws {drain.standby.mean}.\n"

STEP_S = 30
_PLATEAU_A, _LIMIT_V, _SERIES_OHM, _LEFT_AH = 1.0, 4.2, 0.15, 1.45
_BEFORE, _AFTER = 10, 60
_START = datetime(2026, 2, 10, 21, 38)


def charge(*, first_V: float = 3.45) -> list[tuple[float, float]]:
    """Voltage [V] and current [A] of a charge, one pair every half minute."""
    pairs = [(first_V, 0.0)] * _BEFORE
    put_in_Ah, current_A = 0.0, _PLATEAU_A
    while current_A > 0.05:
        rest_V = first_V + (_LIMIT_V - first_V) * put_in_Ah / _LEFT_AH
        current_A = min(_PLATEAU_A, (_LIMIT_V + 0.02 - rest_V) / _SERIES_OHM)
        pairs.append((rest_V + _SERIES_OHM * current_A, current_A))
        put_in_Ah += current_A * STEP_S / 3600
    rest_V = pairs[-1][0]
    return pairs + [(rest_V - 0.02 * (1 - math.exp(-row / 10)), 0.0) for row in range(1, _AFTER)]


def log(
    heading: str, values: list[float], *, digits: int, start: datetime = _START, step_s: int = STEP_S
) -> str:
    """Readings as a meter's log."""
    stamps = (start + timedelta(seconds=step_s * row) for row in range(len(values)))
    lines = [
        f"{stamp:%Y-%m-%d %H:%M:%S},{value:.{digits}f}" for stamp, value in zip(stamps, values, strict=True)
    ]
    return "\n".join([f"Time,{heading}", *lines, ""])


def write(folder: Path) -> Path:
    """Write the good folder."""
    (folder / "logs").mkdir(parents=True)
    pairs = charge()
    drain = [43.0 if row % 8 else 60.0 + row % 3 for row in range(160)]
    texts = {
        "review.yaml": REVIEW,
        "readout.csv": READOUT,
        "transitions.csv": TRANSITIONS,
        "chapters.csv": CHAPTERS,
        "words.md": WORDS,
        "logs/voltage.csv": log("Voltage (V)", [volts for volts, _ in pairs], digits=3),
        "logs/current.csv": log("Current (A)", [amps for _, amps in pairs], digits=3),
        "logs/standby.csv": log("Current (µA)", drain, digits=0, step_s=1),
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder
