"""Uncertainty carried through a formula, and the one that repeat readings have (GUM 5.1.2, 5.2, H.2)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from reviewkit.metrology.component import Component
from reviewkit.metrology.measured import Measured


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
    for place, measured in enumerate(inputs):
        argument: Any = measured.value
        for position, part in enumerate(measured.components):
            name = part.shared or f"\0{place}.{position}"
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
