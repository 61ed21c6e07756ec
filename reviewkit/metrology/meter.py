"""Meters as the trade declares them: accuracy, ranges, burden.

References
----------
GUM 4.3.7 (limits without a distribution: rectangular).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from reviewkit.metrology import Component, units
from reviewkit.metrology.accuracy import Accuracy, accuracy

_FEWEST_COUNTS = 50
_COARSEST = 1.0
"""A count of the last digit, V or A, above which a meter tells nothing of one cell (chosen)."""


@dataclass(frozen=True)
class Meter:
    """One range of one meter.

    Parameters
    ----------
    name : str
        The instrument, as the review names it. Two devices measured with the same name and range share
        the range's unknown calibration error.
    unit : {"V", "A"}
    accuracy : Accuracy
    resolution : float [unit]
        One count of the last digit in this range.
    full_scale : float or None [unit]
    burden_ohm : float [ohm]
        Resistance that an ammeter puts in series (shunt, fuse and jack).
    leads_ohm : float [ohm]
        Resistance of the leads in series with it.
    input_ohm : float or None [ohm]
        Input resistance of a voltmeter.
    range_declared : bool
        Whether it is known that this of the meter's ranges was in use.
    """

    name: str
    unit: str
    accuracy: Accuracy
    resolution: float
    full_scale: float | None = None
    burden_ohm: float = 0.0
    leads_ohm: float = 0.0
    input_ohm: float | None = None
    range_declared: bool = True

    @property
    def label(self) -> str:
        """Name and range, as a budget shows it."""
        if not self.range_declared:
            # A meter of volts and amperes has an unknown of its own for each.
            return f"{self.name}, {'voltage' if self.unit == 'V' else 'current'} range not declared"
        if self.full_scale is None:
            return self.name
        scale, sign = units.for_people(self.full_scale, self.unit)
        return f"{self.name}, {self.full_scale / scale:g} {sign} range"

    @property
    def series_ohm(self) -> float:
        """Burden and leads together [ohm]: what the bench itself puts between charger and cell."""
        return self.burden_ohm + self.leads_ohm

    def half_width(self, reading: float) -> float:
        """Return the largest error that the accuracy statement allows at `reading` [unit]."""
        return self.accuracy.half_width(reading, self.resolution, self.full_scale)

    def through(self, source_V: float, load_ohm: float) -> float:
        """Return the current that a source drives through a load with this ammeter in series [A]."""
        return source_V / (load_ohm + self.series_ohm)

    @property
    def states_counts(self) -> bool:
        """Whether the statement already holds the display's resolution: half a count of the last digit."""
        return self.accuracy.counts > 0 or self.accuracy.absolute >= self.resolution / 2

    def component(self, reading: float, sensitivity: float = 1.0) -> Component:
        """Return the accuracy as one unknown of this range, the same for every reading on it.

        Parameters
        ----------
        reading : float [unit]
        sensitivity : float
            Change of the result per unit of error in the reading.

        Notes
        -----
        Averaging does not shrink it, and two results from the same range share it.
        """
        return Component(
            f"{self.label}: accuracy",
            self.half_width(reading),
            self.unit,
            "rectangular",
            sensitivity,
            shared=self.label,
            rounding=self.resolution / 2 if self.states_counts else 0.0,
        )

    def gain_component(self, sensitivity: float) -> Component:
        """Return the percent part alone, for a result that scales with the reading.

        Parameters
        ----------
        sensitivity : float
            The result's change per relative error of 1 in the reading (a charge: the charge itself).
        """
        return Component(
            f"{self.label}: accuracy (percent of reading)",
            self.accuracy.percent / 100,
            "1",
            "rectangular",
            sensitivity,
            shared=self.label,
        )

    def step_component(self, sensitivity: float = 1.0) -> Component:
        """Return the display's resolution, δ/√12 (GUM F.2.2.1), as one independent reading carries it."""
        return Component(
            f"{self.label}: resolution", self.resolution / 2, self.unit, "rectangular", sensitivity
        )

    def fits(self, reading: float) -> bool:
        """Whether the range can show `reading` at all."""
        return self.full_scale is None or abs(reading) <= self.full_scale * (1 + 1e-9)


def meter(spec: Mapping[str, Any] | Meter | str, unit: str, full_scale: float | None = None) -> Meter:
    """Read the review file's `voltmeter` or `ammeter` block.

    Parameters
    ----------
    spec : mapping, str or Meter
        A text is the accuracy alone.
        ``{name, accuracy, resolution, full_scale, burden_ohm, leads_ohm, input_ohm, ranges, last_check}``;
        `ranges` is a list of further blocks of that kind, each for one range.
    unit : {"V", "A"}
        What the meter reads.
    full_scale : float or None [unit]
        Picks the range; without it the block itself, or the only range, or the largest.

    Returns
    -------
    Meter

    Raises
    ------
    ValueError
        If a value cannot be read or no range has that full scale; the message says which there are.

    Examples
    --------
    >>> meter = reviewkit.meter({"accuracy": "±(0.5 % + 2)", "resolution": "1 mV"}, "V")
    >>> round(meter.half_width(4.2), 6)
    0.023
    """
    if isinstance(spec, Meter):
        return spec
    if isinstance(spec, str):
        spec = {"accuracy": spec}
    own = {key: value for key, value in spec.items() if key != "ranges"}
    blocks = [{**own, **entry} for entry in spec.get("ranges") or [{}]]
    if full_scale is not None and len(blocks) == 1:
        blocks[0].setdefault("full_scale", full_scale)
    meters = [_one_range(block, unit) for block in blocks]
    if full_scale is None:
        widest = max(meters, key=lambda one: one.full_scale or float("inf"))
        return replace(widest, range_declared=len(meters) == 1)
    for one in meters:
        if one.full_scale is not None and abs(one.full_scale - full_scale) <= 1e-6 * full_scale:
            return one
    known = ", ".join(f"{one.full_scale:g} {unit}" for one in meters if one.full_scale is not None)
    raise ValueError(f"the meter has no range of {full_scale:g} {unit}; it has {known}")


def _one_range(block: Mapping[str, Any], unit: str) -> Meter:
    stated = block.get("accuracy")
    if stated is None:
        raise ValueError("a meter needs its accuracy, such as '±(0.5 % + 2)'")
    if "resolution" not in block:
        raise ValueError(f"a meter needs its resolution (one count of the last digit), such as '1 m{unit}'")

    def read(key: str, of: str, default: float | None) -> float | None:
        return units.to_unit(block[key], of) if block.get(key) is not None else default

    resolution, full_scale = units.to_unit(block["resolution"], unit), read("full_scale", unit, None)
    _check_display(resolution, full_scale, unit)
    read_as = accuracy(str(stated), unit, resolution=resolution, full_scale=full_scale)
    if read_as.of_range:
        if full_scale is None:
            raise ValueError(
                f"'{stated}' has a part of the range; expected the range's full_scale too, such as '6 {unit}'"
            )
        # From here on a part of the range is so many volts or amperes, the same at every reading.
        share = read_as.of_range / 100 * full_scale
        read_as = replace(read_as, absolute=read_as.absolute + share, of_range=0.0)
    return Meter(
        name=str(block.get("name") or ("voltmeter" if unit == "V" else "ammeter")),
        unit=unit,
        accuracy=read_as,
        resolution=resolution,
        full_scale=full_scale,
        burden_ohm=read("burden_ohm", "ohm", 0.0) or 0.0,
        leads_ohm=read("leads_ohm", "ohm", 0.0) or 0.0,
        input_ohm=read("input_ohm", "ohm", None),
    )


def _check_display(resolution: float, full_scale: float | None, unit: str) -> None:
    """Refuse a display that no meter has."""
    if not resolution > 0:
        raise ValueError(
            f"a resolution of {resolution:g} {unit}; expected more than 0: one count of the last digit"
        )
    if resolution > _COARSEST:
        raise ValueError(
            f"a resolution of {resolution:g} {unit}; expected at most {_COARSEST:g} {unit}: "
            "one count of the last digit, look at its unit"
        )
    if full_scale is not None and not full_scale > 0:
        raise ValueError(f"a full scale of {full_scale:g} {unit}; expected more than 0")
    if full_scale is not None and full_scale < _FEWEST_COUNTS * resolution:
        raise ValueError(
            f"a resolution of {resolution:g} {unit} on a range of {full_scale:g} {unit}; expected one count "
            f"of the last digit, at most {full_scale / _FEWEST_COUNTS:g} {unit}: look at its unit"
        )
