"""Whether what needs a hand is told in time, and nothing is told that is not so.

``alarms.py --nights 50`` plants each fault in so many replayed charges and prints how many were told within
three rows or 30 s (and 5 s from look to look, and a row until the fault is in a row); ``--whole 100`` follows
so many whole charges of all kinds in which nothing is planted, and prints the alarms that the charge's own
truth does not bear out.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2] / "examples")]

from adversary import KINDS, Charge, draw  # noqa: E402
from adversary.chargers import Regime  # noqa: E402
from nights import Night, changed, clock_set, cut, kept_on  # noqa: E402

from reviewkit.following import Alarm, follower  # noqa: E402

EARLY_S, LATE_S = 900.0, 200.0
FLOOR_V = 2.5


def steady_row_s(charge: Charge) -> float:
    """Return the slower log's usual interval [s]."""
    return max(float(np.median(np.diff(one.true_s))) for one in (charge.voltage, charge.current))


def quiet(charge: Charge) -> bool:
    """Whether neither log has a gap nor a change of rate, so that what is planted is the only fault."""
    meters = (charge.voltage.meter, charge.current.meter)
    return not any(one.gaps or one.rates for one in meters)


def _over(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = (charge.marks.knee or charge.marks.start) + 300.0
    cell = charge.bench.declared["cell"]
    most = cell["charge_limit_V"] + 0.05
    high = most + 2 * charge.voltage.meter.ranges[0].stated(most) + 0.01
    return Night(charge, folder, {"voltage": changed(at, lambda shown: 0 * shown + high)}), at, "over limit"


def _below(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = charge.marks.start
    low = FLOOR_V - 2 * charge.voltage.meter.ranges[0].stated(FLOOR_V) - 0.05
    faults = {"voltage": changed(0.0, lambda shown: 0 * shown + low, at + 600)}
    return Night(charge, folder, faults), at, "below floor"


def _hot(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = charge.marks.start + 1200.0
    night = Night(charge, folder, hot=lambda moments: np.where(moments < at, 31.0, 49.0))
    return night, at, "too hot"


def _steady(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    """An hour without a fall is what makes a trickle: the fault is there at its end."""
    begins = 0.5 * ((charge.marks.knee or 0.0) + charge.marks.end)
    level = float(charge.course.at([begins], charge.course.current_A)[0])
    volts = float(charge.course.at([begins], charge.course.cell_V)[0])
    faults = {"current": kept_on(begins, level, 4500.0), "voltage": kept_on(begins, volts, 4500.0)}
    return Night(charge, folder, faults, read_every_s=20.0), begins + 3600.0, "current steady"


def _resumed(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = charge.marks.end + 400.0
    level = 0.5 * charge.charger.plateau_A
    return (
        Night(charge, folder, {"current": changed(at, lambda shown: 0 * shown + level)}),
        at,
        "charge resumed",
    )


def _stopped(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = charge.marks.start + 1000.0
    return Night(charge, folder, {"current": changed(at, lambda shown: 0 * shown)}), at, "charge stopped"


def _silent(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = charge.marks.start + 1100.0
    last = float(charge.voltage.true_s[charge.voltage.true_s < at][-1])
    return Night(charge, folder, {"voltage": cut(at)}), last, "log silent"


def _auto_off(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = float(charge.current.true_s[0]) + 1800.0
    last = float(charge.current.true_s[charge.current.true_s <= at][-1])
    return Night(charge, folder, {"current": cut(at + 0.01)}), last, "log silent"


def _overload(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = charge.marks.start + 900.0
    return Night(charge, folder, {"current": changed(at, lambda shown: shown + np.nan)}), at, "overload"


def _coarse(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = charge.marks.end - 120.0
    level = float(charge.course.at([at], charge.course.current_A)[0])
    meter = {"accuracy": "±(1 % + 2)", "resolution": level / 19, "burden_ohm": 0.03, "leads_ohm": 0.02}
    return Night(charge, folder, more={"ammeter": meter}), at, "range too coarse"


def _small(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = charge.marks.start
    full = 1.02 * charge.charger.plateau_A
    step = charge.current.meter.ranges[0].resolution
    meter = {"accuracy": "±(1 % + 2)", "resolution": step, "full_scale": full, "burden_ohm": 0.03}
    return Night(charge, folder, more={"ammeter": meter}), at, "range too small"


def _astray(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    at = charge.marks.start + 1000.0
    return Night(charge, folder, {"voltage": clock_set(at, 90.0)}), at, "clock astray"


def _full(charge: Charge, folder: Path) -> tuple[Night, float, str]:
    """The disk is looked at once a minute: the fault is counted from the look that could show it."""
    night = Night(charge, folder)
    at = charge.marks.start + 600.0
    night_disk = follower.growing.free_bytes

    def room(place: Path) -> int:
        return 10**7 if night.now_s >= at else night_disk(place)

    follower.growing.free_bytes = room
    return night, at + follower.LOOK_EVERY_S, "disk nearly full"


FAULTS: dict[str, Callable[[Charge, Path], tuple[Night, float, str]]] = {
    "cell over its limit": _over,
    "cell below its floor": _below,
    "too hot": _hot,
    "current no longer falls": _steady,
    "charge resumed": _resumed,
    "charge stopped": _stopped,
    "log no longer grows": _silent,
    "meter switched itself off": _auto_off,
    "overload": _overload,
    "range too coarse": _coarse,
    "range about to overflow": _small,
    "clock astray": _astray,
    "disk nearly full": _full,
}


GRADUAL = ("range too coarse", "disk nearly full", "current no longer falls")


def told_after(fault: str, charge: Charge, folder: Path) -> tuple[float | None, float]:
    """Return how long after it is there a planted fault is told [s], None if never, and what is allowed."""
    before = follower.growing.free_bytes
    try:
        night, at, kind = FAULTS[fault](charge, folder)
        row_s = steady_row_s(charge)
        if night.hot is not None:
            row_s *= 5
        for moment in (at - EARLY_S, *np.arange(at - 40.0, at, 5.0)):
            state = night.at(float(moment))
            # What grows step by step, or was there before the look that could show it, may be told before.
            if fault in GRADUAL and any(one.kind == kind for one in state.new_alarms):
                return float(moment) - at, 0.0
        allowed = max(30.0, 3 * row_s) + row_s + 5.0
        found = night.first(kind, at, at + LATE_S + 4 * row_s)
        if found is None:
            return None, allowed
        if fault == "meter switched itself off" and "switches itself off" not in found[1].says:
            return None, allowed
        return found[0] - at, allowed
    finally:
        follower.growing.free_bytes = before


def is_true(alarm: Alarm, charge: Charge, moment_s: float) -> bool:
    """Whether the charge's own truth bears out an alarm told at a moment."""
    course, at = charge.course, charge.marks
    amps = float(course.at([moment_s], course.current_A)[0])
    if alarm.kind == "below floor":
        return float(course.at([at.start], course.cell_V)[0]) < FLOOR_V + 0.03
    if alarm.kind == "charge stopped":
        return bool(abs(amps) < 0.05 * charge.charger.plateau_A)
    if alarm.kind == "charge resumed":
        return course.regime_at([moment_s])[0] == Regime.TOP_UP or moment_s < at.end
    if alarm.kind == "current steady":
        return charge.charger.stop_A is None
    if alarm.kind == "log silent":
        rows = (charge.voltage if alarm.about == "voltage" else charge.current).true_s
        before, after = rows[rows <= moment_s], rows[rows > moment_s]
        return bool(not len(after) or moment_s - before[-1] > 3 * np.median(np.diff(before[-20:])))
    if alarm.kind == "range too coarse":
        return abs(amps) < 21 * max(one.resolution for one in charge.current.meter.ranges)
    return False


def whole(charge: Charge, folder: Path, *, every_s: float = 20.0) -> list[tuple[float, Alarm]]:
    """Return the alarms of a whole charge that are not so; its logs' ends are nobody's fault."""
    night = Night(charge, folder, read_every_s=300.0)
    ends = min(float(one.true_s[-1]) for one in (charge.voltage, charge.current))
    wrong = []
    for moment, state in night.through(charge.marks.start - 60.0, ends, every_s):
        wrong += [(moment, one) for one in state.new_alarms if not is_true(one, charge, moment)]
    return wrong


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=50)
    parser.add_argument("--whole", type=int, default=100)
    wanted = parser.parse_args()
    chosen = [one for seed in range(1, 8 * wanted.nights, 2) if quiet(one := draw("plain", seed))]
    chosen = chosen[: wanted.nights]
    for fault in FAULTS if chosen else ():
        with tempfile.TemporaryDirectory() as folder:
            found = [told_after(fault, one, Path(folder) / str(at)) for at, one in enumerate(chosen)]
        late = [one for one, allowed in found if one is None or one > allowed]
        told = [one for one, _ in found if one is not None]
        middle = f"{np.median(told):.0f} s, latest {max(told):.0f} s" if told else "never"
        print(
            f"{fault:28} told in time {len(found) - len(late)} of {len(found)}; median {middle}", flush=True
        )
    kinds, wrong = sorted(KINDS), Counter[str]()
    for number in range(wanted.whole):
        kind = kinds[number % len(kinds)]
        with tempfile.TemporaryDirectory() as folder:
            for moment, one in whole(draw(kind, 2 * number + 1), Path(folder)):
                wrong[one.kind] += 1
                print(f"  false: {kind} {2 * number + 1} at {moment:.0f} s: {one.says}", flush=True)
    print(f"{sum(wrong.values())} false alarms in {wanted.whole} whole charges: {dict(wrong)}")


if __name__ == "__main__":
    main()
