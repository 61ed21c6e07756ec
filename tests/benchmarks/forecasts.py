"""How often a foretold end holds, and how wide it is: charges at random, at every tenth of each.

``forecasts.py --charges 300`` prints, for a device that is charged for the first time and for one that an
earlier charge has shown, the share of intervals that hold and their half-width over the time that is left;
``--even`` over the seeds that the constants were chosen by. The end is that of the device; a mains cut still
to come is nobody's to foretell, so its length is taken off. Kinds that never end by themselves, or by a
timer, are left out.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2] / "examples")]

from adversary import Charge, draw  # noqa: E402

from reviewkit.charge import delivered, inputs, on_one_clock, regimes  # noqa: E402
from reviewkit.following.forecast import KNOWN_STOP, SoFar, forecast  # noqa: E402
from reviewkit.following.state import so_far  # noqa: E402

KINDS = (
    *("plain", "lfp", "precharge", "soft_start", "fold_steps", "fold_slope"),
    *("droop", "pulses", "cuts", "top_ups", "nearly_full", "hiccups"),
)
TENTHS = range(1, 10)


@dataclass(frozen=True)
class Foretold:
    """One forecast of an end.

    Parameters
    ----------
    known : bool
        Whether an earlier charge has shown the device.
    late : bool
        Whether at least half of the constant-current phase has passed.
    holds : bool
    knee_holds : bool or None
        Likewise of the knee; None where it was not foretold.
    width : float
        Half-width over the time that is left.
    """

    kind: str
    seed: int
    tenth: int
    known: bool
    late: bool
    holds: bool
    knee_holds: bool | None
    width: float


def of_charge(kind: str, seed: int, tenths: range = TENTHS) -> Iterator[Foretold]:
    """Give the forecasts made at every tenth of a charge, with and without an earlier one."""
    charge = draw(kind, seed)
    if charge.marks.ended_by != "device":
        return
    for tenth in tenths:
        share = tenth / 10
        moment = charge.marks.start + share * (charge.marks.end - charge.marks.start)
        known = _so_far(charge, moment)
        if known is None:
            continue
        so, shift = known
        for earlier in (False, True):
            yield _judged(charge, tenth, moment, _with_earlier(so, charge) if earlier else so, shift, earlier)


def _so_far(charge: Charge, moment_s: float) -> tuple[SoFar, float] | None:
    """Return what a log shows up to a moment, and where its charge start lies after the true one [s]."""
    voltage, current, start = charge.voltage, charge.current, charge.marks.start
    declared = inputs(**charge.declared())
    assert declared.voltmeter is not None
    assert declared.ammeter is not None
    rows = [one.series()[one.true_s <= moment_s] for one in (voltage, current)]
    zero = [float(one.meter.clock_s([start])[0] - one.stamp_s[0]) for one in (voltage, current)]
    if min(map(len, rows)) < 6:
        return None
    record = on_one_clock(
        rows[0],
        rows[1].set_axis(rows[1].index.to_numpy(dtype=float) - zero[1] + zero[0]),
        voltmeter=declared.voltmeter.meter(None),
        ammeter=declared.ammeter.meter(None),
    )
    phases = regimes.find(record, cell=declared.cell)
    flows = phases is not None and phases.spans[-1].name in (
        "precharge",
        "constant current",
        "constant voltage",
    )
    if phases is None or not flows:
        return None
    found = so_far(record, phases, delivered.integrate(record, phases), cell=declared.cell)
    return None if found is None else (found, phases.first_sample_s - zero[0])


def _with_earlier(so: SoFar, charge: Charge) -> SoFar:
    """Return what is known with an earlier charge: its set voltage to 3 mV, its last current to 1 %."""
    rng = np.random.default_rng(charge.seed)
    stop = float(charge.charger.stop_A or 0.0) * (1 + 0.01 * rng.standard_normal())
    set_V = charge.charger.set_V + 0.003 * rng.standard_normal()
    ohm = charge.charger.device_ohm + charge.rig_ohm
    return replace(so, stop_A=(stop * (1 - KNOWN_STOP), stop * (1 + KNOWN_STOP)), earlier=(set_V, ohm))


def _judged(charge: Charge, tenth: int, moment_s: float, so: SoFar, shift_s: float, known: bool) -> Foretold:
    at = charge.marks
    pauses = [*charge.charger.cuts, *charge.charger.hiccups]
    begins = [(charge.plugged_s + begin, length) for begin, length in pauses]
    still = sum(
        min(length, max(0.0, begin + length - moment_s)) for begin, length in begins if begin < at.end
    )
    end = at.end - at.start - still - shift_s
    found = forecast(so)
    assert found.end is not None
    knee = None
    if found.knee is not None and at.knee is not None:
        paused = sum(min(n, max(0.0, b + n - moment_s)) for b, n in begins if b < at.knee)
        knee = found.knee.low_s <= at.knee - at.start - paused - shift_s <= found.knee.high_s
    late = at.knee is not None and moment_s - at.start >= (at.knee - at.start) / 2
    left = max(end - so.now_s, 1.0)
    return Foretold(
        charge.kind,
        charge.seed,
        tenth,
        known,
        late,
        found.end.low_s <= end <= found.end.high_s,
        knee,
        (found.end.high_s - found.end.low_s) / 2 / left,
    )


def table(found: list[Foretold]) -> Iterator[str]:
    """Give the lines of the table."""
    for known in (False, True):
        own = [one for one in found if one.known == known]
        if not own:
            continue
        yield "a device charged before" if known else "a device charged for the first time"
        rows = [(f"{tenth}/10", [one for one in own if one.tenth == tenth]) for tenth in TENTHS]
        rows += [("all", own), ("from half of constant current on", [one for one in own if one.late])]
        for name, some in rows:
            if some:
                width = 100 * float(np.median([one.width for one in some]))
                share = 100 * float(np.mean([one.holds for one in some]))
                yield f"  {name:34} {len(some):5} holds {share:9.1f} %, half-width {width:.0f} % of the rest"
        knees = [one.knee_holds for one in own if one.knee_holds is not None]
        yield f"  {'knee':34} {len(knees):5} holds {100 * float(np.mean(knees)):9.1f} %"
        for kind in KINDS:
            some = [one for one in own if one.kind == kind]
            if some:
                share = 100 * float(np.mean([one.holds for one in some]))
                yield f"    {kind:32} {len(some):5} {share:9.1f} %"


def main() -> None:
    """Print the table; ``--keep`` adds what is found to a file of lines, and goes on where it ends."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--charges", type=int, default=300)
    parser.add_argument("--even", action="store_true")
    parser.add_argument("--keep", type=Path)
    wanted = parser.parse_args()
    found: list[Foretold] = []
    if wanted.keep and wanted.keep.exists():
        lines = wanted.keep.read_text(encoding="utf-8").splitlines()
        found = [Foretold(**json.loads(line)) for line in lines]
    done = {(one.kind, one.seed) for one in found}
    for number in range(wanted.charges):
        kind, seed = KINDS[number % len(KINDS)], 2 * (number // len(KINDS)) + (0 if wanted.even else 1)
        if (kind, seed) in done:
            continue
        more = list(of_charge(kind, seed))
        found += more
        if wanted.keep:
            with wanted.keep.open("a", encoding="utf-8") as kept:
                kept.writelines(f"{json.dumps(asdict(one), default=float)}\n" for one in more)
    print(*table(found), sep="\n")


if __name__ == "__main__":
    main()
