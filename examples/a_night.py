"""An invented night, followed: the mains fail at 2:10, the ammeter's log stalls at 3:40.

``python examples/a_night.py`` replays it into growing logs, with a clock of its own, and writes what
`reviewkit follow` said when into ``examples/a-night.md``.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from simulate.charge import alder
from simulate.charger import Pause
from simulate.scenario import Scenario
from simulate.styles import write

from reviewkit.bench_day import follow
from reviewkit.following import State, alarm, lines

BEGAN = datetime(2026, 2, 10, 21, 38, 12)
CUT, BACK, STALLED = (datetime(2026, 2, 11, *when) for when in ((2, 10), (2, 16, 30), (3, 40)))
STILLS = (
    (datetime(2026, 2, 10, 21, 42), "The logs run, the cable is not in yet."),
    (datetime(2026, 2, 10, 23, 30), "Nearly two hours on."),
    (datetime(2026, 2, 11, 2, 9), "A minute before the mains fail."),
    (datetime(2026, 2, 11, 2, 11), "A minute after it."),
    (datetime(2026, 2, 11, 2, 30), "The power is back; the device went on by itself."),
    (datetime(2026, 2, 11, 3, 39), "A minute before the ammeter's log stalls."),
    (datetime(2026, 2, 11, 3, 41), "A minute after it."),
)
REVIEW = """\
device: {name: Alder, sample: invented, as is everything here}
cell: {chemistry: NMC, rated_capacity_Ah: 3.0, charge_limit_V: 4.20, max_charge_A: 1.5}
voltmeter: {accuracy: "±(0.05 % + 2)", resolution: 1 mV}
ammeter: {accuracy: "±(0.5 % + 3)", resolution: 1 mA, burden_ohm: 0.03, leads_ohm: 0.02}
charge_runs: [{source: wall adapter, voltage: logs/voltage.csv, current: logs/current.csv}]
"""
TEXT = """\
# A night, followed

Invented, as its device is: a mountain-rescue team's gear keeper charges Alder overnight; the mains fail at
2:10 for six and a half minutes, and at 3:40 the ammeter's log stalls. This is what `reviewkit follow` said,
and when. Made by `python examples/a_night.py`.
"""


def scenario() -> Scenario:
    """Return Alder on a source of half an ampere, cut off for a while; its ammeter stops logging."""
    usual = alder()
    began_s = (CUT - BEGAN).total_seconds() - usual.before_s
    pause = Pause(began_s, (BACK - CUT).total_seconds())
    ends_s = (STALLED - BEGAN).total_seconds()
    return replace(
        usual,
        charger=replace(usual.charger, plateau_A=0.5, stop_A=0.06, pauses=(pause,)),
        ammeter=replace(usual.ammeter, ends_s=ends_s),
        started=BEGAN,
    )


def replayed(folder: Path) -> Iterator[State]:
    """Give what is said at each look, one every five seconds about the stills and every minute between."""
    run = scenario().run()
    (folder / "logs").mkdir()
    (folder / "review.yaml").write_text(REVIEW, encoding="utf-8")
    logs = []
    for name, rows in (("voltage", run.voltage), ("current", run.current)):
        made = getattr(run.scenario, f"{name}_style"), getattr(run.scenario, f"{name}_unit")
        meter = run.scenario.voltmeter if name == "voltage" else run.scenario.ammeter
        path = folder / "logs" / f"{name}.csv"
        write(path, made[0], rows, meter, unit=made[1], started=BEGAN)
        data = path.read_bytes().splitlines(keepends=True)
        head = len(data) - len(rows.true_s)
        path.write_bytes(b"".join(data[:head]))
        logs.append([path, data[head:], rows.true_s, 0])
    now = [0.0]
    following = follow.follower(folder, clock=lambda: BEGAN.timestamp() + now[0])
    for moment in looks():
        for one in logs:
            path, data, true_s, done = one
            end = int(np.searchsorted(true_s, moment, side="right"))
            with path.open("ab") as opened:
                opened.writelines(data[done:end])
            one[3] = end
        now[0] = moment
        yield following.poll()


def looks() -> Iterator[float]:
    """Give the moments at which the logs are looked at, in seconds since the bench began."""
    last = (STILLS[-1][0] - BEGAN).total_seconds()
    stills = np.array([(when - BEGAN).total_seconds() for when, _ in STILLS])
    moment = 10.0
    while moment <= last:
        yield moment
        ahead = stills[stills > moment]
        near = len(ahead) and ahead[0] - moment <= 125.0
        moment += 5.0 if near else min(60.0, float(ahead[0] - 125.0 - moment) if len(ahead) else 60.0)


def main() -> None:
    """Write the page."""
    os.environ["TZ"] = "UTC"
    if hasattr(time, "tzset"):
        time.tzset()
    page, left = [TEXT], list(STILLS)
    with tempfile.TemporaryDirectory() as name:
        for state in replayed(Path(name)):
            when = datetime.fromtimestamp(state.at_s)
            page += [
                f"**{when:%H:%M:%S}**, at once:\n\n```text\n" + "\n".join(alarm(one)) + "\n```\n"
                for one in state.new_alarms
            ]
            if left and when + timedelta(seconds=4) >= left[0][0]:
                told = "\n".join(lines(state, findings=len(left) in (1, len(STILLS) - 1)))
                page.append(f"## {left[0][0]:%H:%M}\n\n{left[0][1]}\n\n```text\n{told}\n```\n")
                left.pop(0)
    Path(__file__).with_name("a-night.md").write_text("\n".join(page), encoding="utf-8")


if __name__ == "__main__":
    main()
