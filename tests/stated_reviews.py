"""What a whole review says against what it found: the numbers of its sentences that no finding carries.

A sentence of a figure, of an answer, of the opening or of a caution may give a number that is a finding's
(its value, uncertainty, ends, limit, budget, or one that the finding's own note tells), that the review file
declares, or that is `derived` from these two in one of a few ways, each written down here with its reason.
A finding's note may not lean on another note: what it adds of its own must match a phrase of `TOLD_BESIDE`.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import beta
from shown_sections import SECTIONS, Said, declared_by_default, findings_of, publish, shown, texts
from stated_numbers import Known, Stated, declared_of, is_of, known_of, read, read_in

from reviewkit.comparison import Comparison, Together
from reviewkit.comparison.rows import as_measured
from reviewkit.findings import Finding, Findings
from reviewkit.summary.record import Record

MONTH_D = 365.25 / 12
_PREFIX = {"readout": "readout.", "charge": "charge.", "drain": "drain.", "ui_states": "ui."}
METHOD = {
    r"within 3.% of its plateau or the regulation point within 10.mV": "the definition of limit adherence",
    r"Above 6.% nothing is read": "from where on a log is not read",
    r"5.% to 9.% at 20.°C": "what an older cell maker's page says",
    r"1.% to 3.% a month": "the self-discharge that is taken where none is declared",
    r"below 20\b|at least 20\b|under 20\b": "the counts that a reading needs",
    r"[01]-switch": "the name of a coverage",
    r"\(95.%\)|95.% interval|95.% of|the 95.%": "the level of the intervals",
    r"(?:more|less) than (?:99\.9|0\.1).%": "a probability told no closer",
    r"settled for (?:10|60).min|(?:10|60).min after": "when a settled voltage is read",
    r"WCAG [\d.]+|Video: [\d:]+": "a name, a moment of the film",
    r"to 80.%|a[nt] 50.%|to 50.%": "the level that a time is told to",
    r"within 90 days": "how soon is called soon in a caution",
    r"% of 1\b": "what a gain is compared with",
    r"allow for up to 4.%": "how far a gain may be off that leans on its bound",
}
"""Phrases whose numbers are the method's own and measured by nobody; why each is there."""

TOLD_BESIDE = {
    r"[\d.]+ .?Ah in (?:precharge|constant current|constant voltage)": "delivered, by phase",
    r"\d+ gaps? of [^,]+? in all": "the gaps that widen the interval",
    r"is in the uncertainty: [\d.]+ m?Ah": "what they add to it",
    r"Less [\d.]+ m?Ω declared": "burden and leads, added up",
    r"regulation point it is [\d.]+ %": "adherence of a bench without the drop",
    r"At neither limit: .+?(?= With the voltage|$)": "where the rest of it lies",
    r"several levels: .+?\.(?=\D|$)": "the levels that the plateau is one of",
    r"came back: .+?\.": "when, of the pauses that are counted",
    r"Pauses of [^.]*? are part": "how long they were together",
    r"knee would come at .+?\. ": "the knee of the same prediction",
    r"again in the .+? logged": "how long was waited for what did not come",
    r"again by itself at .+? from charge start": "when, of the top-ups that are counted",
    r"faster than every [\d.]+ m?s": "twice the rate of the log",
    r"rows [\d.]+ .?s apart|From \d+ steps?": "the rate of the log, the steps its clock was told by",
    r"Mean over .+?(?=\. )|Integrated over \d+": "what the mean was taken over",
    r"part after .+?low level|part after [\d.]+ s": "the part that was left out",
    r"low level went from .+? during": "why the mean is the log's own",
    r"stands [\d.]+ .A above": "what a pulse would have to exceed",
    r"(?:near|at) \d\.\d\d V(?= is at| the meter|, before|\.)": "the middle of the working range",
    r"Between [\d.]+ V and [\d.]+ V the": "the working range",
    r"[Rr]ow \d+ \(reference [\d.]+ V": "the reading that is named",
    r"worth [\d.]+ bit": "what the reading to take next is worth",
    r"readings leave .[^\]]+.|in any row, it is .+? \(~~": "the two views that the interval is made of",
    r"quoted is .+?,": "the wider of the two",
    r"reading is \d+ counts?|takes a step of .+? with leads": "why a range can't tell, and which would",
    r"At least \d+ more": "how many more readings it would take",
    r"by up to ±[\d.]+ V": "what the reference's accuracy moves; it stands in the budget",
    r"claim holds: [\d.]+.%": "the probability that the verdict goes by",
    r"meter leaves [\d.]+ V|known to [\d.]+ V already": "how well more readings would know it",
    r"of the \d+ (?:pairs|sequences)": "of how many it is the share",
    r"\d+ of \d+ (?:pairs|sequences)": "the same in a figure",
    r"take [\d.]+ m?V from the supply": "highest row times the declared burden",
    r"That part is [\d.]+ %": "how much of the log is settled",
}
"""Phrases with numbers told beside a finding, with no key of their own: parts of it, how it was come by.
Where a figure or the opening gives one, it must be the one that the finding's note gives."""

OF_THE_BENCH = {
    r"take [\d.]+.m?V from the supply": "what the meter did: highest row times declared burden",
    r"That part is [\d.]+.%": "how much of a log is settled",
    r"\d+ of (?:the )?\d+ (?:pairs|sequences)": "how many were tried, of how many there are",
    r"cable was pulled at \d+:\d\d": "when somebody did so, as declared",
    r"\d+ stretches": "how many stretches the picture draws",
    r"\d+ periods, one over": "how many periods of a log lie over each other",
}
"""Phrases of figures and answers with numbers that tell of the bench and not of the device."""


@dataclass(frozen=True)
class Review:
    """A review as its sections showed it.

    Parameters
    ----------
    values : mapping
        Its review file, and the parameter cells' own values where that says nothing.
    findings : list of Finding
    said : list of Said
    tables : str
        The tables that were typed by hand.
    items : list
        Everything shown by the sections.
    readings : int
        Rows of the readout's table.
    """

    values: Mapping[str, Any]
    findings: list[Finding]
    said: list[Said]
    tables: str
    items: list[Any]
    readings: int = 0

    def saying(self, said: Iterable[Said]) -> Review:
        """Return the same review with other sentences."""
        return replace(self, said=list(said))


def review(
    values: Mapping[str, Any], folder: Path, published: Path, *, sections: Sequence[str] = SECTIONS
) -> Review:
    """Run a review's sections and its summary, and keep what they say."""
    by_section = {name: shown(name, values, folder) for name in sections}
    items = [one for each in by_section.values() for one in each]
    place = publish(values, items, published)
    own = {**values, "findings": str(place / "findings.json"), "last_edition": ""}
    by_section["summary"] = shown("summary", own, folder)
    said = [line for name, each in by_section.items() for line in texts(name, each)]
    tables = " ".join(path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.csv")))
    table = folder / str(values.get("readout_table") or "none")
    lines = table.read_text(encoding="utf-8").splitlines() if table.is_file() else []
    readings = max(0, sum(bool(line.strip()) and not line.startswith("#") for line in lines) - 1)
    return Review({**declared_by_default(), **values}, findings_of(items), said, tables, items, readings)


def unfound(one: Review) -> list[tuple[Said, Stated]]:
    """Return the numbers of a review's sentences that nothing it found carries, each with its place."""
    pools = {name: list(_pool(one, name)) for name in (*SECTIONS, "summary")}
    notes = {name: pools[name] + list(_notes(one, name)) for name in pools}
    return [
        (said, number)
        for said in one.said
        for number in _of_nothing(said, (pools if said.where.startswith("note ") else notes)[said.section])
    ]


def unfound_together(
    together: Together, said: Iterable[Said], reviews: Iterable[Review]
) -> list[tuple[Said, Stated]]:
    """Return the same of a comparison: its numbers are those of the reviews, and their differences."""
    pool = [known for one in reviews for known in (*_pool(one, "summary"), *_notes(one, "summary"))]
    pool += list(_differences(together))
    return [(line, number) for line in said for number in _of_nothing(line, pool)]


def _of_nothing(said: Said, pool: Sequence[Known]) -> Iterator[Stated]:
    yield from (number for number in _numbers_of(said) if not any(is_of(number, known) for known in pool))


def _numbers_of(said: Said) -> list[Stated]:
    """Return the numbers of a text, without those of the method's phrases."""
    plain = said.text.replace("\u00a0", " ")
    for phrase in (*METHOD, *(TOLD_BESIDE if said.where.startswith("note ") else OF_THE_BENCH)):
        plain = re.sub(phrase, lambda found: re.sub(r"\d", "~", found[0]), plain)
    return read(plain)


def _pool(one: Review, section: str) -> Iterator[Known]:
    mine = [item for item in one.findings if item.key.startswith(_PREFIX.get(section, ""))]
    yield from known_of(mine)
    yield from declared_of(one.values)
    yield from read_in("a table typed by hand", one.tables)
    yield from derived(mine, one)


def _notes(one: Review, section: str) -> Iterator[Known]:
    for item in one.findings:
        if item.key.startswith(_PREFIX.get(section, "")):
            yield from read_in(f"{item.key}: note", item.note)


def derived(findings: Sequence[Finding], one: Review) -> Iterator[Known]:
    """Yield the numbers that a sentence may make of findings and what is declared; no others."""
    capacity = (one.values.get("cell") or {}).get("rated_capacity_Ah")
    for item in findings:
        if capacity and item.unit in ("A", "A.h"):
            yield from _per_capacity(item, float(capacity))
        if item.limit and item.limit.low is not None and item.limit.high is not None:
            yield Known(f"{item.key}: middle of its limit", (item.limit.low + item.limit.high) / 2, item.unit)
            yield Known(f"{item.key}: half of its limit", (item.limit.high - item.limit.low) / 2, item.unit)
    yield from _self_discharge(one.values, capacity)
    yield from _of_charges(findings)
    yield from _of_drains(findings)
    yield from _of_self_discharge(findings, one.values, capacity)
    yield from _of_readings(one)
    yield from _of_trials(one.tables)
    yield from _counts(findings)


def _numbers(item: Finding) -> Iterator[float]:
    for number in (item.value, item.uncertainty, item.low, item.high):
        if isinstance(number, int | float) and not isinstance(number, bool):
            yield abs(float(number))


def _per_capacity(item: Finding, capacity_Ah: float) -> Iterator[Known]:
    """Yield C-rates and shares of the rated capacity: how the trade compares cells of unlike size."""
    unit, scale = ("C", 1.0) if item.unit == "A" else ("%", 100.0)
    for name in ("value", "uncertainty"):
        number = getattr(item, name)
        if isinstance(number, int | float):
            yield Known(f"{item.key} ÷ rated capacity", scale * abs(float(number)) / capacity_Ah, unit)


def _self_discharge(values: Mapping[str, Any], capacity: Any) -> Iterator[Known]:
    """Yield the yardstick of a drain: self-discharge as declared, as a current, and how long it takes."""
    for percent in values.get("drain_self_discharge_percent") or ():
        yield Known("days by self-discharge alone", 100 / percent * MONTH_D, "d", is_end=True)
        if capacity:
            yield Known("self-discharge", percent / 100 * float(capacity) / MONTH_D / 24, "A", is_end=True)


def _named(findings: Sequence[Finding]) -> dict[str, dict[str, Finding]]:
    """Return findings by what comes before the last part of their key: a charge's, a state's."""
    found: dict[str, dict[str, Finding]] = {}
    for item in findings:
        start, _, name = item.key.rpartition(".")
        found.setdefault(start, {})[name] = item
    return found


def _of_charges(findings: Sequence[Finding]) -> Iterator[Known]:
    """Yield what two findings of one charge say together: the rig's share of its time, the drop it causes."""
    for start, items in _named(findings).items():
        value = {
            name: float(item.value)
            for name, item in items.items()
            if isinstance(item.value, int | float) and not isinstance(item.value, bool)
        }
        if {"termination_time", "time_without_rig"} <= value.keys():
            longer = value["termination_time"] - value["time_without_rig"]
            yield Known(f"{start}: time that the rig costs", abs(longer), "s", is_end=True)
            parts = [items[name].uncertainty or 0.0 for name in ("termination_time", "time_without_rig")]
            yield Known(f"{start}: its uncertainty", math.hypot(*parts), "s", is_end=True)
        if {"plateau_current", "series_resistance"} <= value.keys():
            plateau, series = (as_measured(items[name]) for name in ("plateau_current", "series_resistance"))
            if plateau and series:
                # What the ammeter is wrong by cancels: it stands in both.
                drop = plateau * series
                yield Known(f"{start}: drop at full current", abs(drop.value), "V")
                yield Known(f"{start}: its uncertainty", drop.expanded, "V")


def _of_drains(findings: Sequence[Finding]) -> Iterator[Known]:
    """Yield how much more one state draws than another: what locking or pulling a cable saves."""
    means = [item for item in findings if item.key.endswith(".mean") and isinstance(item.value, int | float)]
    for first, second in combinations(means, 2):
        more = abs(float(first.value) - float(second.value))  # type: ignore[arg-type]
        yield Known(f"{first.key} − {second.key}", more, "A", is_end=True)


def _of_self_discharge(
    findings: Sequence[Finding], values: Mapping[str, Any], capacity: Any
) -> Iterator[Known]:
    """Yield by how many times a drain is more than what the cell loses by itself at the most."""
    own = max(values.get("drain_self_discharge_percent") or [0.0]) / 100 * float(capacity or 0) / MONTH_D / 24
    for item in findings:
        if own and item.key.endswith(".mean") and isinstance(item.value, int | float):
            yield from (Known(f"{item.key} ÷ own loss", one / own, "", is_end=True) for one in _numbers(item))


def _of_readings(one: Review) -> Iterator[Known]:
    """Yield the quarter step that an offset is assumed to stay within, and how many readings were taken."""
    step = one.values.get("readout_resolution_V")
    if isinstance(step, int | float):
        yield Known("a quarter of the declared step", step / 4, "V")
    yield Known("readings taken", float(one.readings), "")


def _of_trials(tables: str) -> Iterator[Known]:
    """Yield the bounds of what happened n times in m tries (Clopper–Pearson, one- and two-sided 95 %)."""
    for seen, tried in {(int(a), int(b)) for a, b in re.findall(r",(\d+),(\d+)(?=,|\n)", tables)}:
        if tried > 0 and seen <= tried:
            for level in (0.95, 0.975):
                yield Known(
                    "bound",
                    100 * float(beta.ppf(level, seen + 1, tried - seen)) if seen < tried else 100.0,
                    "%",
                    True,
                )
                yield Known(
                    "bound",
                    100 * float(beta.ppf(level, tried - seen + 1, seen)) if seen else 100.0,
                    "%",
                    True,
                )
                yield Known(
                    "bound",
                    100 * float(beta.ppf(1 - level, seen, tried - seen + 1)) if seen else 0.0,
                    "%",
                    True,
                )


def _counts(findings: Sequence[Finding]) -> Iterator[Known]:
    """Yield how many findings have each verdict, and how many have any."""
    record = Record(Findings(tuple(findings)))
    distinct = list(record.distinct())
    verdicts = Counter(item.verdict for item in distinct if item.is_judged)
    yield from (Known(f"how many are '{verdict}'", float(count), "") for verdict, count in verdicts.items())
    yield Known("how many are judged", float(sum(verdicts.values())), "")
    yield Known("for how many reasons something was not tested", float(len(record.missing)), "")


def _differences(together: Together) -> Iterator[Known]:
    """Yield what a comparison adds to its reviews: differences of two findings, and how many are resolved."""
    for row in together.comparison.rows:
        for change in (one.difference for one in row.against):
            if change is not None:
                yield Known(f"{row.key}: difference", abs(change.value), change.unit)
                yield Known(f"{row.key}: its uncertainty", change.expanded, change.unit)
                yield from _of_room(row, change.value)
        for item in filter(None, row.items):
            if item.limit and item.limit.high and isinstance(item.value, int | float):
                yield Known(f"{row.key}: share of the limit", 100 * item.value / item.limit.high, "%")
    yield from _how_many(together.comparison)


def _of_room(row: Any, change: float) -> Iterator[Known]:
    limits = [item.limit for item in row.items if item and item.limit]
    for limit in limits:
        if limit.low is not None and limit.high is not None and limit.high > limit.low:
            yield Known(f"{row.key}: of the room", 100 * abs(change) / (limit.high - limit.low), "%")


def _how_many(comparison: Comparison) -> Iterator[Known]:
    yield Known("how many differ", float(len(comparison.resolved)), "")
    yield Known("how many are compared", float(sum(row.resolved is not None for row in comparison.rows)), "")


def altered(one: Review, rng: np.random.Generator) -> tuple[int, int]:
    """Return how many numbers were made wrong by 5 to 15 %, two digits at least, and how many were noticed.

    One at a time, in its sentence; names of standards and phrases of the method are left as they are.
    """
    pools = {name: list(_pool(one, name)) for name in (*SECTIONS, "summary")}
    notes = {name: pools[name] + list(_notes(one, name)) for name in pools}
    tried = noticed = 0
    for said in one.said:
        pool = (pools if said.where.startswith("note ") else notes)[said.section]
        for number in _numbers_of(said):
            if number.unit:
                moved = max(float(rng.uniform(0.05, 0.15)) * number.value, 2 * number.step)
                wrong = replace(number, value=number.value + moved)
                tried += 1
                noticed += not any(is_of(wrong, known) for known in pool)
    return tried, noticed
