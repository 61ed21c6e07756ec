"""A number with its unit and its budget, carried through formulas; what two numbers share cancels."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import TYPE_CHECKING, Any

from reviewkit.metrology import formatting, units
from reviewkit.metrology.uncertainty import (
    BOUNDED_COVERAGE,
    Component,
    coverage_factor,
    effective_dof,
    merged,
)

if TYPE_CHECKING:
    import numpy.typing as npt


@dataclass(frozen=True)
class Measured:
    """A number with its unit and its uncertainty budget.

    Parameters
    ----------
    value : float [unit]
    components : tuple of Component
        Sensitivities refer to this value.
    """

    value: float
    unit: str
    components: tuple[Component, ...] = ()

    @property
    def standard(self) -> float:
        """Combined standard uncertainty [unit]: shared unknowns add with their signs (GUM 5.2.2)."""
        return math.sqrt(math.fsum(part.standard_in_number**2 for part in merged(self.components)))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom, cut to the next lower integer (GUM G.4.1)."""
        return effective_dof(merged(self.components))

    @property
    def coverage_factor(self) -> float:
        """Factor k for 95.45 % coverage or a little more: 2 where the distribution is normal.

        See `coverage_factor` and `BOUNDED_COVERAGE`.
        """
        return coverage_factor(self.components, bounded=BOUNDED_COVERAGE)

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = k·u [unit]."""
        return self.coverage_factor * self.standard

    @property
    def low(self) -> float:
        """Lower end of the coverage interval [unit]."""
        return self.value - self.expanded

    @property
    def high(self) -> float:
        """Upper end of the coverage interval [unit]."""
        return self.value + self.expanded

    @property
    def text(self) -> str:
        """Value, uncertainty and unit as a reader sees them."""
        return formatting.quantity(self.value, self.expanded, self.unit)

    def __add__(self, other: Measured) -> Measured:
        """Return the sum; an unknown that both share adds as one. Both have the same unit."""
        self._of_one_unit(other)
        return Measured(self.value + other.value, self.unit, self.components + other.components)

    def __sub__(self, other: Measured) -> Measured:
        """Return `difference(self, other)`. Both have the same unit."""
        self._of_one_unit(other)
        return difference(self, other)

    def __neg__(self) -> Measured:
        return self.scaled(-1.0)

    def __mul__(self, other: Measured | float) -> Measured:
        """Return the product, its unit with it, to first order (GUM 5.1.2)."""
        if not isinstance(other, Measured):
            return self.scaled(other)
        parts = (*self.scaled(other.value).components, *other.scaled(self.value).components)
        return Measured(self.value * other.value, units.product(self.unit, other.unit), parts)

    __rmul__ = __mul__

    def __truediv__(self, other: Measured | float) -> Measured:
        """Return the quotient, its unit with it, to first order (GUM 5.1.2)."""
        if not isinstance(other, Measured):
            return self.scaled(1 / other)
        ratio = self.value / other.value
        parts = (*self.scaled(1 / other.value).components, *other.scaled(-ratio / other.value).components)
        return Measured(ratio, units.product(self.unit, other.unit, power=-1), parts)

    def _of_one_unit(self, other: Measured) -> None:
        if self.unit != other.unit:
            raise ValueError(f"{self.unit or 'a bare number'} and {other.unit or 'a bare number'} do not add")

    def _repr_html_(self) -> str:
        return escape(self.text)

    def plus(self, *components: Component) -> Measured:
        """Return the same number with further doubts."""
        return replace(self, components=self.components + components)

    def scaled(self, by: float, unit: str | None = None) -> Measured:
        """Return `by` times this number, in `unit` if that changes."""
        return Measured(
            self.value * by, unit or self.unit, tuple(part.scaled(by) for part in self.components)
        )


def difference(first: Measured, second: Measured) -> Measured:
    """Return `first` − `second`; unknowns that both share cancel as far as they do.

    What cancels with a meter's error is not the rounding of its display: each of the two keeps its own.

    Examples
    --------
    >>> meter = (Component("accuracy", 0.01, "V", shared="meter"),)
    >>> round(difference(Measured(4.2, "V", meter), Measured(4.1, "V", meter)).standard, 12)
    0.0
    """
    theirs = tuple(part.scaled(-1.0) for part in second.components)
    common = {part.shared for part in first.components} & {part.shared for part in theirs} - {""}
    rounded = tuple(
        Component(f"{part.name}: rounding", part.rounding, part.unit, "rectangular", part.sensitivity)
        for part in first.components + theirs
        if part.rounding and part.shared in common
    )
    return Measured(first.value - second.value, first.unit, first.components + theirs + rounded)


def propagate(function: Callable[..., Any], *inputs: Measured, unit: str) -> Measured:
    """Return ``function(*inputs)`` with the uncertainty propagated to first order (GUM 5.1.2, 5.2.2).

    Parameters
    ----------
    function : callable
        Arithmetic on plain numbers; for transcendental functions use `uncertainties.umath`.
    *inputs : Measured
        May share unknowns: each enters once.
    unit : str
        Unit of the result.

    Returns
    -------
    Measured
        Its components are the inputs' own, with sensitivities to the result.

    Examples
    --------
    >>> voltage = Measured(5.0, "V", (Component("accuracy", 0.05, "V"),))
    >>> current = Measured(2.0, "A", (Component("accuracy", 0.02, "A"),))
    >>> power = propagate(lambda u, i: u * i, voltage, current, unit="W")
    >>> power.value, round(power.standard, 3)
    (10.0, 0.141)
    """
    from uncertainties import ufloat  # only where a formula is propagated

    unknowns: dict[str, tuple[Any, Component]] = {}
    arguments = []
    for index, measured in enumerate(inputs):
        argument: Any = measured.value
        for position, part in enumerate(measured.components):
            name = part.shared or f"\0{index}.{position}"
            variable, _ = unknowns.setdefault(name, (ufloat(0.0, 1.0), part))
            argument = argument + part.signed * variable
        arguments.append(argument)
    result = function(*arguments)
    slopes = getattr(result, "derivatives", {})
    components = tuple(
        replace(part, sensitivity=float(slopes[variable]) / part.standard)
        for variable, part in unknowns.values()
        if slopes.get(variable)
    )
    return Measured(float(getattr(result, "nominal_value", result)), unit, components)


def means(readings: npt.ArrayLike, names: Sequence[str], units: Sequence[str]) -> tuple[Measured, ...]:
    """Return the means of simultaneous readings, correlations kept (GUM 4.2, 5.2.3, H.2).

    Parameters
    ----------
    readings : array, shape (quantities, repeats)
    names, units : sequence of str

    Returns
    -------
    tuple of Measured
        Independent unknowns behind all of them are shared, so `propagate` sees the correlation.

    Raises
    ------
    ValueError
        With fewer than two repeats.

    Examples
    --------
    >>> (voltage,) = means([[4.19, 4.20, 4.21]], ["cell voltage"], ["V"])
    >>> round(voltage.value, 3), round(voltage.standard, 5)
    (4.2, 0.00577)
    """
    import numpy as np  # only where there are rows

    table = np.asarray(readings, dtype=float)
    count = table.shape[1]
    if count < 2:
        raise ValueError("a mean's uncertainty needs at least two readings")
    covariance = np.atleast_2d(np.cov(table)) / count
    size, direction = np.linalg.eigh(covariance)
    loads = direction * np.sqrt(np.clip(size, 0.0, None))
    tag = "repeat readings of " + ", ".join(names)
    return tuple(
        Measured(
            float(table[row].mean()),
            units[row],
            tuple(
                Component(
                    f"{names[row]}: repeat readings",
                    1.0,
                    "1",
                    "normal",
                    float(load),
                    count - 1,
                    f"{tag} [{axis}]",
                )
                for axis, load in enumerate(loads[row])
                if load
            ),
        )
        for row in range(len(table))
    )
