"""Meters as the trade declares them: accuracy as data sheets print it, ranges, burden.

References
----------
GUM 4.3.7 (limits without a distribution: rectangular). The notation "±(percent of reading + counts of the
last digit)" and its kin is the trade's; no standard fixes its spelling.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from reviewkit.metrology import Component, formatting, units

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


_MOST_PERCENT = 20
"""Of the reading [%], above which a statement is taken for a slip (chosen: no meter of a bench is so bad)."""
_AT = {"V": 4.2, "A": 1.0}
"""Where two readings of one statement are worked out: a full cell, a usual charge current."""


@dataclass(frozen=True)
class Accuracy:
    """A declared accuracy: percent of reading, counts of the last digit, an absolute part, percent of range.

    Parameters
    ----------
    percent : float [%]
        Of the reading.
    counts : float [1]
    absolute : float [unit of the meter]
    of_range : float [%]
        Of the range's full scale.
    remark : str
        Under what conditions it holds, as written: "23 °C ± 5 °C, 1 year".
    """

    percent: float
    counts: float = 0.0
    absolute: float = 0.0
    of_range: float = 0.0
    remark: str = field(default="", compare=False)

    def half_width(self, reading: float, resolution: float, full_scale: float | None) -> float:
        """Return the largest error allowed at a reading [unit]; without a full scale its part is left out."""
        spread = self.percent / 100 * abs(reading) + self.counts * resolution + self.absolute
        return spread + self.of_range / 100 * full_scale if self.of_range and full_scale else spread

    def words(self, unit: str) -> str:
        """Return how the statement was understood: "0.5 % of the reading + 2 counts"."""
        percent = f"{formatting.THIN}%"
        parts = [
            (self.percent, f"{self.percent:g}{percent} of the reading"),
            (self.of_range, f"{self.of_range:g}{percent} of the range"),
            (self.absolute, formatting.quantity(self.absolute, None, unit)),
            (self.counts, f"{self.counts:g} {'count' if self.counts == 1 else 'counts'} of the last digit"),
        ]
        said = " + ".join(text for size, text in parts if size)
        return f"{said} ({self.remark})" if self.remark else said


_READING, _RANGE, _COUNTS = "reading", "range", "counts"
_OF = r"(?:of\s+|de\s+|del\s+|der\s+|des\s+|du\s+|vom\s+|von\s+|v\.?\s*|d\.\s*)?(?:the\s+|la\s+|l['’]|el\s+)?"
_ROLES = {
    _READING: r"readings?|rdgs?|rd|value|measured\s+value|m\.?\s*v|messwert(?:e?s)?|anzeige|mw|m|lecture"
    r"|lectura|lect|l|读数",
    _RANGE: r"full[\s-]*scale(?:\s+value)?|f\.?\s*s|range|rng|span|messbereich(?:e?s)?|bereich(?:e?s)?|mb"
    r"|endwert(?:e?s)?|skalenendwert|e\.?\s*w|e|gamme|calibre|pleine\s+échelle|p\.?\s*e|étendue|rango"
    r"|fondo\s+de\s+escala|f\.?\s*e|量程",
    _COUNTS: r"counts?|cts?|c|dgts?|digits?|dig|d|lsds?|stellen?|ziffern?|st|points?|pts?|u\.?\s*r|chiffres?"
    r"|d[ií]gitos?|cuentas?|字",
}
"""What a part of a statement is a part of, as makers of five languages write it: to be added to."""
_WORDS = {role: re.compile(rf"{_OF}(?:{words})\.?", re.IGNORECASE) for role, words in _ROLES.items()}
_UNIT = re.compile(
    r"(?P<unit>%|‰|(?:ppm|[µμumnk]?[VA])(?![A-Za-zµ]))\s*(?P<rest>.*)", re.IGNORECASE | re.DOTALL
)
_NUMBER = re.compile(r"(?P<number>\d+(?:\.\d+)?|\.\d+)\s*(?P<rest>.*)", re.DOTALL)
_PLUS = re.compile(r"\s*(?:\+\s*/\s*-|\+|±|,\s(?=\d)|\b(?:and|plus|und|et|y|más)\b)\s*", re.IGNORECASE)
_CONDITION = re.compile(
    r"\s*(?:@|;|\bat\b|\bbei\b|(?<![\w'])à\b|,\s(?=\D)|(?:\(|\bfor\b|\bwithin\b|\bfür\b|\bpour\b)?\s*\d+\s*"
    r"(?:h\b|hours?|years?|yr|days?|months?|jahre?|monate?|tage?|an\b|ans\b|mois|años?|°|℃|k\b))",
    re.IGNORECASE,
)
_AROUND = re.compile(r"^\s*(?:[@;,(]|\b(?:at|bei|à|for|within|für|pour)\b|\s)*|[\s)]*$", re.IGNORECASE)
_BOTH = re.compile(r"\(([^\d()]*%[^\d()]*)\)")
_PERCENT = {"%": 1.0, "ppm": 1e-4, "‰": 0.1}


@dataclass(frozen=True)
class _Term:
    """One part of a statement.

    Parameters
    ----------
    number : float
    unit : str
        As written; empty where there is none.
    role : str
        What it is a part of; empty where that is not said.
    """

    number: float
    unit: str
    role: str


def accuracy(
    text: str, unit: str = "V", *, resolution: float = 0.0, full_scale: float | None = None
) -> Accuracy:
    """Read "±(0.5 % + 2)", "0.5%rdg+0.05%range+2dgt", "50 ppm + 20 ppm FS", "0,5 % v. M. + 2 D".

    Parameters
    ----------
    text : str
        The meter's data sheet, as printed, in English, German, French or Spanish. What follows "@" or names
        a temperature or a time is kept as a remark.
    unit : {"V", "A"}
        What the meter reads; an absolute part is converted to it.
    resolution, full_scale : float [unit]
        Of the range, where they are known: with them a question about the text says what each answer means.

    Returns
    -------
    Accuracy

    Raises
    ------
    ValueError
        If the text is not such a statement, or can be read in two ways; both are then written out.

    Examples
    --------
    >>> accuracy("0.5%rdg + 0.05%FS + 2dgt")
    Accuracy(percent=0.5, counts=2.0, absolute=0.0, of_range=0.05, remark='')
    >>> accuracy("0.025 + 0.005", resolution=1e-4, full_scale=6.0)
    Traceback (most recent call last):
    ...
    ValueError: '0.025 + 0.005' can be read in two ways; write the one the data sheet means: \
'0.025 % rdg + 0.005 % range' (±1.35 mV at 4.2 V) or '0.025 % + 0.005 V' (±6.05 mV at 4.2 V)
    """
    plain, remark = _bare(text)
    terms = _terms(plain) if plain else []
    if not terms:
        raise ValueError(
            f"'{text}' is no accuracy such as '±(0.5 % + 2)': percent of reading + counts; "
            "'0.5 % rdg + 0.1 % range' and '50 ppm + 0.3 mV' are understood too"
        )
    _ask_back(text, terms, unit, resolution, full_scale)
    found = _summed(text, terms, unit, remark)
    if found.percent > _MOST_PERCENT:
        raise ValueError(
            f"'{text}' allows an error of {found.percent:g} % of the reading; expected at most "
            f"{_MOST_PERCENT} %"
        )
    return found


def _bare(text: str) -> tuple[str, str]:
    """Return the statement with points for decimal commas and without brackets, and its conditions."""
    plain = re.sub(r"(?<=\d),(?=\d)|(?<![\w]),(?=\d)", ".", text.strip())
    both = _BOTH.search(plain)
    if both:
        plain = _with_kinds(_BOTH.sub("", plain), both[1])
    found = _CONDITION.search(plain)
    remark = ""
    if found:
        plain, remark = plain[: found.start()], plain[found.start() :]
    remark = _AROUND.sub("", remark)
    return re.sub(r"[()\[\]]", " ", plain).strip(" ±,:"), remark


def _with_kinds(numbers: str, kinds: str) -> str:
    """Give each number what the brackets after it say: "0.02 + 0.005 (% of reading + % of range)"."""
    sizes, words = _PLUS.split(numbers.strip(" ±:")), _PLUS.split(kinds.strip())
    if len(sizes) != len(words):
        return numbers
    return " + ".join(f"{size} {word}" for size, word in zip(sizes, words, strict=True))


def _terms(plain: str) -> list[_Term]:
    """Return the parts of a statement; none if one of them can't be read."""
    parts = re.sub(r"^\+\s*/\s*-\s*", "", plain)
    found = [_term(part.strip()) for part in _PLUS.split(parts)]
    return [term for term in found if term] if all(found) else []


def _term(part: str) -> _Term | None:
    number = _NUMBER.fullmatch(part)
    if not number:
        return None
    rest = number["rest"].strip()
    with_unit = _UNIT.fullmatch(rest)
    unit, said = (with_unit["unit"], with_unit["rest"].strip()) if with_unit else ("", rest)
    role = next((role for role, words in _WORDS.items() if said and words.fullmatch(said)), "")
    is_share = unit.lower() in _PERCENT
    known = role in ("", _READING, _RANGE) if is_share else (role == _COUNTS and not unit) or not role
    return _Term(float(number["number"]), unit, role) if known and bool(said) == bool(role) else None


def _ask_back(
    text: str, terms: Sequence[_Term], unit: str, resolution: float, full_scale: float | None
) -> None:
    """Refuse a statement that can be read in two ways, with both written out."""
    first, *rest = terms
    shares = [term for term in terms if term.unit.lower() in _PERCENT and not term.role]
    size = f"{first.number:g} {first.unit or '%'}"
    if not any(term.unit or term.role for term in terms):
        if not rest:
            ways = (
                [f"{size} rdg", f"{size} range"] if first.number % 1 else [size, f"{first.number:g} counts"]
            )
        else:
            ways = [f"{size} rdg + {rest[0].number:g} % range", f"{size} + {_last(rest[0], unit)}"]
    elif len(shares) > 1:
        ways = [f"{size} rdg + {shares[1].number:g} {shares[1].unit} range"]
        ways.append(f"{first.number + shares[1].number:g} {first.unit} rdg")
    elif rest and not (rest[0].unit or rest[0].role) and rest[0].number % 1:
        ways = [f"{size} rdg + {rest[0].number:g} % range", f"{size} + {rest[0].number:g} {unit}"]
    else:
        return
    both = " or ".join(f"'{way}'{_worked(way, unit, resolution, full_scale)}" for way in ways)
    raise ValueError(f"'{text}' can be read in two ways; write the one the data sheet means: {both}")


def _last(term: _Term, unit: str) -> str:
    return f"{term.number:g} {unit}" if term.number % 1 else f"{term.number:g} counts"


def _worked(way: str, unit: str, resolution: float, full_scale: float | None) -> str:
    """Return what one way of reading a statement allows, where the range is known."""
    read = accuracy(way, unit)
    if (read.of_range and full_scale is None) or (read.counts and not resolution):
        return ""
    allowed = read.half_width(_AT[unit], resolution, full_scale)
    return f" (±{1000 * allowed:.3g} m{unit} at {_AT[unit]:g} {unit})"


def _summed(text: str, terms: Sequence[_Term], unit: str, remark: str) -> Accuracy:
    percent = of_range = counts = absolute = 0.0
    for term in terms:
        share = _PERCENT.get(term.unit.lower())
        if share is not None and term.role == _RANGE:
            of_range += term.number * share
        elif share is not None:
            percent += term.number * share
        elif term.unit:
            absolute += term.number * units.factor(term.unit, unit)
        else:
            counts += term.number
    if not (percent or of_range or counts or absolute):
        raise ValueError(f"'{text}' allows no error at all; expected such as '±(0.5 % + 2)'")
    return Accuracy(percent, counts, absolute, of_range, remark)
