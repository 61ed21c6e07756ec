"""What the logs of a charge had to say for themselves, as a list for the reader."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from reviewkit.charge.record import ChargeRecord


@dataclass(frozen=True)
class LogNotes:
    """Sentences about the logs.

    Parameters
    ----------
    lines : tuple of str
    """

    lines: tuple[str, ...]

    def _repr_markdown_(self) -> str:
        return "\n".join(f"- {line}" for line in self.lines) or "Nothing was logged."

    def __repr__(self) -> str:
        return "\n".join(self.lines) or "Nothing was logged."


def of(records: Iterable[ChargeRecord]) -> LogNotes:
    """Return what to know of each run's logs: rows, clocks, gaps, faults."""
    lines = []
    for record in records:
        name = f"{record.source}: " if record.source else ""
        lines.append(
            f"{name}{len(record.voltage_V)} voltage readings, one each {record.voltage_interval_s:g} s; "
            f"{len(record.current_A)} current readings, one each {record.interval_s:g} s."
        )
        if record.clock_note:
            lines.append(f"{name}Clocks: {record.clock_note[:1].lower()}{record.clock_note[1:]}")
        lines += [f"{name}{note}" for note in record.notes]
    return LogNotes(tuple(lines))
