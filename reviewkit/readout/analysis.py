"""The section's one call: the table read, the step found, the readings fitted, the marks bracketed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from pathlib import Path

from reviewkit.findings import Findings
from reviewkit.readout import marks, rules, shown
from reviewkit.readout.fit import Fit, fit_readings
from reviewkit.readout.inputs import ReadoutInputs
from reviewkit.readout.marks import Bracket
from reviewkit.readout.model import Model, Reading, exact
from reviewkit.readout.table import Table, read


@dataclass(frozen=True)
class SwitchingPoint:
    """Where one shown value gives way to the next.

    Parameters
    ----------
    lower_V, upper_V : float [V]
        The two shown values.
    low_V, high_V : float [V]
        True voltages between which it lies, for a readout with one place in every step.
    read_low_V, read_high_V : float or None [V]
        The same from the readings on either side alone, the reference's error included; None where
        one of the two values was never shown.
    """

    lower_V: float
    upper_V: float
    low_V: float
    high_V: float
    read_low_V: float | None
    read_high_V: float | None


@dataclass(frozen=True)
class Prose:
    """Paragraphs; a notebook shows them as text.

    Parameters
    ----------
    paragraphs : tuple of str
    """

    paragraphs: tuple[str, ...]

    def _repr_markdown_(self) -> str:
        # What was typed in a table is shown as typed and never read as markup.
        return "\n\n".join(re.sub(r"([\\`*_\[\]<>#|~&])", r"\\\1", text) for text in self.paragraphs)

    def __repr__(self) -> str:
        return "\n\n".join(self.paragraphs)


@dataclass(frozen=True)
class Readout:
    """What the bench found out about a device's voltage readout.

    Parameters
    ----------
    bench : ReadoutInputs
    table : Table or None
        None where no table was given.
    fit : Fit or None
        None for a readout in marks, or where nothing was read.
    warnings, thresholds : tuple of Bracket
        Warnings beside the readout; changes from one mark to the next.
    step_note : str
        How the resolution is known, and what speaks against it.
    """

    bench: ReadoutInputs
    table: Table | None
    fit: Fit | None
    warnings: tuple[Bracket, ...] = ()
    thresholds: tuple[Bracket, ...] = ()
    step_note: str = ""

    @property
    def bound_V(self) -> Fraction:
        """How large the device's own offset is assumed to be at most [V]: as given, else a quarter step."""
        given = self.bench.readout_offset_bound_V
        if given is not None or self.fit is None:
            return exact(given or 0.0)
        return self.fit.model.step_V / 4

    @property
    def naming(self) -> rules.Naming | None:
        """Which rounding rule may be named; None where no readout fits."""
        if self.fit is None or not self.fit.consistent:
            return None
        return rules.name(self.fit.offsets, self.bound_V)

    @cached_property
    def switching_points(self) -> tuple[SwitchingPoint, ...]:
        """Every switching point between the lowest and the highest shown value."""
        if self.fit is None or not self.fit.consistent:
            return ()
        used = [reading for reading in self.fit.readings if reading.row not in self.fit.doubted]
        step = self.fit.model.step_V
        numbers = [int(reading.shown_V / step) for reading in used]
        return tuple(_switching_point(self.fit, used, k) for k in range(min(numbers) - 1, max(numbers) + 1))

    def sentences(self) -> Prose:
        """Return what was found, in a few sentences."""
        from reviewkit.readout.sentences import summary  # it reads this class

        return Prose(summary(self))

    def findings(self) -> Findings:
        """Return the section's findings."""
        from reviewkit.readout.findings import findings  # it reads this class

        return findings(self)


def analyse(bench: ReadoutInputs, folder: Path = Path()) -> Readout:
    """Return everything that the readings say.

    Parameters
    ----------
    bench : ReadoutInputs
    folder : Path
        The review folder.

    Raises
    ------
    InputError
        If the table is at fault.
    """
    table = read(bench, folder)
    if table is None:
        return Readout(bench, None, None)
    seen = marks.warnings(table.warning, table.reference_V, noise_V=table.noise_V, shared_V=table.shared_V)
    seen = seen if table.noted_warnings else ()
    if not table.readings:
        changes = marks.thresholds(
            table.shown, table.reference_V, noise_V=table.noise_V, shared_V=table.shared_V
        )
        return Readout(bench, table, None, seen, changes)
    step, note = _step(bench, table.readings)
    low, high = (exact(end) for end in bench.range_V)
    model = Model(step, low, high, exact(bench.readout_gain_bound_percent) / 100, table.reference)
    fitted = fit_readings(table.readings, model)
    return Readout(bench, table, fitted, seen, (), note + _challenge(fitted))


def _step(bench: ReadoutInputs, readings: Sequence[Reading]) -> tuple[Fraction, str]:
    """Return the readout's resolution and how it is known."""
    if bench.readout_resolution_V is not None:
        return exact(bench.readout_resolution_V), "Resolution as declared."
    values = [reading.shown_V for reading in readings]
    step = shown.step_of(values) or Fraction(1, 10)
    digits = Fraction(1, 10 ** shown.decimals(values))
    note = f"Resolution inferred: every shown value is a multiple of {float(step):g} V."
    if step > digits:
        note += f" Its digits would allow {float(digits):g} V: give readout_resolution_V if you know it."
    return step, note


def _challenge(fitted: Fit) -> str:
    """Return what the readings say against the resolution; empty if nothing."""
    values = [reading.shown_V for reading in fitted.readings]
    step = fitted.model.step_V
    coarser = shown.coarser_steps(step, values)
    if not coarser:
        return ""
    if fitted.ways != ((),):
        for other in coarser:
            model = Model(
                other,
                fitted.model.low_V,
                fitted.model.high_V,
                fitted.model.gain_bound,
                fitted.model.reference,
            )
            if fit_readings(fitted.readings, model).ways == ((),):
                return (
                    f" The readings contradict steps of {float(step):g} V, and none of them contradicts "
                    f"steps of {float(other):g} V: check the resolution."
                )
    if len(set(values)) >= 4:
        return (
            f" Every value shown so far is a multiple of {float(coarser[-1]):g} V: the device may not use "
            f"all steps of {float(step):g} V."
        )
    return ""


def _switching_point(fitted: Fit, used: Sequence[Reading], number: int) -> SwitchingPoint:
    step = fitted.model.step_V
    ends = [region.switching_point(number) for region in fitted.regions]
    below = [reading for reading in used if reading.shown_V == number * step]
    above = [reading for reading in used if reading.shown_V == (number + 1) * step]
    reference = fitted.model.reference
    both = bool(below) and bool(above)
    return SwitchingPoint(
        lower_V=float(number * step),
        upper_V=float((number + 1) * step),
        low_V=min(low for low, _ in ends),
        high_V=max(high for _, high in ends),
        read_low_V=max(float(r.reference_V - r.noise_V - reference.half_width(r.reference_V)) for r in below)
        if both
        else None,
        read_high_V=min(float(r.reference_V + r.noise_V + reference.half_width(r.reference_V)) for r in above)
        if both
        else None,
    )
