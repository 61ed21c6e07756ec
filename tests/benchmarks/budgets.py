"""Whether every budget adds up: drawn at random it gives the interval that stands beside the number.

    python tests/benchmarks/budgets.py [--reviews 500] [--seed 1] [--processes 2] [--write]

The propagation of distributions of JCGM 101:2008 (GUM Supplement 1), clause 7: every component of a finding's
budget is drawn from its distribution, what is shared once, and the half-width that the sums give is held
against the stated one: 97 % of the sums where bounded doubts outweigh the rest, never more than twice their
standard deviation (`reviewkit.metrology.uncertainty` says why). Few degrees of freedom widen it: by the t
factor of the effective ones (JCGM 100, G.4), or by as much as t distributions in the sum do (JCGM 101,
6.4.9), which is more; the stated one may lie between. A term that is in the interval and not in the budget
shows, and the other way.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "examples"))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import honest_sections
import numpy as np
from honest_intervals import analysed
from scipy.stats import norm, t
from simulate.whole import draw_whole

from reviewkit.errors import InputError
from reviewkit.findings import Finding
from reviewkit.metrology import BOUNDED_COVERAGE, COVERAGE, Component

DRAWS = 40_000
"""Of each budget: the drawn half-width is then known to about 1 %."""
MOST = 0.05
"""By how much of its width a stated interval may differ from the drawn one."""


@dataclass(frozen=True)
class Sum:
    """A finding's stated half-width over the one drawn from its budget."""

    key: str
    seed: int
    ratio: float

    @property
    def adds_up(self) -> bool:
        """Whether the two agree."""
        return abs(self.ratio - 1) <= MOST


def drawn_half_widths(budget: tuple[Component, ...], rng: np.random.Generator) -> tuple[float, float]:
    """Return the half-width that the budget's sum gives by the kit's rule, in both guides' ways.

    The first widens for few degrees of freedom as JCGM 100 does, the second as JCGM 101.
    """
    total, student = np.zeros(DRAWS), np.zeros(DRAWS)
    shared: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    for part in budget:
        units = shared.get(part.shared) if part.shared else None
        if units is None:
            units = _units(part, rng)
            if part.shared:
                shared[part.shared] = units
        total += part.signed * units[0]
        student += part.signed * units[1]
    half = min(float(np.quantile(np.abs(total), BOUNDED_COVERAGE)), 2 * float(np.std(total)))
    plain, few = (float(np.quantile(np.abs(each), COVERAGE)) for each in (total, student))
    by_factor, by_draws = _student_factor(budget), few / plain
    return half * min(by_factor, by_draws), half * max(by_factor, by_draws)


def _student_factor(budget: tuple[Component, ...]) -> float:
    """Return the t factor of the effective degrees of freedom over the normal one (JCGM 100, G.4.1)."""
    sizes: dict[str, float] = {}
    for place, part in enumerate(budget):
        name = part.shared or str(place)
        sizes[name] = sizes.get(name, 0.0) + part.signed
    dofs = {part.shared or str(place): part.dof for place, part in enumerate(budget)}
    weights = sum(size**4 / dofs[name] for name, size in sizes.items())
    if not weights:
        return 1.0
    dof = max(1.0, np.floor(sum(size**2 for size in sizes.values()) ** 2 / weights))
    quantile = (1 + COVERAGE) / 2
    return float(t.ppf(quantile, dof) / norm.ppf(quantile))


def _units(part: Component, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Return draws of the component's distribution, standard deviation 1 (JCGM 101, 6.4).

    First as if its standard deviation were known, then with the degrees of freedom that it has (6.4.9).
    """
    if part.distribution == "rectangular":
        unit = np.sqrt(3) * rng.uniform(-1, 1, DRAWS)
    elif part.distribution == "triangular":
        unit = np.sqrt(6) * rng.triangular(-1, 0, 1, DRAWS)
    elif part.distribution == "u-shaped":
        unit = np.sqrt(2) * np.sin(rng.uniform(0, 2 * np.pi, DRAWS))
    else:
        unit = rng.standard_normal(DRAWS)
    if np.isfinite(part.dof):
        return unit, unit / np.sqrt(rng.chisquare(part.dof, DRAWS) / part.dof)
    return unit, unit


def sums(findings: Iterator[Finding], seed: int) -> Iterator[Sum]:
    """Yield every finding that states an uncertainty, its budget drawn."""
    rng = np.random.default_rng(seed)
    for item in findings:
        # A single run's findings stand under two keys; once is enough.
        twice = item.key.startswith("charge.") and item.key.count(".") > 1
        if item.uncertainty and item.budget and not twice:
            nearest = np.clip(item.uncertainty, *drawn_half_widths(item.budget, rng))
            yield Sum(item.key, seed, float(item.uncertainty / nearest))


def unbudgeted(findings: Iterator[Finding]) -> list[str]:
    """Return the keys of findings that state an uncertainty and no budget."""
    return [item.key for item in findings if item.uncertainty and not item.budget]


def review(seed: int, begin: int = 0) -> tuple[list[Sum], list[str]]:
    """Return the sums of one simulated review, and what has no budget; nothing where it is refused."""
    whole = draw_whole(begin + seed)
    with tempfile.TemporaryDirectory() as place:
        declared = whole.write(Path(place))
        try:
            items = list(analysed(declared, Path(place)))
        except InputError:
            return [], []
    return list(sums(iter(items), begin + seed)), unbudgeted(iter(items))


def main() -> None:
    """Print, finding by finding, how the stated interval compares with the drawn one."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--reviews", type=int, default=500)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--processes", type=int, default=2)
    asked.add_argument("--write", action="store_true")
    wish = asked.parse_args()
    with ProcessPoolExecutor(wish.processes, mp_context=get_context("spawn")) as pool:
        told = list(pool.map(partial(review, begin=wish.seed), range(wish.reviews), chunksize=4))
    found = [one for sums_of, _ in told for one in sums_of]
    keys = dict.fromkeys(one.key.rsplit(".", 1)[-1] for one in found)
    print(f"{'finding':26}{'n':>6}{'median':>8}{'lowest':>8}{'highest':>8}{'off by > 5 %':>14}")
    for key in keys:
        ratios = np.array([one.ratio for one in found if one.key.endswith(key)])
        off = int((np.abs(ratios - 1) > MOST).sum())
        print(
            f"{key:26}{len(ratios):6}{np.median(ratios):8.3f}{ratios.min():8.3f}{ratios.max():8.3f}{off:14}"
        )
    lacking = sorted({key for _, keys_of in told for key in keys_of})
    print("stated without a budget:", ", ".join(lacking) or "none")
    print("refused:", sum(not sums_of for sums_of, _ in told))
    if wish.write:
        command = f"python tests/benchmarks/budgets.py --reviews {wish.reviews} --seed {wish.seed} --write"
        honest_sections.store("budgets", command, rows(found, lacking))


def rows(found: list[Sum], lacking: list[str]) -> Iterator[tuple[str, str, str, str]]:
    """Yield what is kept of the study."""
    for part in ("charge", "drain", "readout"):
        mine = [one for one in found if one.key.startswith(f"{part}.")]
        if mine:
            agree = honest_sections.share(sum(one.adds_up for one in mine), len(mine))
            yield f"{part}: stated intervals within 5 % of the drawn ones", "all", "not looked at", agree
    yield "intervals stated without a budget", "none", "not looked at", ", ".join(lacking) or "none"


if __name__ == "__main__":
    main()
