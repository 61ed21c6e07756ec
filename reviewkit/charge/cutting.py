"""A charge cut into its phases, at the current: where it runs, where it stops, where it runs again.

The knee needs the voltage too and has a module of its own.
"""

from __future__ import annotations

import numpy as np

from reviewkit.charge import knee as knees
from reviewkit.charge.phases import Phase, PhaseName, Phases
from reviewkit.charge.record import ChargeRecord
from reviewkit.charge.segments import Ending, Segment, Segments, cut
from reviewkit.metrology import Component, Measured

PRECHARGE_BELOW_V = 3.2
"""A low current counts as precharge only while the cell's voltage is below this; common practice is 3.0 V."""

_PRECHARGE_SHARE = 0.6
_PRECHARGE_LEAST_S = 20.0


def find(record: ChargeRecord) -> Phases | None:
    """Return the phases of a charge, or None if no charge current ever flows.

    Parameters
    ----------
    record : ChargeRecord

    Returns
    -------
    Phases or None
    """
    main = cut(record)
    if main is None:
        return None
    first = main.charging[0].first_s
    precharge_end = _precharge_end(record, main)
    found = knees.find(record, main, from_s=precharge_end.value if precharge_end else first)
    knee = found.moment if found else None
    start = _edge(main.charging[0].before_s, first, "charge start", record)
    end = _edge(main.charging[-1].last_s, main.charging[-1].after_s, "end of charge", record)
    return Phases(
        spans=_spans(record, main, precharge_end, knee),
        first_sample_s=first,
        start=start,
        precharge_end=precharge_end,
        knee=knee,
        end=end,
        ending=_ending(record, main, knee),
        plateau_A=main.level_A,
        set_V=found.set_V if found else None,
        series_ohm=found.series_ohm if found else None,
        threshold_A=main.threshold_A,
        main=main,
        knee_at_start=bool(found and found.from_start),
    )


def _edge(early_s: float, late_s: float, name: str, record: ChargeRecord) -> Measured:
    """Return a moment that lies between two rows."""
    parts = [Component(f"{name}: between two rows", (late_s - early_s) / 2, "s", "rectangular")]
    if record.stamp_s:
        parts.append(stamp(record, name))
    return Measured((early_s + late_s) / 2, "s", tuple(part for part in parts if part.size > 0))


def stamp(record: ChargeRecord, name: str) -> Component:
    """Return the doubt of one cut-off time stamp; the mean lag is the same for all and drops out."""
    return Component(f"{name}: time stamps cut off", record.stamp_s / 2, "s", "rectangular")


def _precharge_end(record: ChargeRecord, main: Segments) -> Measured | None:
    """Return the step from the precharge current up to the plateau, if the charge begins with one."""
    segment = main.charging[0]
    inside = slice(segment.first, segment.last + 1)
    time, current, voltage = record.time_s[inside], record.current[inside], record.voltage[inside]
    high = np.flatnonzero(current >= _PRECHARGE_SHARE * main.level_A)
    if not len(high) or high[0] == 0 or time[high[0]] - time[0] < _PRECHARGE_LEAST_S:
        return None
    step = int(high[0])
    before = voltage[:step][np.isfinite(voltage[:step])]
    if not len(before) or float(np.median(before)) > PRECHARGE_BELOW_V:
        return None
    return _edge(float(time[step - 1]), float(time[step]), "end of precharge", record)


def _ending(record: ChargeRecord, main: Segments, knee: Measured | None) -> Ending:
    last = main.charging[-1]
    if main.ending == "never":
        return "never"
    if main.ending != "log ended":
        pulled = record.cable_out_s
        # The cable's own time is noted by hand: within a minute or two rows it is the same event.
        if pulled is not None and abs(pulled - last.last_s) < max(60.0, 2 * record.interval_s):
            return "cable pulled"
        return "terminated"
    if knee is None:
        return "log ended"
    held_s = last.last_s - knee.value
    charged_s = last.last_s - main.charging[0].first_s
    return "never" if held_s > max(3600.0, 0.6 * charged_s) and _still(record, last) else "log ended"


def _still(record: ChargeRecord, last: Segment) -> bool:
    """Whether the current has stopped falling: less than a fifth over the last third of an hour."""
    late = (record.time_s >= last.last_s - 1200.0) & (record.time_s <= last.last_s)
    values = record.current[late]
    if len(values) < 10:
        return False
    tenth = max(1, len(values) // 10)
    return float(np.median(values[-tenth:])) > 0.8 * float(np.median(values[:tenth]))


def _spans(
    record: ChargeRecord, main: Segments, precharge_end: Measured | None, knee: Measured | None
) -> tuple[Phase, ...]:
    """Return the phases in order; interruptions and top-ups cut them where they fall."""
    cuts: list[tuple[float, PhaseName]] = [(float(record.time_s[0]), "before")]
    if precharge_end:
        cuts += [(main.charging[0].first_s, "precharge"), (precharge_end.value, "constant current")]
    else:
        cuts.append((main.charging[0].first_s, "constant current"))
    if knee:
        cuts.append((knee.value, "constant voltage"))
    cuts = _interrupted(cuts, main)
    cuts.append((main.charging[-1].last_s, "terminated"))
    for again in main.top_ups:
        cuts += [(again.first_s, "top-up"), (again.last_s, "terminated")]
    ends = [moment for moment, _ in cuts[1:]] + [float(record.time_s[-1])]
    return tuple(
        Phase(name, start, end) for (start, name), end in zip(cuts, ends, strict=True) if end > start
    )


def _interrupted(cuts: list[tuple[float, PhaseName]], main: Segments) -> list[tuple[float, PhaseName]]:
    for early, late in zip(main.charging[:-1], main.charging[1:], strict=True):
        resumed = [name for moment, name in cuts if moment <= late.first_s][-1]
        inner = [(moment, name) for moment, name in cuts if not early.last_s < moment <= late.first_s]
        cuts = sorted(
            [*inner, (early.last_s, "interrupted"), (late.first_s, resumed)], key=lambda cut: cut[0]
        )
    return cuts
