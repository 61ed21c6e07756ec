"""Logs drawn at random: `python -m tests.writers.drawn --logs 10000`; status 1 where one is wrong unsaid."""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .judged import Outcome, judge
from .pieces import (
    A,
    Column,
    T,
    Truth,
    V,
    W,
    elapsed,
    epoch,
    mAh,
    number,
    same,
    seconds,
    stamped,
    steps,
    truth,
)
from .styles import Text, quoted, wrapped

Made = tuple[str, str, Column, float, str]
"""Heading, unit for a row of units, cells, the step that they are written in (SI), and what they are: "V mV",
"time min", "" for a column that nobody asked for."""

_TIME_WORDS = (
    *("Time", "Test Time", "Elapsed", "Elapsed time", "t", "time", "TIME", "Test_Time", "total_time", "Zeit"),
    *("Laufzeit", "Temps écoulé", "Tiempo", "时间", "测试时间", "Run time", "Time since start", "Timestamp"),
)
_TIME_UNITS = {
    "s": (1.0, ("s", "S", "sec", "Sec", "seconds", "secs", "Sekunden", "secondes", "seg", "秒")),
    "ms": (1e-3, ("ms", "msec", "milliseconds", "millis", "毫秒")),
    "min": (60.0, ("min", "Min", "minutes", "mins", "Minuten", "分钟")),
    "h": (3600.0, ("h", "hr", "Hour", "hours", "Stunden", "小时")),
    "us": (1e-6, ("us", "µs", "usec")),
}
_UNKNOWN_TIME = ("ticks", "x", "jiffies", "counts", "m", "frames")
_WORDS = {
    "V": (
        "Voltage",
        "U",
        "V",
        "Cell voltage",
        "Volt",
        "Spannung",
        "Akkuspannung",
        "Tension",
        "Voltaje",
        "电压",
        "Vbat",
        "U_cell",
    ),
    "A": (
        "Current",
        "I",
        "Charge current",
        "Strom",
        "Ladestrom",
        "Courant",
        "Corriente",
        "电流",
        "Ibat",
        "DC Current",
        "Amps",
    ),
    "T": ("Temperature", "Temp", "Temperatur", "Température", "温度", "T_cell"),
}
_UNITS = {
    "V": {1.0: ("V", "volt", "Volts", "VDC", "伏"), 1e-3: ("mV", "millivolt", "mVDC")},
    "A": {1.0: ("A", "amp", "Ampere", "ADC"), 1e-3: ("mA", "milliamp", "mADC", "毫安"), 1e-6: ("µA", "uA")},
    "T": {1.0: ("°C", "degC", "C", "celsius")},
}
_JOINS: tuple[Callable[[str, str], str], ...] = (
    "{} ({})".format, "{}({})".format, "{} [{}]".format, "{} / {}".format, "{}/{}".format, "{}_{}".format,
    "{}, {}".format, "{} in {}".format, "{} {{{}}}".format, "{} <{}>".format, "{}（{}）".format,
)  # fmt: skip
_STAMPS: tuple[tuple[str, int | None, float], ...] = (
    ("%Y-%m-%d %H:%M:%S", None, 1.0), ("%Y-%m-%dT%H:%M:%S.%f", -3, 1e-3), ("%d.%m.%Y %H:%M:%S", None, 1.0),
    ("%d/%m/%Y %H:%M:%S", None, 1.0), ("%m/%d/%Y %I:%M:%S %p", None, 1.0), ("%d-%b-%Y %H:%M:%S", None, 1.0),
    ("%Y/%m/%d %H:%M:%S.%f", None, 1e-6), ("%H:%M:%S", None, 1.0), ("%H:%M:%S.%f", -5, 0.1),
    ("%I:%M:%S %p", None, 1.0),
    ("%d.%m.%y, %H:%M:%S", None, 1.0), ("%Y%m%d %H%M%S", None, 1.0), ("%Y-%m-%dT%H:%M:%SZ", None, 1.0),
    ("%Y-%m-%d %H:%M", None, 60.0), ("%b %d, %Y %I:%M:%S %p", None, 1.0),
    ("%Y年%m月%d日 %H:%M:%S", None, 1.0),
)  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """One log."""

    data: bytes
    truth: Truth
    holds: str
    step_s: float
    spelled: str
    columns: tuple[tuple[str, str], ...]
    """Heading and meaning of each."""

    def known(self, quantity: str) -> dict[str, tuple[str, ...]]:
        """Return what is true of each key that a refusal may ask for, in every spelling."""
        found: dict[str, tuple[str, ...]] = {}
        for at, (heading, meaning) in enumerate(self.columns):
            what, _, unit = meaning.partition(" ")
            if what in (quantity, "time"):
                key = "value" if what == quantity else "time"
                found.setdefault(key, (str(at + 1), heading))
                if unit:
                    found.setdefault("unit" if what == quantity else "time_unit", (unit,))
        return found


def draw(seed: int) -> Drawn:
    """Draw a log: a table of one to three quantities, and what a writer may put beside and around them."""
    dice = random.Random(seed)
    t = truth(dice.choice((0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0)), dice.choice((40, 120, 400)))
    holds = dice.choice(("V", "A", "VA", "VA", "VA", "VAT"))
    units_below = dice.random() < 0.15
    times, step_s = _times(dice, t)
    columns = times + [_measured(dice, quantity) for quantity in dice.sample(holds, len(holds))]
    for one in _others(dice):
        columns.insert(dice.randrange(len(columns) + 1), one)
    sep, decimal = dice.choice(((",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", ".")))
    text = _text(dice, columns, sep=sep, decimal=decimal, units_below=units_below)
    t, data = _quirk(dice, t, text)
    spelled = data[:600].decode(text.encoding, "replace")
    return Drawn(data, t, holds, step_s, spelled, tuple((one[0], one[4]) for one in columns))


def _times(dice: random.Random, t: Truth) -> tuple[list[Made], float]:
    kind = dice.random()
    if kind < 0.35:
        spelling, cut, step = dice.choice(_STAMPS)
        made = [
            (
                dice.choice(("Time", "Date Time", "Timestamp", "Datum/Uhrzeit", "时间", "pc_timestamp")),
                "",
                stamped(spelling, cut),
                step,
                "time",
            )
        ]
        return (
            (made, step)
            if "%Y" in spelling or dice.random() < 0.7
            else ([("Date", "", stamped("%Y-%m-%d"), 0.0, ""), *made], step)
        )
    if kind < 0.42:
        scale, digits, name = dice.choice(
            ((1.0, 0, "epoch"), (1e3, 0, "epoch_ms"), (1.0, 3, "unix_time"), (1e3, 0, "timestamp"))
        )
        step = 10.0**-digits / scale
        unit = "s" if scale == 1.0 else "ms"
        return [(name, "", epoch(scale, digits), step, f"time {unit}")], step
    if kind < 0.5:
        pattern, heading = dice.choice((
            ("{h:02d}:{m:02d}:{s:02d}", "Elapsed"), ("{h:d}:{m:02d}:{s:02d}.{f:03d}", "Test Time"),
            ("{M:02d}:{s:02d}", "Time (mm:ss)"), ("{M:02d}:{s:02d}", "Time"),
            ("{h:d}h{m:02d}m{s:02d}s", "Duration"),
            ("{d:d}d {H:02d}:{m:02d}:{s:02d}", "Total Time"),
        ))  # fmt: skip
        unit = "time mm:ss" if pattern.startswith("{M") else "time"
        return [(heading, "", elapsed(pattern), 1.0, unit)], 1.0
    word = dice.choice(_TIME_WORDS)
    unit = dice.choice(("s", "s", "s", "ms", "min", "h", "us"))
    factor, names = _TIME_UNITS[unit]
    digits = dice.choice((0, 1, 3)) if unit == "s" else 0 if unit in ("ms", "us") else dice.choice((4, 6))
    step = max(factor * 10.0**-digits, 1e-9)
    said = dice.random()
    start = dice.choice((0.0, 0.0, 0.0, 7.0))
    cells = seconds(digits, 1 / factor, start)
    if said < 0.75:
        name = dice.choice(names)
        heading = name if dice.random() < 0.12 else dice.choice(_JOINS)(word, name)
        return [(heading, name, cells, step, f"time {unit}")], step
    if said < 0.85:
        return [(f"{word} ({dice.choice(_UNKNOWN_TIME)})", "", cells, step, f"time {unit}")], step
    return [(word, "", cells, step, f"time {unit}")], step


def _measured(dice: random.Random, quantity: str) -> Made:
    factor = dice.choice(list(_UNITS[quantity]))
    name = dice.choice(_UNITS[quantity][factor])
    digits = {1.0: 4, 1e-3: 1, 1e-6: 0}[factor]
    column = {"V": V, "A": A}[quantity](1 / factor, digits) if quantity != "T" else T()
    word = dice.choice(_WORDS[quantity])
    si = {"V": "V", "A": "A", "T": "°C"}[quantity]
    meant = f"{quantity} { {1.0: '', 1e-3: 'm', 1e-6: 'µ'}[factor] }{si}"
    said = dice.random()
    if said < 0.08:
        return (word, "", column, 0.0, meant)
    if said < 0.14 and quantity != "T":
        return (name, name, column, 0.0, meant)
    return (dice.choice(_JOINS)(word, name), name, column, 0.0, meant)


def _others(dice: random.Random) -> list[Made]:
    """Columns that a reader must not mistake for the wanted ones."""
    pool = [
        ("No.", "", number()), ("Power (W)", "W", W()), ("Capacity (mAh)", "mAh", mAh()),
        ("Mode", "", same("CC")), ("Status", "", same("OK")), ("Step_Time(s)", "s", steps(25)),
        ("Set Voltage (V)", "V", same("4.2000")), ("Current limit (A)", "A", same("1.0")),
        ("Energy (Wh)", "Wh", mAh()), ("Index", "", number(0)), ("Ripple (mV)", "mV", same("12")),
        ("Min Voltage (V)", "V", V(0.9)), ("Resistance (ohm)", "ohm", same("0.08")),
    ]  # fmt: skip
    return [(*one, 0.0, "") for one in dice.sample(pool, dice.choice((0, 0, 1, 2, 3)))]


def _text(dice: random.Random, columns: list[Made], *, sep: str, decimal: str, units_below: bool) -> Text:
    line, quote = str, str
    if dice.random() < 0.08:
        line = wrapped
    elif dice.random() < 0.15 or any(
        sep in cell for _, _, cells, *_ in columns for cell in cells(truth(1.0, 2))
    ):
        quote = quoted
    if any(sep in heading for heading, *_ in columns) or (sep == "," and decimal == ","):
        quote = quoted if line is str else quote
        line = str
    units: tuple[str, ...] = ()
    named = [(heading, cells) for heading, _, cells, *_ in columns]
    if units_below and any(unit for _, unit, *_ in columns):
        units = tuple(unit for _, unit, *_ in columns)
    wide = any(ord(sign) > 255 for heading, _ in named for sign in heading) or any(
        "年" in cell for _, c in named for cell in c(truth(1.0, 1))
    )
    encoding = dice.choice(
        ("utf-8", "utf-8", "utf-8-sig", "utf-16") if wide else ("utf-8", "utf-8", "cp1252", "utf-16")
    )
    above = dice.choice(
        (
            "",
            "",
            "",
            "Log of a meter\n",
            "Device,7\nRows,400,\n\n",
            "\n".join(f"# line {n}" for n in range(40)) + "\n",
        )
    )
    return Text(
        named, sep, decimal, above, units, dice.choice(("\n", "\n", "\r\n")), encoding, quote=quote,
        line=line,
        trailing=sep if dice.random() < 0.1 else "", again=dice.choice((0, 0, 0, 0, 37)),
        below=dice.choice(("", "", "", "\nEnd\n")),
    )  # fmt: skip


def _quirk(dice: random.Random, t: Truth, text: Text) -> tuple[Truth, bytes]:
    """Spoil a log in a way that changes what is true of it, or not at all."""
    what = dice.random()
    if what < 0.08:
        keep = np.r_[0 : len(t.time_s) // 2, len(t.time_s) // 2 + 5 : len(t.time_s)]
        t = Truth(t.time_s[keep], t.volts[keep], t.amps[keep], t.degrees[keep], t.began)
    elif what < 0.16:
        pace = np.where(np.arange(len(t.time_s)) % 50 < 10, 0.2, 1.0)
        t = Truth(np.round(np.cumsum(pace) * t.time_s[1], 1) - 0.0, t.volts, t.amps, t.degrees, t.began)
        t = Truth(t.time_s - t.time_s[0], t.volts, t.amps, t.degrees, t.began)
    return t, text(t)


_SAID = (
    ("their heading names no unit", "times by a factor"),
    ("another row has already", "rows, not"),
    ("don't advance alike", "times"),
)
"""What a note says, and the only way in which a log that it stands beside may differ from the truth."""


def is_said(found: Outcome) -> bool:
    """Whether a note of the log says what is amiss with it."""
    return any(note in said and amiss in found.amiss for note, amiss in _SAID for said in found.said[:-1])


def main() -> int:
    """Draw logs and print how many are read how."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=1_000_000)
    chosen = parser.parse_args()
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as room:
        place = Path(room) / "log.csv"
        for seed in range(chosen.first, chosen.first + chosen.logs):
            one = draw(seed)
            place.write_bytes(one.data)
            for quantity in one.holds:
                found = judge(place, quantity, one.truth, step_s=one.step_s, known=one.known(quantity))
                what = "noted" if found.what == "wrong" and is_said(found) else found.what
                counts[what] += 1
                if what in ("wrong", "refused"):
                    print(
                        f"{what} {seed} {quantity}: {found.said[-1][:300]!r}\n    {one.spelled[:160]!r}",
                        flush=True,
                    )
    print(f"{chosen.logs} logs, {counts.total()} quantities: {dict(counts)}")
    return 1 if counts["wrong"] else 0


if __name__ == "__main__":
    sys.exit(main())
