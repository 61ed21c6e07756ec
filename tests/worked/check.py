"""A published worked example beside what the kit computes."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.errors import InputError
from reviewkit.findings.displays import Answer
from reviewkit.metrology import formatting

_MORE = 2
"""Digits that the kit's value is shown with beyond the published ones."""


@dataclass(frozen=True)
class Row:
    """One quantity of an example.

    Parameters
    ----------
    quantity : str
    published, kit : float [unit]
    decimals : int
        Of the published value, as printed; fewer than none for rounded tens.
    unit : str
    known : str
        Why the two are known to differ: a slip in print, another convention. Empty: they must agree.
    """

    quantity: str
    published: float
    kit: float
    decimals: int
    unit: str = ""
    known: str = ""

    @property
    def difference(self) -> float:
        """The kit's value less the published one [unit]."""
        return self.kit - self.published

    @property
    def agrees(self) -> bool:
        """Whether they are the same to the published value's last digit."""
        return abs(self.difference) <= 0.5 * 10.0**-self.decimals * (1 + 1e-6)

    @property
    def _is_as_short(self) -> bool:
        """Whether the kit's value has no digit beyond the published one's last, such as a count."""
        return abs(self.kit - round(self.kit, self.decimals)) < 1e-9 * max(1.0, abs(self.kit))

    @property
    def cells(self) -> tuple[str, ...]:
        """The row as a table shows it."""
        behind = f"{formatting.NO_BREAK}{self.unit}" if self.unit else ""
        published = formatting.number(self.published, self.decimals) + behind
        finer = self.decimals + (0 if self._is_as_short else _MORE)
        kit, apart = (formatting.number(value, finer) + behind for value in (self.kit, self.difference))
        said = "to the last digit" if self.agrees else f"no: {self.known or 'a fault of the kit'}"
        return self.quantity, published, kit, apart, said


@dataclass(frozen=True)
class Check:
    """A worked example.

    Parameters
    ----------
    source : str
        Where it was published.
    seen : str
        How its numbers came here: read in print, from memory, computed.
    rows : tuple of Row
    """

    source: str
    seen: str
    rows: tuple[Row, ...]

    @property
    def agrees(self) -> bool:
        """Whether every value agrees with the published one, known slips apart."""
        return all(row.agrees or row.known for row in self.rows)

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        told = (f"Source: {self.source}.", f"Its numbers here: {self.seen}.")
        columns = ("quantity", "published", "the kit", "difference", "agrees")
        return Answer(told, columns, tuple(row.cells for row in self.rows))._repr_mimebundle_()


def values(folder: str | Path, name: str) -> dict[str, Any]:
    """Return a published example's numbers, its source among them.

    Parameters
    ----------
    folder : str or pathlib.Path
        Holds one JSON file per example or table.
    name : str
        The file's, without its ending.

    Raises
    ------
    InputError
        If the folder has no such file.
    """
    path = Path(folder) / f"{name}.json"
    try:
        found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(
            "no published example that can be read",
            file=str(path),
            expected="the folder tests/published of a clone of this project",
        ) from error
    return found
