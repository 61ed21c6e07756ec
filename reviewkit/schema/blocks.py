"""The blocks that several sections read: the cell, the meters, a log entry."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from contextlib import suppress
from decimal import Decimal
from pathlib import PurePosixPath
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PrivateAttr, field_validator, model_validator

from reviewkit.metrology import meter as instrument
from reviewkit.schema import dates
from reviewkit.schema.quantities import Ampere, AmpereHour, Block, Celsius, Day, Ohm, Second, Volt

_HIGHEST_LFP_V = 3.9
_LONGEST_PATH = 400


_SPELLINGS = {
    "NMC": "NCM, LiNiMnCoO2, LiNiCoMnO2, Li(NiMnCo)O2, lithium nickel manganese cobalt oxide",
    "NCA": "LiNiCoAlO2, lithium nickel cobalt aluminium oxide, lithium nickel cobalt aluminum oxide",
    "LCO": "LiCoO2, lithium cobalt oxide",
    "LMO": "LiMn2O4, lithium manganese oxide",
    "LFP": "LiFePO4, LiFe, IFR, lithium iron phosphate, lithium ferrophosphate, "
    "Lithium-Eisenphosphat, lithium fer phosphate",
    "Li-ion": "LiIon, lithium-ion, lithium ion, Lithium-Ionen, LiPo, Li-Po, lithium polymer, Li-polymer",
}
"""How cells' wraps, data sheets and sellers write a chemistry, in any case (common practice, no source)."""


def _folded(name: str) -> str:
    """Return a name without what spellings differ in: case, blanks and dashes, lowered figures."""
    return re.sub(r"[\W_]", "", unicodedata.normalize("NFKC", name).lower())


_CHEMISTRY = {
    _folded(name): known
    for known, names in _SPELLINGS.items()
    for name in (known, *(name.strip() for name in names.split(",")))
}
_MIXTURE = re.compile(r"(?:nmc|ncm)\d{3}")
_WRAP = re.compile(r"i[cnm]r(?:\d{5})?")


def chemistry_of(told: Any) -> Any:
    """Return a chemistry as the kit calls it, from any usual spelling: "LiFePO₄" is LFP.

    Raises
    ------
    ValueError
        If it is what stands on wraps of cells of more than one chemistry.
    """
    if not isinstance(told, str):
        return told
    name = _folded(told)
    if _WRAP.fullmatch(name):
        raise ValueError(
            f"'{told}' stands on cells of more than one chemistry; expected 'NMC', 'NCA', 'LCO' or 'LMO', "
            "as the data sheet says, else 'Li-ion'"
        )
    return "NMC" if _MIXTURE.fullmatch(name) else _CHEMISTRY.get(name.removesuffix("18650"), told)


_Known = Literal["NMC", "NCA", "LCO", "LMO", "LFP", "Li-ion"]
_Spelled = Literal["NMC", "NCA", "LCO", "LMO", "LFP", "Li-ion", "LiFePO4", "LiFePO₄", "NCM", "LiPo"]


class Cell(Block):
    """The cell used, with its data sheet's limits.

    Defaults are the chemistry's; their source is named in `charge_limit_source`. Between `min_termination_A`
    and `max_termination_A` a charger is to stop: C/50 and C/10 of the rated capacity (common practice)
    where the data sheet's are not given.
    """

    label: str = ""
    chemistry: Annotated[_Known, BeforeValidator(chemistry_of, json_schema_input_type=_Spelled)] = "Li-ion"
    rated_capacity_Ah: AmpereHour | None = Field(default=None, gt=0, le=200)
    charge_limit_V: Volt | None = Field(default=None, ge=3, le=5)
    charge_limit_tolerance_V: Volt = Field(default=0.05, ge=0, le=0.5)
    charge_limit_source: str = ""
    max_charge_A: Ampere | None = Field(default=None, gt=0, le=200)
    min_termination_A: Ampere | None = Field(default=None, ge=0, le=200)
    max_termination_A: Ampere | None = Field(default=None, gt=0, le=200)
    floor_V: Volt | None = Field(default=None, gt=0, lt=6)
    min_charge_C: Celsius = 0.0
    max_charge_C: Celsius = 45.0

    @model_validator(mode="after")
    def _agrees(self) -> Cell:
        if self.chemistry == "LFP" and self.limit_V > _HIGHEST_LFP_V:
            raise ValueError(
                f"an LFP cell with a charging limit of {self.limit_V:g} V; expected at most "
                f"{_HIGHEST_LFP_V:g} V, usually 3.65 V: correct 'chemistry' or 'charge_limit_V'"
            )
        if self.floor_V is not None and self.floor_V >= self.limit_V:
            raise ValueError(
                f"a floor of {self.floor_V:g} V is not below the charging limit of {self.limit_V:g} V; "
                "correct one of the two"
            )
        low, high = self.min_termination_A, self.max_termination_A
        if low is not None and high is not None and low >= high:
            raise ValueError(
                f"a lowest termination current of {low:g} A is not below the highest of {high:g} A; "
                "correct one of the two"
            )
        return self

    @property
    def limit_V(self) -> float:
        """Charging limit [V]: the data sheet's, else 3.65 for LFP and 4.20 for the rest."""
        if self.charge_limit_V is not None:
            return self.charge_limit_V
        return 3.65 if self.chemistry == "LFP" else 4.20

    @property
    def limit_source(self) -> str:
        """Who states the charging limit."""
        if self.charge_limit_source:
            return self.charge_limit_source
        if self.charge_limit_V is not None:
            return "the cell's data sheet, as declared"
        return "usual for the chemistry, common practice"


class MeterBlock(Block):
    """A meter, or with `ranges` a meter of several ranges."""

    name: str = ""
    serial: str = ""
    accuracy: str | None = None
    resolution: float | str | None = None
    full_scale: float | str | None = None
    burden_ohm: Ohm | None = Field(default=None, ge=0)
    leads_ohm: Ohm | None = Field(default=None, ge=0)
    input_ohm: Ohm | None = Field(default=None, gt=0)
    last_check: Day = ""
    ranges: tuple[MeterBlock, ...] = ()

    @field_validator("name", "serial", mode="before")
    @classmethod
    def _number_as_text(cls, told: Any) -> Any:
        return str(told) if isinstance(told, int) and not isinstance(told, bool) else told

    def spec(self) -> dict[str, Any]:
        """Return the block as `instrument.meter` reads it."""
        return self.model_dump(exclude_none=True, exclude_defaults=True)


class Voltmeter(MeterBlock):
    """A meter that reads volts."""

    @model_validator(mode="after")
    def _readable(self) -> Voltmeter:
        instrument.meter(self.spec(), "V")
        return self

    def meter(self, full_scale: float | None = None) -> instrument.Meter:
        """Return the range to use."""
        return instrument.meter(self.spec(), "V", full_scale)


class Ammeter(MeterBlock):
    """A meter that reads amperes."""

    @model_validator(mode="after")
    def _readable(self) -> Ammeter:
        instrument.meter(self.spec(), "A")
        return self

    def meter(self, full_scale: float | None = None) -> instrument.Meter:
        """Return the range to use."""
        return instrument.meter(self.spec(), "A", full_scale)


def spelled_alike(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a review file with chemistry and days as the kit spells them.

    What can't be read stays as it is, for the block's own model to refuse.
    """
    found = dict(values)
    for block, key, reader in _SPELLED_ALIKE:
        for name, value in values.items():
            if re.fullmatch(block, name) and isinstance(value, dict) and isinstance(value.get(key), str):
                with suppress(ValueError):
                    found[name] = {**found[name], key: reader(value[key])}
    return found


_SPELLED_ALIKE: tuple[tuple[str, str, Callable[[str], str]], ...] = (
    ("cell", "chemistry", chemistry_of),
    ("review", "date", dates.iso),
    ("review", "video_date", dates.iso),
    (r"(?:.+_)?(?:voltmeter|ammeter)", "last_check", dates.iso),
)


def _entry_from_path(value: Any) -> Any:
    return {"path": value} if isinstance(value, str) else value


MEANT = "yes, I mean it"
"""What `plausible` says where readings that look impossible are right all the same."""


class LogBlock(Block):
    """One log, or one quantity in it: which file, and which column is what where the header doesn't say."""

    path: str
    time: str | None = None
    time_unit: str | None = None
    value: str | None = None
    unit: str | None = None
    sign: Literal[1, -1] = 1
    sheet: str | None = None
    clock_offset_s: Second = 0.0
    plausible: Literal["yes, I mean it"] | None = None
    _key: str = PrivateAttr("")

    def stands_under(self, key: str) -> None:
        """Note under which key of its block it stands, so that a line to paste can begin with it."""
        self._key = key

    @property
    def key(self) -> str:
        """The key that it stands under; empty where it stands alone."""
        return self._key

    def __eq__(self, other: object) -> bool:
        # What it says, wherever it stands.
        return isinstance(other, LogBlock) and self.model_dump() == other.model_dump()

    def __hash__(self) -> int:
        return hash(tuple(self.model_dump().values()))

    @field_validator("path")
    @classmethod
    def _stays_inside(cls, path: str) -> str:
        return inside(path)

    @field_validator("time", "value", mode="before")
    @classmethod
    def _number_of_a_column(cls, name: Any) -> Any:
        return str(name) if isinstance(name, int) and not isinstance(name, bool) else name

    @property
    def is_meant(self) -> bool:
        """Whether the reviewer has said that the readings are right although they look impossible."""
        return self.plausible == MEANT


LogEntry = Annotated[LogBlock, BeforeValidator(_entry_from_path, json_schema_input_type=str | LogBlock)]


PLACES = {"tens": 1, "units": 0, "tenths": -1, "hundredths": -2}
"""What a group of blinks may count, as a power of ten."""


class BlinkRule(Block):
    """How blinks tell a value: groups that each count something, or a table of patterns.

    `zero`: how many blinks stand for 0. `patterns`: "3 · 1" to what it stands for, such as "3.1" or "half".
    """

    groups: tuple[Literal["tens", "units", "tenths", "hundredths"], ...] = Field(default=(), max_length=4)
    zero: int | None = Field(default=None, ge=1, le=30)
    patterns: dict[str, str] = Field(default_factory=dict)

    @field_validator("patterns")
    @classmethod
    def _counted(cls, patterns: dict[str, str]) -> dict[str, str]:
        told = {" · ".join(re.findall(r"\d+", one)): value for one, value in patterns.items()}
        if "" in told or len(told) < len(patterns):
            raise ValueError(
                "patterns: each is a count of blinks, or several, such as '3 · 1'; no two the same"
            )
        return told

    @property
    def number(self) -> int | None:
        """How many groups make a reading; None where that differs or isn't said."""
        lengths = {len(one.split(" · ")) for one in self.patterns} | (
            {len(self.groups)} if self.groups else set()
        )
        return lengths.pop() if len(lengths) == 1 else None

    def shown(self, counts: tuple[int, ...]) -> str:
        """Return what counts of blinks stand for; empty for what they can't be."""
        told = self.patterns.get(" · ".join(map(str, counts)), "")
        if told or len(counts) != len(self.groups) or not self.groups:
            return told
        digits = [0 if count == self.zero else count for count in counts]
        if any(digit > 9 for digit in digits):
            return ""
        places = [PLACES[one] for one in self.groups]
        value = sum(
            digit * Decimal(10) ** decimal_place for digit, decimal_place in zip(digits, places, strict=True)
        )
        return f"{value:.{max(0, -min(places))}f}"


def inside(path: str) -> str:
    """Return a path with forward slashes, checked to stay in the review folder.

    Raises
    ------
    ValueError
        If it is absolute, names a drive or climbs out.
    """
    written = path.replace("\\", "/")
    pure = PurePosixPath(written)
    if len(written) > _LONGEST_PATH or "\0" in written:
        raise ValueError(f"'{written[:60]}…' is no path; expected such as 'logs/current.csv'")
    if not written or pure.is_absolute() or ".." in pure.parts or ":" in written:
        raise ValueError(
            f"'{written[:80]}' does not stay inside the review folder; expected a path relative to it, "
            "such as 'logs/current.csv'"
        )
    return str(pure)
