"""What a review's summary is made from, and a part of it as a notebook shows and a page completes it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from markupsafe import Markup

from reviewkit.findings import PART_MIME, Finding, Findings, findings_file, twins


@dataclass(frozen=True)
class Record:
    """A review as its summary sees it.

    Parameters
    ----------
    device, review, cell, voltmeter, ammeter, drain_ammeter : mapping
        Blocks of the review file, as written.
    claims : sequence of mapping
        The maker's claims.
    sections : tuple of mapping
        name, title, page, status, message of each.
    inputs : tuple of mapping
        path, sha256, bytes of each file that findings come from.
    made_with : mapping
        Versions of the kit, of Python and of the libraries.
    earlier : Findings or None
        Of the edition before; None where there is none.
    earlier_edition : int
        Its number; 0 where there is none.
    declared : mapping
        What the review file says, by key.
    """

    findings: Findings
    device: Mapping[str, Any] = field(default_factory=dict)
    review: Mapping[str, Any] = field(default_factory=dict)
    cell: Mapping[str, Any] = field(default_factory=dict)
    voltmeter: Mapping[str, Any] = field(default_factory=dict)
    ammeter: Mapping[str, Any] = field(default_factory=dict)
    drain_ammeter: Mapping[str, Any] = field(default_factory=dict)
    claims: Sequence[Mapping[str, Any]] = ()
    sections: tuple[Mapping[str, Any], ...] = ()
    inputs: tuple[Mapping[str, Any], ...] = ()
    made_with: Mapping[str, Any] = field(default_factory=dict)
    earlier: Findings | None = None
    earlier_edition: int = 0
    declared: Mapping[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """The device's name."""
        return str(self.device.get("name") or "The device")

    @property
    def edition(self) -> int:
        """The edition's number; 0 for a working copy."""
        return int(self.review.get("edition", 1))

    @property
    def judged(self) -> list[Finding]:
        """Return the findings that have a verdict, each fact once; whether the charge ends stands first."""
        found = [item for item in self.distinct() if item.is_judged]
        return sorted(found, key=lambda item: not item.key.endswith(".terminates"))

    @property
    def missing(self) -> dict[str, list[Finding]]:
        """Return what was not tested, by the reason: what one reason keeps from being told is one thing."""
        reasons: dict[str, list[Finding]] = {}
        for item in self.distinct():
            if item.verdict == "not tested" and is_missed(item):
                reasons.setdefault(item.note or "No reason was given.", []).append(item)
        return reasons

    def each(self, section: str, name: str) -> list[Finding]:
        """Return a section's findings of that name, one of each run or state, each fact once."""
        return [
            item
            for item in self.distinct()
            if item.key.startswith(f"{section}.") and item.key.rpartition(".")[2] == name
        ]

    def is_interrupted(self, item: Finding) -> bool:
        """Whether the charge that a finding is of was interrupted: its times are not the charger's then."""
        other = self.findings.get(f"{item.key.rpartition('.')[0]}.interruptions")
        return bool(other and other.value)

    def cut_on_purpose(self, source: str) -> str:
        """Return what the reviewer cut during a charge on purpose, in their words; nothing if nothing was."""
        runs = [run for run in self.declared.get("charge_runs") or () if isinstance(run, Mapping)]
        own = [run for run in runs if not source or str(run.get("source")) == source]
        return next((str(run["cut_on_purpose"]) for run in own if run.get("cut_on_purpose")), "")

    def distinct(self) -> Iterator[Finding]:
        """Walk the findings, each fact once: under its short key where it has two."""
        long = twins(self.findings)
        yield from (item for item in self.findings if item.key not in long)


_PARTS = ("precharge_current", "precharge_end", "base", "pulse_height", "pulse_width", "pulse_period")
_OF_METHOD = ("sequence_coverage", "silent_errors")
"""Parts of what is told in whole, and what tells how the bench was kept: no reader misses them."""


def is_missed(item: Finding) -> bool:
    """Whether a reader would miss it, where it was not tested."""
    return item.key.rpartition(".")[2] not in (*_PARTS, *_OF_METHOD)


def read(
    findings: str,
    *,
    device: Mapping[str, Any] | None = None,
    claims: Sequence[Mapping[str, Any]] = (),
    cell: Mapping[str, Any] | None = None,
    voltmeter: Mapping[str, Any] | None = None,
    ammeter: Mapping[str, Any] | None = None,
    drain_ammeter: Mapping[str, Any] | None = None,
    review: Mapping[str, Any] | None = None,
    last_edition: str = "",
) -> Record:
    """Return everything that the summary tells.

    Parameters
    ----------
    findings : str
        Path of `findings.json`.
    device, cell, voltmeter, ammeter, drain_ammeter, review : mapping, optional
        Blocks of the review file.
    claims : sequence of mapping
        The maker's claims.
    last_edition : str
        Path of the findings of the edition before; it need not exist.

    Raises
    ------
    InputError
        If a file of findings is not one.

    Examples
    --------
    >>> record = read(str(site / "birch" / "findings.json"))
    >>> record.findings["charge.wall_adapter.terminates"].value
    True
    """
    whole = findings_file.read(Path(findings))
    before = Path(last_edition) if last_edition else None
    earlier = findings_file.read(before) if before and before.is_file() else None
    made = Record(
        findings=whole.findings,
        device=device or whole.device,
        review=review or whole.review,
        cell=cell or {},
        voltmeter=voltmeter or {},
        ammeter=ammeter or {},
        drain_ammeter=drain_ammeter or {},
        claims=tuple(claims),
        sections=whole.sections,
        inputs=findings_file.measured_from(whole.inputs),
        made_with=whole.made_with,
        declared=whole.declared,
    )
    return replace(made, earlier=earlier.findings, earlier_edition=earlier.edition) if earlier else made


@dataclass(frozen=True)
class Part:
    """A piece of HTML in which every text has been escaped.

    Parameters
    ----------
    name : str
        What the page does something with: "opening", "sections", "words"; empty for nothing.
    more : mapping
        What the page needs for that.
    """

    html: Markup
    name: str = ""
    more: Mapping[str, Any] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """The piece without its markup."""
        return " ".join(Markup(re.sub(r"</(p|li|td|th|dt|dd|h3)>", " ", self.html)).striptags().split())

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        return {
            PART_MIME: {"name": self.name, **self.more},
            "text/html": str(self.html),
            "text/plain": self.text,
        }


def html(pattern: str, *values: Any, **named: Any) -> Markup:
    """Return markup with the values in it, escaped."""
    return Markup(pattern).format(*values, **named)


def joined(pieces: Iterable[Markup]) -> Markup:
    """Return pieces of markup as one."""
    return Markup("").join(pieces)


def bullets(texts: Iterable[str]) -> Markup:
    """Return texts as a list."""
    return html("<ul>{}</ul>", joined(html("<li>{}</li>", text) for text in texts))


def facts(pairs: Iterable[tuple[str, str]]) -> Markup:
    """Return names and what they are; pairs without the second are left out."""
    return html(
        '<dl class="facts">{}</dl>',
        joined(html("<dt>{}</dt><dd>{}</dd>", name, text) for name, text in pairs if text),
    )


def table(head: Iterable[str], rows: Iterable[Iterable[str]], *, about: str) -> Markup:
    """Return a table whose first column names the rows; narrow screens stack it.

    Parameters
    ----------
    head : iterable of str
    rows : iterable of iterable of str
    about : str
        Said to those who cannot see it.
    """
    names = list(head)
    return html(
        '<table class="stacked" aria-label="{}"><thead><tr>{}</tr></thead><tbody>{}</tbody></table>',
        about,
        joined(html('<th scope="col">{}</th>', name) for name in names),
        joined(_row(names, list(row)) for row in rows),
    )


def _row(names: list[str], cells: list[str]) -> Markup:
    rest = (
        html('<td data-label="{}">{}</td>', name, cell)
        for name, cell in zip(names[1:], cells[1:], strict=True)
    )
    return html('<tr><th scope="row">{}</th>{}</tr>', cells[0], joined(rest))
