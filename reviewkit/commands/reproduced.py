"""Whether a published finding still stands beside the one that came out when the review was run again."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reviewkit.findings import Finding, verdict_text
from reviewkit.pipeline.results import SectionResult

OF_UNCERTAINTY = 0.01
"""Two numbers are the same up to this part of the uncertainty behind them …"""
OF_NUMBER = 1e-6
"""… or of the number itself, whichever is more: what other versions of the libraries may make of it."""

# A stranger's text must not steer the terminal that shows it.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


@dataclass(frozen=True)
class Check:
    """One finding, as it was published and as it came out again.

    Parameters
    ----------
    key : str
    published, again : Finding or None
        None where it was not published, or did not come out again.
    """

    key: str
    published: Finding | None
    again: Finding | None

    @property
    def stands(self) -> bool:
        """Whether value, interval, limit and verdict are the same, within rounding."""
        return self.published is not None and self.again is not None and same(self.published, self.again)

    @property
    def text(self) -> str:
        """One line: the finding if it stands, else what was published and what came out."""
        told = _told(self.published)
        line = f"{self.key}: {told}" if self.stands else f"{self.key}: {told}; now {_told(self.again)}"
        return _CONTROL.sub("\ufffd", line)


@dataclass(frozen=True)
class Verified:
    """A published review, run again.

    Parameters
    ----------
    name : str
        What was verified, as it was named.
    checks : tuple of Check
        One for each finding, those first that were published.
    failed : tuple of SectionResult
        The sections that did not run to their end.
    """

    name: str
    checks: tuple[Check, ...]
    failed: tuple[SectionResult, ...]

    @property
    def changed(self) -> tuple[Check, ...]:
        """The findings that do not stand."""
        return tuple(item for item in self.checks if not item.stands)

    @property
    def stands(self) -> bool:
        """Whether every section ran and every finding stands."""
        return not self.changed and not self.failed

    @property
    def text(self) -> str:
        """The result in a line."""
        total, changed = len(self.checks), len(self.changed)
        return f"{self.name}: {total - changed} of {total} findings still stand"


def checks(published: Iterable[Finding], again: Iterable[Finding]) -> tuple[Check, ...]:
    """Return a check for each finding of either, by key."""
    before = {item.key: item for item in published}
    after = {item.key: item for item in again}
    return tuple(Check(key, before.get(key), after.get(key)) for key in before | after)


def same(published: Finding, again: Finding, *, of_uncertainty: float = OF_UNCERTAINTY) -> bool:
    """Return whether two findings say the same, within rounding; their words beside the number may differ.

    Parameters
    ----------
    published, again : Finding
    of_uncertainty : float
        Part of the uncertainty behind a number by which it may differ.
    """
    slack = of_uncertainty * min(half_width(published), half_width(again))
    return (
        (published.unit, published.verdict) == (again.unit, again.verdict)
        and _alike(_numbers(published), _numbers(again), slack)
        and _alike(published.value, again.value, slack)
    )


def half_width(item: Finding) -> float:
    """Return half the width of what a finding leaves open, in its own unit."""
    if item.uncertainty is not None:
        return abs(item.uncertainty)
    return abs(item.high - item.low) / 2 if item.low is not None and item.high is not None else 0.0


def _numbers(item: Finding) -> list[Any]:
    limit = [item.limit.low, item.limit.high, item.limit.source] if item.limit else None
    return [item.uncertainty, item.low, item.high, limit]


def _alike(old: Any, new: Any, slack: float) -> bool:
    if _is_number(old) and _is_number(new):
        return math.isclose(old, new, rel_tol=OF_NUMBER, abs_tol=slack)
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        return old.keys() == new.keys() and all(_alike(old[key], new[key], slack) for key in old)
    if _is_list(old) and _is_list(new):
        return len(old) == len(new) and all(_alike(a, b, slack) for a, b in zip(old, new, strict=True))
    return type(old) is type(new) and bool(old == new)


def _is_number(value: Any) -> bool:
    # A whole number of hundreds of digits, inside a list, is compared as it is.
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300


def _is_list(value: Any) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)


def _told(item: Finding | None) -> str:
    if item is None:
        return "not there"
    verdict = verdict_text(item)
    return f"{item.text}, {verdict}" if verdict and verdict != item.text else item.text
