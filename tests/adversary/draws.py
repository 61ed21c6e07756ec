"""Charges at random: a kind of charger on a random cell, with random meters, clocks and logs."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from adversary import floors, physics, truth
from adversary.benches import Bench, draw_bench
from adversary.cells import CellModel
from adversary.chargers import Charger, Pulse, Regime
from adversary.course import Bench as Running
from adversary.course import Course
from adversary.meters import LogRows, log

Rng = np.random.Generator


@dataclass(frozen=True)
class Charge:
    """One simulated charge, its logs and its truth.

    Parameters
    ----------
    kind : str
    seed : int
    cell, charger, course
    rig_ohm : float [ohm]
        Burden and leads as they truly are.
    plugged_s : float [s]
        True time at which the cable goes in.
    pulled_s : float or None [s]
        When it is pulled; None: not within the logs.
    cable_declared : bool
        Whether the review file says when it was pulled.
    bench : Bench
        Meters, and what the review declares.
    voltage, current : LogRows
    soc : float
        Charge state at the start.
    """

    kind: str
    seed: int
    cell: CellModel
    charger: Charger
    course: Course
    rig_ohm: float
    plugged_s: float
    pulled_s: float | None
    cable_declared: bool
    bench: Bench
    voltage: LogRows
    current: LogRows
    soc: float
    source: str = field(default="wall adapter")

    @cached_property
    def marks(self) -> truth.Marks:
        """The moments of the charge."""
        return truth.marks(self)

    @cached_property
    def truths(self) -> dict[str, truth.Truth]:
        """Every truth by the finding's last name."""
        return truth.of(self)

    @cached_property
    def floors(self) -> dict[str, floors.Floor]:
        """The narrowest possible half-width of each finding, and whether the log tells it."""
        return floors.of(self)

    def without_rig_s(self) -> float | None:
        """Return how long the charge takes with neither ammeter nor leads [s]; None where not run again."""
        if self.kind not in ("plain", "lfp", "precharge", "soft_start", "droop"):
            return None
        lasts = self.marks.end + 7200
        again = Running(self.cell, self.charger, 0.0, soc=self.soc).run(self.plugged_s, None, lasts)
        done = again.first(Regime.DONE)
        return None if done is None else done - self.plugged_s

    def current_shows(self, from_s: float, until_s: float) -> bool:
        """Whether the current log has at least two whole rows in a stretch."""
        rows = self.current.true_s
        inside = int(((rows > from_s) & (rows < until_s)).sum())
        return inside >= (3 if self.current.meter.averages else 2)

    def top_ups_seen(self) -> int:
        """Return how many top-ups began before the cable was pulled and the current log ended."""
        regime = np.r_[0, self.course.regime == Regime.TOP_UP, 0]
        begins = self.course.time_s[
            np.flatnonzero(np.diff(regime) == 1).clip(max=len(self.course.time_s) - 1)
        ]
        until = min(self.pulled_s or np.inf, float(self.current.true_s[-1]))
        return int((begins < until).sum())

    def declared(self) -> dict[str, Any]:
        """Return the review file's content for the charge section."""
        run: dict[str, Any] = {
            "source": self.source,
            "source_controls_charge": False,
            "voltage": "logs/voltage.csv",
            "current": "logs/current.csv",
        }
        if self.cable_declared and self.pulled_s is not None:
            shown = self.voltage.meter.clock_s([self.pulled_s])[0] - self.voltage.stamp_s[0]
            run["cable_out_s"] = round(float(shown), 1)
        return {**self.bench.declared, "charge_runs": [run]}

    def write(self, folder: Path) -> dict[str, Any]:
        """Write the whole review folder; return what its review file says."""
        import yaml

        (folder / "logs").mkdir(parents=True, exist_ok=True)
        self.voltage.write(folder / "logs" / "voltage.csv", "Voltage", "V")
        self.current.write(folder / "logs" / "current.csv", "Current", "A")
        declared = {"device": {"name": f"Rowan {self.seed}", "sample": "invented"}, **self.declared()}
        text = yaml.safe_dump(declared, sort_keys=False, allow_unicode=True)
        (folder / "review.yaml").write_text(text, encoding="utf-8")
        return declared


def draw(kind: str, seed: int) -> Charge:
    """Return the charge of a kind and a seed; even seeds are for tuning, odd ones for judging."""
    rng, benches, noise = (
        np.random.default_rng([zlib.crc32(kind.encode()), seed, part]) for part in range(3)
    )
    plan = KINDS[kind](rng)
    ran = _physics(rng, plan) if isinstance(plan, physics.Physics) else _circuit(rng, plan)
    plan, course, rig, plugged, pulled = ran
    bench = draw_bench(benches, course, plan.cell, rig)
    rows = (
        log(bench.voltmeter, course, course.cell_V, noise),
        log(bench.ammeter, course, course.current_A, noise),
    )
    return Charge(
        kind,
        seed,
        plan.cell,
        plan.charger,
        course,
        rig,
        plugged,
        pulled,
        plan.declared,
        bench,
        *rows,
        plan.soc,
    )


_Ran = tuple["Plan", Course, float, float, float | None]


def _circuit(rng: Rng, plan: Plan) -> _Ran:
    plugged = float(rng.uniform(70.0, 400.0))
    end = plugged + plan.plugged_s
    pulled = end if plan.pulled else None
    rest = float(rng.choice([4200.0, 4200.0, 900.0])) if plan.pulled else 0.0
    rig = float(rng.uniform(0.01, 0.14))
    course = Running(plan.cell, plan.charger, rig, soc=plan.soc).run(plugged, pulled, end + rest)
    return plan, course, rig, plugged, pulled


def _physics(rng: Rng, one: physics.Physics) -> _Ran:
    plan = Plan(one.cell, one.charger, 0.0, 0.0, declared=bool(rng.random() < 0.7))
    return plan, one.course, physics.RIG_OHM, physics.PLUGGED_S, one.pulled_s


@dataclass(frozen=True)
class Plan:
    """A cell, a charger, and how long the cable is in [s]; the charge state at the start."""

    cell: CellModel
    charger: Charger
    soc: float
    plugged_s: float
    pulled: bool = True
    declared: bool = True


def _cell(rng: Rng, chemistry: str = "NMC") -> CellModel:
    ampere_hours = float(rng.uniform(1.2, 4.0))
    ohm = float(rng.uniform(0.02, 0.07)) * (3.0 / ampere_hours) ** 0.5
    slow = (float(rng.uniform(0.2, 0.6)) * ohm, float(rng.uniform(8, 40)))
    slower = (float(rng.uniform(0.2, 0.8)) * ohm, float(rng.uniform(150, 900)))
    return CellModel(
        chemistry,
        ampere_hours,
        ohm,
        ohm_rise=float(rng.uniform(0.0, 0.6)),
        warming=float(rng.uniform(0.0, 0.15)),
        pairs=(slow, slower),
        hysteresis_V=float(rng.choice([0.0, rng.uniform(0.0, 0.012)])),
        bend=float(rng.uniform(-0.04, 0.04)),
    )


def _plan(rng: Rng, chemistry: str = "NMC", *, soc: float | None = None, slow: bool = False) -> Plan:
    """Return an ordinary charge: constant current, constant voltage, cut-off, cable pulled later."""
    cell = _cell(rng, chemistry)
    rate = float(rng.uniform(0.25, 0.4) if slow else rng.uniform(0.25, 0.7))
    set_V = float((3.6 if chemistry == "LFP" else 4.2) + rng.uniform(-0.05, 0.02))
    charger = Charger(
        set_V=set_V,
        plateau_A=rate * cell.capacity_Ah,
        device_ohm=float(rng.choice([0.0, rng.uniform(0.0, 0.1)])),
        stop_A=cell.capacity_Ah * float(np.exp(rng.uniform(np.log(0.012), np.log(0.11)))),
        stop_after_s=float(rng.choice([0.5, 2.0, 15.0])),
        idle_A=-float(rng.choice([0.0, rng.uniform(2e-5, 8e-3)])),
        out_A=-float(rng.choice([0.0, 3e-6, 1.2e-3])),
    )
    begun = float(rng.uniform(0.03, 0.35)) if soc is None else soc
    hours = (1.02 - begun) / rate
    tail = 0.6 + float(rng.uniform(0.6, 1.2))
    return Plan(cell, charger, begun, 3600 * (hours + tail), declared=bool(rng.random() < 0.7))


def plain(rng: Rng) -> Plan:
    """Constant current, constant voltage, cut-off."""
    return _plan(rng)


def lfp(rng: Rng) -> Plan:
    """The same with lithium iron phosphate."""
    return _plan(rng, "LFP")


def precharge(rng: Rng) -> Plan:
    """A deeply discharged cell is charged with little at first."""
    plan = _plan(rng, soc=float(rng.uniform(-0.012, 0.004)))
    low = (float(rng.uniform(2.9, 3.1)), plan.cell.capacity_Ah * float(rng.uniform(0.02, 0.1)))
    charger = replace(plan.charger, precharge=low)
    return replace(plan, charger=charger, plugged_s=plan.plugged_s + 3600)


def soft_start(rng: Rng) -> Plan:
    """The current rises along a ramp."""
    plan = _plan(rng)
    ramp = float(np.exp(rng.uniform(np.log(2), np.log(240))))
    return replace(plan, charger=replace(plan.charger, soft_s=ramp))


def fold_steps(rng: Rng) -> Plan:
    """The charger grows hot and steps its current down, once to three times, now and then up again."""
    plan = _plan(rng, slow=True)
    full = 3600 * (0.85 - plan.soc) * plan.cell.capacity_Ah / plan.charger.plateau_A
    moments = np.sort(rng.uniform(0.06, 0.8, int(rng.integers(1, 4)))) * full
    shares = 1 - np.cumsum(rng.uniform(0.06, 0.25, len(moments)))
    if rng.random() < 0.2:
        shares[-1] = 0.95
    folds = tuple(zip(moments.tolist(), shares.tolist(), strict=True))
    more = plan.plugged_s * 0.5
    return replace(plan, charger=replace(plan.charger, folds=folds), plugged_s=plan.plugged_s + more)


def fold_slope(rng: Rng) -> Plan:
    """The current is folded back along a line as the voltage rises."""
    plan = _plan(rng, slow=True)
    slope = (plan.charger.set_V - float(rng.uniform(0.15, 0.6)), float(rng.uniform(0.4, 0.85)))
    charger = replace(plan.charger, slope=slope)
    return replace(plan, charger=charger, plugged_s=plan.plugged_s * 1.4)


def droop(rng: Rng) -> Plan:
    """The current falls slowly all along."""
    plan = _plan(rng)
    droops = (float(rng.uniform(0.02, 0.15)), float(rng.choice([900.0, 3600.0, 9000.0])))
    return replace(plan, charger=replace(plan.charger, droop=droops), plugged_s=plan.plugged_s * 1.1)


def pulses(rng: Rng) -> Plan:
    """On and off in turn, seconds to half a minute, at one of the limits or at both."""
    plan = _plan(rng)
    on = float(np.round(np.exp(rng.uniform(0.0, np.log(30))), 1))
    off = float(np.round(on * rng.uniform(0.1, 0.6), 1))
    at = str(rng.choice(["current", "voltage", "both"]))
    pulse = Pulse(on, max(off, 0.5), at)
    longer = 1 + off / on
    return replace(plan, charger=replace(plan.charger, pulse=pulse), plugged_s=plan.plugged_s * longer)


def cuts(rng: Rng) -> Plan:
    """The mains fail once to four times, ten seconds to twenty minutes."""
    plan = _plan(rng)
    count = int(rng.integers(1, 5))
    from_s = np.sort(rng.uniform(300.0, 0.8 * plan.plugged_s - 3600, count))
    lengths = np.exp(rng.uniform(np.log(10), np.log(1200), count))
    spans = [(float(a), float(b)) for a, b in zip(from_s, lengths, strict=True)]
    apart = [one for place, one in enumerate(spans) if place == 0 or one[0] > sum(spans[place - 1]) + 120]
    charger = replace(plan.charger, cuts=tuple(apart))
    return replace(plan, charger=charger, plugged_s=plan.plugged_s + float(lengths.sum()))


def trickle(rng: Rng) -> Plan:
    """It never ends: the current fades to next to nothing and flows on."""
    return _forever(rng, leak=False)


def trickle_leaking(rng: Rng) -> Plan:
    """The same with a cell that leaks, so that the current stays well above nothing."""
    return _forever(rng, leak=True)


def _forever(rng: Rng, *, leak: bool) -> Plan:
    plan = _plan(rng)
    lost = plan.cell.capacity_Ah * float(np.exp(rng.uniform(np.log(0.002), np.log(0.03)))) if leak else 0.0
    cell = replace(plan.cell, leak_A=lost)
    pulled = bool(rng.random() < 0.6)
    return replace(
        plan,
        cell=cell,
        charger=replace(plan.charger, stop_A=None),
        plugged_s=plan.plugged_s + 3600 * float(rng.uniform(1.5, 5.0)),
        pulled=pulled,
        declared=bool(rng.random() < 0.5),
    )


def cable_pulled(rng: Rng) -> Plan:
    """Somebody pulls the cable: on the plateau, declared or not, or as the current falls, declared."""
    plan = _plan(rng)
    full = 3600 * (0.7 - plan.soc) * plan.cell.capacity_Ah / plan.charger.plateau_A
    if rng.random() < 0.5:
        return replace(plan, plugged_s=full * float(rng.uniform(0.3, 1.0)))
    fading = 3600 * (1.0 - plan.soc) * plan.cell.capacity_Ah / plan.charger.plateau_A
    charger = replace(plan.charger, stop_A=None)
    return replace(plan, charger=charger, plugged_s=fading * float(rng.uniform(0.97, 1.15)), declared=True)


def top_ups(rng: Rng) -> Plan:
    """After its end it begins again by itself, once to three times."""
    plan = _plan(rng)
    count = int(rng.integers(1, 4))
    waits = tuple(float(one) for one in rng.uniform(600.0, 2700.0, count))
    charger = replace(
        plan.charger, top_ups_after_s=waits, idle_A=-plan.cell.capacity_Ah * float(rng.uniform(0.003, 0.02))
    )
    return replace(plan, charger=charger, plugged_s=plan.plugged_s + 1.5 * sum(waits))


def timer_stop(rng: Rng) -> Plan:
    """A timer stops it, wherever it is."""
    plan = _plan(rng)
    full = 3600 * (1.0 - plan.soc) * plan.cell.capacity_Ah / plan.charger.plateau_A
    timer = full * float(rng.uniform(0.4, 1.1))
    charger = replace(plan.charger, stop_A=None, timer_s=timer)
    return replace(plan, charger=charger, plugged_s=timer + float(rng.uniform(600, 4000)))


def nearly_full(rng: Rng) -> Plan:
    """A cell that is nearly full: no plateau, or next to none."""
    return _plan(rng, soc=float(rng.uniform(0.9, 0.985)))


def hiccups(rng: Rng) -> Plan:
    """It stops and starts by itself for a while, seconds each time."""
    plan = _plan(rng)
    count = int(rng.integers(3, 26))
    hours = (1.0 - plan.soc) * plan.cell.capacity_Ah / plan.charger.plateau_A
    first = float(rng.uniform(60.0, 0.6 * 3600 * hours))
    gaps = np.cumsum(rng.uniform(8.0, 200.0, count))
    spans = tuple((first + float(gap), float(rng.uniform(1.0, 7.0))) for gap in gaps)
    return replace(plan, charger=replace(plan.charger, hiccups=spans))


def log_ends(rng: Rng) -> Plan:
    """The logs simply end while the charge runs."""
    plan = _plan(rng)
    full = 3600 * (1.0 - plan.soc) * plan.cell.capacity_Ah / plan.charger.plateau_A
    charger = replace(plan.charger, stop_A=None)
    lasts = full * float(rng.uniform(0.5, 1.25))
    return replace(plan, charger=charger, plugged_s=lasts, pulled=False, declared=False)


def physics_nmc(rng: Rng) -> physics.Physics:
    """A physics-based cell in place of a circuit, under six habits of a charger."""
    return physics.charge("NMC", int(rng.integers(2)), str(rng.choice(physics.HABITS)))


def physics_lfp(rng: Rng) -> physics.Physics:
    """The same with lithium iron phosphate."""
    return physics.charge("LFP", int(rng.integers(2)), str(rng.choice(physics.HABITS)))


KINDS: dict[str, Callable[[Rng], Plan | physics.Physics]] = {
    make.__name__: make
    for make in (
        *(plain, lfp, precharge, soft_start, fold_steps, fold_slope, droop, pulses, cuts, trickle),
        *(trickle_leaking, cable_pulled, top_ups, timer_stop, nearly_full, hiccups, log_ends),
        *(physics_nmc, physics_lfp),
    )
}
"""What draws a charge, by the name of its kind."""
