"""What the bench found, in one paragraph: only findings speak."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from reviewkit.findings import Finding, placeholders
from reviewkit.metrology import formatting
from reviewkit.summary.part import Part, html
from reviewkit.summary.record import Record

NAMED = 3
"""Most findings that are named one by one; the table has them all."""


@dataclass(frozen=True)
class Sentence:
    """A sentence that is said as far as there are findings for it.

    Parameters
    ----------
    start : str
    phrases : tuple of str
        With placeholders; each is left out if a finding in it has no value.
    """

    start: str
    phrases: tuple[str, ...]

    def said(self, record: Record) -> str:
        """Return the sentence, or nothing."""
        phrases = [text for phrase in self.phrases if (text := _phrase(phrase, record))]
        return f"{self.start}{self._run(record)} {formatting.listed(phrases)}." if phrases else ""

    def _run(self, record: Record) -> str:
        """Return which of several runs is told of, in brackets; nothing where there is one."""
        keys = [key for phrase in self.phrases for key, is_key in placeholders.pieces(phrase) if is_key]
        runs = {item.key.split(".")[1] for key in keys if (item := record.best(key)) and item.key != key}
        return f" ({min(runs).replace('_', ' ')})" if len(runs) == 1 else ""


SENTENCES = (
    Sentence(
        "It charges",
        (
            "at {charge.plateau_current}",
            "up to {charge.hold_voltage} at the cell",
            "until the current has fallen to {charge.termination_current}",
        ),
    ),
    Sentence("A whole charge", ("took {charge.termination_time}", "put {charge.delivered} into the cell")),
    Sentence(
        "Its own voltage readout",
        ("is off by {readout.largest_error} at most anywhere in the cell’s working range",),
    ),
    Sentence(
        "In standby it",
        ("draws {drain.standby.mean}", "takes {drain.standby.days_to_empty} to empty a full cell"),
    ),
)
"""What a reader wants first, section by section."""


def _phrase(pattern: str, record: Record) -> str:
    found = {key: record.best(key) for key, is_key in placeholders.pieces(pattern) if is_key}
    if any(item is None for item in found.values()):
        return ""
    return placeholders.filled(pattern, {key: item for key, item in found.items() if item})


def paragraph(record: Record) -> Part:
    """Return the paragraph that a reader with one minute reads."""
    sentences = [text for sentence in SENTENCES if (text := sentence.said(record))]
    if sentences:
        # The first one names the device, in place of "It".
        sentences[0] = record.name + sentences[0].removeprefix("It")
    said = " ".join([*sentences, *_verdicts(record)])
    return Part(html('<p class="lead">{}</p>', said or "Nothing has been measured yet."), "opening")


def _verdicts(record: Record) -> Iterator[str]:
    outside, unsure = record.judged("fail"), record.judged("inconclusive")
    inside, missing = record.judged("pass"), record.judged("not tested")
    judged = len(outside) + len(unsure) + len(inside)
    if judged:
        yield f"Of {_count(judged, 'finding')} that can be judged, {_within(len(inside), judged)}."
    if outside:
        yield f"Outside: {_named(outside)}."
    if unsure:
        yield f"The meter can’t tell: {_named(unsure)}."
    if missing:
        were = "was" if len(missing) == 1 else "were"
        yield f"{_count(len(missing), 'thing').capitalize()} {were} not tested."


def _within(inside: int, judged: int) -> str:
    if inside == judged:
        return "all are within their limits" if judged > 1 else "it is within its limit"
    return f"{_number(inside)} {'is within its limit' if inside == 1 else 'are within their limits'}"


def _named(items: Sequence[Finding]) -> str:
    said = [f"{item.label}, {item.text}{_against(item)}" for item in items[:NAMED]]
    more = len(items) - len(said)
    return "; ".join([*said, f"and {_number(more)} more"] if more > 0 else said)


def _against(item: Finding) -> str:
    return f" against {formatting.declared(item.limit.low, item.limit.high, item.unit)}" if item.limit else ""


def _count(number: int, what: str) -> str:
    return f"{_number(number)} {what}{'' if number == 1 else 's'}"


def _number(number: int) -> str:
    words = (
        "none",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
    )
    return words[number] if number < len(words) else str(number)
