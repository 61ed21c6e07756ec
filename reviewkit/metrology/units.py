"""Units: converted once, here, at the edge; inside the kit everything is SI.

The units of findings are ``V``, ``A``, ``ohm``, ``s``, ``A.h``, ``W.h``, ``%``, ``d``, ``degC`` and ``1``.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any

FINDING_UNITS = ("V", "A", "ohm", "s", "A.h", "W.h", "%", "d", "degC", "Hz", "1", "")
"""Units a finding may carry; the last is for words, lists and yes/no."""

_SPELLINGS = {
    "\u2126": "ohm",
    "\u03a9": "ohm",
    "μ": "µ",
    "°C": "degC",
    "℃": "degC",
    "Ah": "A*h",
    "Wh": "W*h",
    "A.h": "A*h",
    "W.h": "W*h",
    "A·h": "A*h",
    "W·h": "W*h",
    "%": "percent",
}
_NUMBER_AND_UNIT = re.compile(r"^\s*([+\-−]?\d+(?:[.,]\d+)?(?:[eE][+\-−]?\d+)?)\s*(.*?)\s*$")


_DEFINITIONS = """
nano- = 1e-9 = n-
micro- = 1e-6 = µ- = μ- = u- = mu- = mc-
milli- = 1e-3 = m-
kilo- = 1e3 = k-
mega- = 1e6 = M-
second = [time] = s = sec
ampere = [current] = A = amp
volt = [electric_potential] = V
kelvin = [temperature] = K = degK = °K
degree_Celsius = kelvin; offset: 273.15 = °C = celsius = degC = degreeC
degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = °F = fahrenheit = degF = degreeF
minute = 60 * second = min
hour = 60 * minute = h = hr
day = 24 * hour = d
week = 7 * day
hertz = 1 / second = Hz
ohm = volt / ampere = Ω
watt = volt * ampere = W
joule = watt * second = J
coulomb = ampere * second = C
ampere_hour = ampere * hour = Ah
watt_hour = watt * hour = Wh
percent = 0.01 = %
"""
"""The units of a bench; all that pint knows by itself would take longer to load than a review to check."""


_USUAL = {
    f"{prefix}{sign}": (size, unit)
    for sign, unit in (("V", "V"), ("A", "A"), ("ohm", "ohm"), ("Ω", "ohm"), ("Ah", "A.h"), ("Wh", "W.h"))
    for prefix, size in (("", 1.0), ("k", 1e3), ("m", 1e-3), ("µ", 1e-6), ("μ", 1e-6), ("u", 1e-6))
} | {"min": (60.0, "s"), "h": (3600.0, "s")}
"""What most reviews have: told without pint, which is held against these in the tests."""
_OHMS_LAW = {("V", "A", -1): "ohm", ("V", "ohm", -1): "A", ("A", "ohm", 1): "V", ("ohm", "A", 1): "V"}


@cache
def _registry() -> Any:
    import pint  # only for other units: it loads in a fifth of a second

    registry: Any = pint.UnitRegistry(None, autoconvert_offset_to_baseunit=True)
    registry.load_definitions(_DEFINITIONS.splitlines())
    registry.formatter.default_format = "~P"
    return registry


def _pint_spelling(unit: str) -> str:
    text = unit.strip()
    for written, meant in _SPELLINGS.items():
        if written in ("Ah", "Wh"):
            text = re.sub(rf"(?<![A-Za-z])([µumk]?){written[0]}h\b", rf"\1{written[0]}*h", text)
        else:
            text = text.replace(written, meant)
    return text


@cache
def factor(unit: str, to: str) -> float:
    """Return the number by which a value in `unit` is multiplied to be in `to`.

    Parameters
    ----------
    unit, to : str
        Units as a meter or a person writes them: "mA", "µV", "Ω", "mAh", "A.h".

    Raises
    ------
    ValueError
        If a unit is unknown, or the two are of different quantities, or the scale has an offset
        (degrees): the message names both.
    """
    if unit == to:
        return 1.0
    size, of = _USUAL.get(unit, (0.0, ""))
    return size if of == to else _pint_factor(unit, to)


def _pint_factor(unit: str, to: str) -> float:
    registry = _registry()
    try:
        return float(registry.Quantity(1.0, _pint_spelling(unit)).to(_pint_spelling(to)).magnitude)
    except Exception as error:  # pint raises a dozen types, tokenizer errors among them
        raise ValueError(f"'{unit}' is no unit of the same kind as '{to}'") from error


def to_unit(value: float | str, unit: str) -> float:
    """Read a bare number, or a number with a unit, as a value in `unit`.

    Parameters
    ----------
    value : float or str
        ``0.5``, ``"500 mA"``, ``"0,5 A"``; a bare number is in `unit` already.
    unit : str
        The unit wanted.

    Raises
    ------
    ValueError
        If the text is no number with a unit of the same kind.
    """
    if isinstance(value, bool):
        raise ValueError(f"yes/no is no quantity in {unit}")
    if isinstance(value, int | float):
        return float(value)
    found = _NUMBER_AND_UNIT.match(value)
    if not found:
        spelled = unit.replace(".", "")
        raise ValueError(f"'{value}' is not a number with a unit, such as '1.5 {spelled}'")
    number = float(found[1].replace(",", ".").replace("−", "-"))
    written = found[2]
    if not written:
        return number
    if unit == "degC" or "°" in written:
        return _temperature(number, written, unit)
    return number * factor(written, unit)


def _temperature(number: float, written: str, unit: str) -> float:
    if _pint_spelling(written) == unit:
        return number
    try:
        return float(_registry().Quantity(number, _pint_spelling(written)).to(_pint_spelling(unit)).magnitude)
    except Exception as error:
        raise ValueError(f"'{written}' is no unit of the same kind as '{unit}'") from error


_SAME = 1e-12
"""Two units are one where their sizes differ by less: floating point rounds a product of units."""


@cache
def product(first: str, second: str, power: int = 1) -> str:
    """Return the unit of a product, or with ``power=-1`` of a quotient, as findings write it.

    Parameters
    ----------
    first, second : str
        Units of findings.
    power : {1, -1}

    Examples
    --------
    >>> product("V", "A", power=-1), product("A", "ohm"), product("A.h", "A.h", power=-1)
    ('ohm', 'V', '1')
    """
    return _OHMS_LAW.get((first, second, power)) or _pint_product(first, second, power)


def _pint_product(first: str, second: str, power: int) -> str:
    registry = _registry()
    whole = registry.Unit(_pint_spelling(first)) * registry.Unit(_pint_spelling(second)) ** power
    alike = (unit for unit in FINDING_UNITS if unit not in ("", "%", "degC"))
    same = (unit for unit in alike if registry.Unit(_pint_spelling(unit)).is_compatible_with(whole))
    sizes = ((unit, registry.Quantity(1.0, whole).to(_pint_spelling(unit)).magnitude) for unit in same)
    return next((unit for unit, size in sizes if abs(size - 1) < _SAME), f"{whole:~C}")


_PREFIXES = {
    "A": ((1e-6, "µA"), (1e-3, "mA"), (1.0, "A")),
    "ohm": ((1e-3, "mΩ"), (1.0, "Ω")),
}
_SIGNS = {"ohm": "Ω", "A.h": "Ah", "W.h": "Wh", "degC": "°C", "1": ""}


def for_people(value: float, unit: str) -> tuple[float, str]:
    """Return the factor and the unit sign under which a reader sees a quantity.

    Parameters
    ----------
    value : float
        The quantity, in `unit`; its size picks the prefix.
    unit : str
        A finding's unit.

    Returns
    -------
    tuple of (float, str)
        Divide the value by the first and write the second behind it: ``0.000045, "A"`` → ``1e-6, "µA"``.
    """
    steps = _PREFIXES.get(unit)
    if not steps:
        return 1.0, _SIGNS.get(unit, unit)
    size = abs(value)
    # Amperes are read as such from 0.1 A on, as the trade writes charge currents.
    switch = 0.1 if unit == "A" else 1.0
    chosen = steps[0]
    for scale, sign in steps:
        if size >= scale * (switch if scale == 1.0 else 1.0):
            chosen = (scale, sign)
    return chosen if size > 0 else steps[-1]
