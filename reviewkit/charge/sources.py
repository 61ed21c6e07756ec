"""Several sources: whether the charge is the same on all of them, and who ends it.

References
----------
USB 2.0 (100 mA and 500 mA unit loads), USB 3.x (900 mA), Battery Charging 1.2 (1.5 A), USB Type-C current
(1.5 A and 3 A at 5 V; IEC 63002 4.4 lists them).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from reviewkit.metrology import Measured, difference
from reviewkit.metrology.conformity import Limit

SOURCE_LIMITS_A: Mapping[str, tuple[float, str]] = {
    "usb 2.0 before configuration": (0.100, "USB 2.0, one unit load"),
    "usb 2.0": (0.500, "USB 2.0, five unit loads"),
    "usb 3": (0.900, "USB 3.x, six unit loads of 150 mA"),
    "usb charging port": (1.500, "Battery Charging 1.2"),
    "type-c 1.5 A": (1.500, "USB Type-C current 1.5 A"),
    "type-c 3 A": (3.000, "USB Type-C current 3 A"),
}
"""Largest current that each kind of source may give [A], and who says so."""

EndedBy = Literal["device", "source", "undecided"]


@dataclass(frozen=True)
class SameOrNot:
    """One quantity on two sources.

    Parameters
    ----------
    quantity : str
    first, second : str
        The sources' names.
    difference : Measured
        Second − first; the meters' shared unknowns have cancelled.
    """

    quantity: str
    first: str
    second: str
    difference: Measured

    @property
    def same(self) -> bool:
        """Whether the difference is within its uncertainty."""
        return abs(self.difference.value) <= self.difference.expanded


def compare(quantities: Mapping[str, Mapping[str, Measured]]) -> tuple[SameOrNot, ...]:
    """Return, quantity by quantity, whether each source gives what the first one gave.

    Parameters
    ----------
    quantities : mapping of str to mapping of str to Measured
        Quantity → source → value; a source without the quantity is passed over.

    Returns
    -------
    tuple of SameOrNot
        Empty with fewer than two sources.
    """
    rows: list[SameOrNot] = []
    for quantity, by_source in quantities.items():
        names = list(by_source)
        rows.extend(
            SameOrNot(quantity, names[0], other, difference(by_source[other], by_source[names[0]]))
            for other in names[1:]
        )
    return tuple(rows)


def source_limit(kind: str | None, declared_A: float | None) -> Limit | None:
    """Return what the source may give: its declared limit, else that of its kind.

    Raises
    ------
    ValueError
        If the kind is not one of `SOURCE_LIMITS_A`.
    """
    if declared_A is not None:
        return Limit(high=declared_A, source="the source's declared limit")
    if kind is None:
        return None
    if kind not in SOURCE_LIMITS_A:
        raise ValueError(f"'{kind}' is no known kind of source; known: {', '.join(SOURCE_LIMITS_A)}")
    highest, who = SOURCE_LIMITS_A[kind]
    return Limit(high=highest, source=who)


@dataclass(frozen=True)
class Ending:
    """Who ended the charge, and on what evidence.

    Parameters
    ----------
    by : {"device", "source", "undecided"}
    evidence : str
        A sentence.
    """

    by: EndedBy
    evidence: str


def who_ends(
    terminates: bool, source_controls: bool | None, source_stays: bool | None, same_on_all: bool | None
) -> Ending:
    """Return who ended the charge.

    Parameters
    ----------
    terminates : bool
        Whether the current stopped at all.
    source_controls : bool or None
        Whether the source has a charge control of its own, as the review file declares; None: not said.
    source_stays : bool or None
        Whether a log of the source shows its voltage standing while the current stopped; None: no log.
    same_on_all : bool or None
        Whether termination was the same on several different sources; None: only one.
    """
    if not terminates:
        return Ending("undecided", "The current never stopped within the log, so nobody ended the charge.")
    if source_stays is False:
        return Ending("source", "The source's voltage fell as the current stopped.")
    if source_controls is False and source_stays:
        return Ending(
            "device", "The source has no charge control, and its voltage stood while the current stopped."
        )
    if source_controls is False:
        return Ending(
            "device", "The source has no charge control of its own, as declared, and the current stopped."
        )
    if same_on_all:
        return Ending("device", "The charge ends alike on different sources.")
    if source_controls:
        return Ending("undecided", "The source has a charge control of its own: either may have ended it.")
    return Ending("undecided", "The review file does not say whether the source controls the charge.")


def named_pairs(rows: Sequence[SameOrNot]) -> str:
    """Return the quantities that differ, in words, or nothing if none does."""
    return ", ".join(sorted({row.quantity for row in rows if not row.same}))
