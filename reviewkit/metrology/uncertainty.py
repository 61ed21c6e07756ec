"""Uncertainty components, and the factor of the expanded uncertainty that they make together.

References
----------
JCGM 100:2008 (GUM): 4.2, 4.3 (components), 5.2.2 (correlated inputs), G.4.1 (effective degrees of freedom).
F.2.2.1: a digital display of step δ has δ/√12, and readings that are all alike do not make it less. Noise
that shakes the reading over the step does: the rounding error's Fourier series leaves the mean of many off by
at most δ·exp(−2π²σ²/δ²)/π, if all but its first term are neglected. JCGM 101:2008: propagation of
distributions.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


def left_of_step(variance: float, step: float) -> float:
    """Return the half-width that averaging leaves of a display's step.

    Parameters
    ----------
    variance : float
        Of the readings as shown. The display's rounding is part of it; what goes beyond shakes them.
    step : float

    Examples
    --------
    >>> left_of_step(variance=0.0, step=0.001)
    0.0005
    """
    shaken = max(0.0, variance - step**2 / 12)
    return math.exp(-2 * math.pi**2 * shaken / step**2) * step / 2


def shaken_left(values: npt.NDArray[np.float64], step: float) -> float:
    """Return the same for successive readings, in which a slow change from one to the next is no noise.

    Parameters
    ----------
    values : array, shape (n,)
    step : float

    Examples
    --------
    >>> import numpy as np
    >>> shaken_left(np.full(100, 4.2), step=0.001)
    0.0005
    """
    import numpy as np  # only where there are rows: who checks a review file does without

    if len(values) < 2:
        return step / 2
    return left_of_step(float(np.mean(np.diff(values) ** 2)) / 2, step)


Distribution = Literal["rectangular", "normal", "triangular", "u-shaped"]

_DIVISOR = {
    "rectangular": math.sqrt(3),
    "triangular": math.sqrt(6),
    "u-shaped": math.sqrt(2),
    "normal": 1.0,
}


@dataclass(frozen=True)
class Component:
    """One doubt in a number.

    Parameters
    ----------
    name : str
        What it is: "ammeter accuracy, 10 A range".
    size : float [unit]
        As declared: half-width of a rectangular, triangular or u-shaped distribution, or the standard
        deviation of a normal one.
    unit : str
        Unit of `size`.
    distribution : {"rectangular", "normal", "triangular", "u-shaped"}
    sensitivity : float [unit of the number / unit]
        Change of the number per change of this input.
    dof : float
        Degrees of freedom of a Type A evaluation.
    shared : str
        Names the one physical unknown behind it; components with the same name are fully correlated,
        within one number and between numbers. Empty: an unknown of its own. "NAME [2]" is the second of
        several unknowns that one set of repeat readings gave: they share its degrees of freedom.
    rounding : float [unit]
        Half-width of the display's rounding that `size` holds. It is each reading's own, whatever else two
        readings share.
    """

    name: str
    size: float
    unit: str
    distribution: Distribution = "normal"
    sensitivity: float = 1.0
    dof: float = math.inf
    shared: str = ""
    rounding: float = 0.0

    @property
    def standard(self) -> float:
        """Standard uncertainty of the input (GUM 4.3.7, 4.3.9)."""
        return self.size / _DIVISOR[self.distribution]

    @property
    def signed(self) -> float:
        """Sensitivity times standard uncertainty, with its sign."""
        return self.sensitivity * self.standard

    @property
    def contribution(self) -> float:
        """Standard uncertainty that this component gives the number."""
        return abs(self.signed)

    def scaled(self, by: float) -> Component:
        """Return the same doubt as it shows in a number that depends on this one with slope `by`."""
        return replace(self, sensitivity=self.sensitivity * by)


def resolution(name: str, step: float, unit: str, sensitivity: float = 1.0) -> Component:
    """Return the doubt of a digital display with the given step: δ/√12 (GUM F.2.2.1).

    Examples
    --------
    >>> round(resolution("display", 0.01, "V").standard, 6)
    0.002887
    """
    return Component(name, step / 2, unit, "rectangular", sensitivity)


COVERAGE = 0.9545
"""Coverage probability of every expanded uncertainty: k = 2 where the distribution is normal."""

BOUNDED_COVERAGE = 0.97
"""Coverage at which a sum is read in which bounded (rectangular) doubts outweigh the rest.

Such a sum has hardly any tails: 1.6 % of width keeps the interval from falling short of what it states
where a meter's errors are not as evenly spread as its accuracy statement lets one assume.
"""


_HALVINGS, _CORRECTIONS = 8, 4


@dataclass(frozen=True)
class _Part:
    """One independent unknown of a number: a component, or several that are the same unknown."""

    standard_in_number: float
    distribution: Distribution
    dof: float
    readings: str = ""


def merged(components: Iterable[Component]) -> tuple[_Part, ...]:
    """Return the independent unknowns: components that share one are added with their signs.

    Examples
    --------
    >>> twice = [Component("accuracy", 0.01, "V", shared="meter")] * 2
    >>> len(merged(twice))
    1
    """
    groups: dict[str, list[Component]] = {}
    for position, component in enumerate(components):
        groups.setdefault(component.shared or f"\0{position}", []).append(component)
    return tuple(
        _Part(
            abs(math.fsum(part.signed for part in group)),
            group[0].distribution,
            group[0].dof,
            name.rsplit(" [", 1)[0],
        )
        for name, group in groups.items()
    )


def effective_dof(parts: Iterable[_Part]) -> float:
    """Return the Welch–Satterthwaite degrees of freedom, cut to the next lower integer (GUM eq. G.2b).

    The formula holds for independent evaluations. Unknowns from one set of simultaneous readings are one
    evaluation, however many they are: a result that rests on it alone has the set's degrees of freedom.

    Examples
    --------
    >>> effective_dof(merged([Component("noise", 1.0, "V", dof=9), Component("accuracy", 1.0, "V")]))
    36
    """
    variances: dict[tuple[str, float], float] = {}
    for part in parts:
        evaluation = (part.readings, part.dof)
        variances[evaluation] = variances.get(evaluation, 0.0) + part.standard_in_number**2
    total = math.fsum(variances.values())
    weights = math.fsum(size**2 / dof for (_, dof), size in variances.items() if math.isfinite(dof))
    if weights == 0 or total == 0:
        return math.inf
    return max(1.0, math.floor(total**2 / weights + 1e-9))


@cache
def student_factor(dof: float, coverage: float = COVERAGE) -> float:
    """Return the two-sided factor t_p(ν) (GUM Table G.2); the normal one for ν = ∞."""
    from scipy import special  # a quarter of a second to import: only for Type A evaluations

    if math.isinf(dof):
        return float(special.ndtri((1 + coverage) / 2))
    return float(special.stdtrit(dof, (1 + coverage) / 2))


def coverage_factor(
    components: Sequence[Component], coverage: float = COVERAGE, *, bounded: float | None = None
) -> float:
    """Return the factor k by which the combined standard uncertainty is multiplied.

    Parameters
    ----------
    components : sequence of Component
    coverage : float
        Probability that the interval is to hold.
    bounded : float or None
        The same for a sum of bounded doubts, whose factor stays below the normal one; None: `coverage`.

    Returns
    -------
    float
        Quantile of the sum of the distributions in units of its standard deviation; widened by the
        t distribution where degrees of freedom are few. Never more than the normal factor for
        infinitely many degrees of freedom.

    Notes
    -----
    A single rectangular doubt of half-width a has k = p·√3, 1.65 for 95.45 % (JCGM 101 clause 9.2 has
    the same effect): k = 2 would claim more than the meter's own hard limit.

    Examples
    --------
    >>> round(coverage_factor([Component("accuracy", 0.01, "V", "rectangular")]), 2)
    1.65
    >>> round(coverage_factor([Component("noise", 0.01, "V")]), 2)
    2.0
    """
    parts = [part for part in merged(components) if part.standard_in_number > 0]
    if not parts:
        return 2.0
    total = math.sqrt(math.fsum(part.standard_in_number**2 for part in parts))
    normal = student_factor(math.inf, coverage)
    shares = tuple(
        (part.distribution, round(part.standard_in_number / total, 3))
        for part in sorted(parts, key=lambda part: -part.standard_in_number)
    )
    factor = min(normal, _sum_quantile(shares, bounded or coverage))
    return factor * student_factor(effective_dof(parts), coverage) / normal


@cache
def _sum_quantile(shares: tuple[tuple[Distribution, float], ...], coverage: float) -> float:
    """Return the half-width that holds `coverage` of a sum of independent centred distributions.

    Each share is (distribution, standard deviation). The characteristic functions are multiplied and
    inverted on a grid: F(x) = 1/2 + (1/π) ∫ φ(t) sin(tx)/t dt.
    """
    import numpy as np

    frequency = np.linspace(1e-6, 60.0, 6001)
    characteristic = np.ones_like(frequency)
    for distribution, deviation in shares:
        characteristic *= _characteristic(distribution, deviation * frequency)
    weights = characteristic / frequency

    def inside(half_width: float) -> float:
        return float(2 / math.pi * np.trapezoid(weights * np.sin(half_width * frequency), frequency))

    low, high = 0.0, 4.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if inside(middle) < coverage else (low, middle)
    # Within so short a stretch the sum's distribution is all but straight.
    quantile = (low + high) / 2
    for _ in range(_CORRECTIONS):
        slope = float(2 / math.pi * np.trapezoid(characteristic * np.cos(quantile * frequency), frequency))
        quantile = min(max(quantile + (coverage - inside(quantile)) / max(slope, 1e-9), low), high)
    return quantile


def _characteristic(distribution: Distribution, argument: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the characteristic function of a distribution of standard deviation 1."""
    import numpy as np

    if distribution == "normal":
        return np.exp(-(argument**2) / 2)
    if distribution == "rectangular":
        return np.sinc(math.sqrt(3) * argument / math.pi)
    if distribution == "triangular":
        return np.sinc(math.sqrt(6) * argument / (2 * math.pi)) ** 2
    from scipy import special

    return np.asarray(special.j0(math.sqrt(2) * argument))
