"""Findings, claims, sections and gaps of a review, for the page to complete."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from reviewkit.errors import Faults, ReviewFileError
from reviewkit.findings import MIME, SCHEMA, Finding, sentences, table_html
from reviewkit.metrology import Measured, formatting, units
from reviewkit.metrology.conformity import Limit, judge
from reviewkit.summary.record import Part, Record, html, is_missed, joined
from reviewkit.summary.record import table as table_of

say = sentences.of("summary")


def table(record: Record) -> Part:
    """Return all findings: those with a limit first, then each section's.

    Examples
    --------
    >>> table(record).html.count('<tr id="charge.') > 20
    True
    """
    items = sorted(record.distinct(), key=lambda item: not item.key.endswith(".terminates"))
    return Part(
        Markup(table_html(items)),
        "findings",
        {MIME: {"schema": SCHEMA, "findings": [item.to_dict() for item in items]}},
    )


def sections(record: Record) -> Part:
    """Return the sections; the page adds to each its first chart.

    Examples
    --------
    >>> '<a href="drain.html">Standby drain</a>' in sections(record).html
    True
    """
    items = (
        html(
            '<li><a href="{}">{}</a>{}</li>',
            section["page"],
            section["title"],
            f": failed, {section['message']}" if section["status"] == "failed" else "",
        )
        for section in record.sections
    )
    return Part(html("<ul>{}</ul>", joined(items)), "sections", {"sections": list(record.sections)})


def words() -> Part:
    """Return the place of the author's own paragraphs; the page fills it.

    Examples
    --------
    >>> words().name
    'words'
    """
    return Part(Markup(), "words")


def not_tested(record: Record) -> Part:
    """Return what could not be had, with the reason, said once for all findings that share it.

    Examples
    --------
    >>> "The source’s side was not logged." in not_tested(record).html
    True
    """
    told = [
        html("<li><strong>{}.</strong> {}</li>", _sentence(", ".join(item.label for item in items)), full)
        for why, items in record.missing.items()
        if (full := _full(why))
    ]
    parts = [item.label for item in record.distinct() if item.verdict == "not tested" and not is_missed(item)]
    also = html("<p>{}</p>", say("parts_missing", labels=parts)) if parts else Markup()
    return Part(html("{}{}<p>{}</p>", html("<ul>{}</ul>", joined(told)) if told else "", also, say("scope")))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _full(text: str) -> str:
    text = _sentence(text.strip())
    return text if text.endswith((".", "!", "?")) else f"{text}."


_HEAD = ("The maker says", "Measured", "Holds")


def claims(record: Record) -> Part:
    """Return a table of the claims.

    Raises
    ------
    Faults
        If a claim's number has another unit than the finding.

    Examples
    --------
    >>> claims(record).html
    Markup('<p>The review file names no claim of the maker’s.</p>')
    """
    if not record.claims:
        return Part(html("<p>{}</p>", say("no_claims")))
    faults: list[ReviewFileError] = []
    rows = [_claim(claim, place, record, faults) for place, claim in enumerate(record.claims, 1)]
    if faults:
        raise Faults(faults)
    return Part(table_of(_HEAD, rows, about="The maker’s claims beside what was measured"))


def _claim(
    claim: Mapping[str, Any], place: int, record: Record, faults: list[ReviewFileError]
) -> tuple[str, str, str]:
    item = record.findings.get(str(claim["about"]))
    if item is None:
        # That it can be found is known before a run; that it was is another thing.
        return _in_its_words(claim), "", "not tested"
    try:
        return _says(claim, item), item.text, _answer(claim, item)
    except ValueError as error:
        faults.append(ReviewFileError(str(error), file="review.yaml", place=f"claims[{place}]"))
    return "", "", ""


def _in_its_words(claim: Mapping[str, Any]) -> str:
    """Return a claim as it is declared, where no finding gives it a label and a unit."""
    if claim.get("says"):
        return _quoted(claim)
    words = {"at_least": "at least", "at_most": "at most", "about_equal": "about"}
    told = [f"{word} {claim[name]}" for name, word in words.items() if claim.get(name) is not None]
    return f"{claim['about']}: {', '.join(told)}{_source(claim)}"


def _quoted(claim: Mapping[str, Any]) -> str:
    return f"“{claim['says']}”{_source(claim)}"


def _source(claim: Mapping[str, Any]) -> str:
    return f" ({claim['source']})" if claim.get("source") else ""


def _limit(claim: Mapping[str, Any], item: Finding) -> Limit:
    low, high = (claim.get(name) for name in ("at_least", "at_most"))
    return Limit(
        None if low is None else units.to_unit(low, item.unit),
        None if high is None else units.to_unit(high, item.unit),
        "the maker",
    )


def _equal(claim: Mapping[str, Any], item: Finding) -> float | None:
    told = claim.get("about_equal")
    return None if told is None else units.to_unit(told, item.unit)


def _says(claim: Mapping[str, Any], item: Finding) -> str:
    if claim.get("says"):
        return _quoted(claim)
    equal, limit = _equal(claim, item), _limit(claim, item)
    told = (
        formatting.declared(limit.low, limit.high, item.unit)
        if equal is None
        else formatting.declared(None, equal, item.unit).replace("at most", "about")
    )
    return f"{_sentence(item.label)}: {told}{_source(claim)}"


def _answer(claim: Mapping[str, Any], item: Finding) -> str:
    if not isinstance(item.value, int | float) or isinstance(item.value, bool):
        return "not tested" if item.value is None else "see what was measured"
    equal, limit = _equal(claim, item), _limit(claim, item)
    if equal is not None:
        return _compared(item, equal)
    if limit.low is None and limit.high is None:
        return "see what was measured"
    words = {"pass": "yes", "fail": "no", "inconclusive": "the meter can’t tell"}
    return words[_verdict(item, limit)]


def _verdict(item: Finding, limit: Limit) -> str:
    """Return the verdict: by conformance probability where there is a budget, else by the interval.

    Where the section itself could not tell against this limit, or had none, the page can't either.
    """
    assert isinstance(item.value, int | float)
    own = item.limit
    if item.verdict == "inconclusive" and (own is None or (own.low, own.high) == (limit.low, limit.high)):
        return "inconclusive"
    limit = _either_way(limit, item.unit)
    if item.budget:
        return str(judge(Measured(float(item.value), item.unit, item.budget), limit))
    low = item.value if item.low is None else item.low
    high = item.value if item.high is None else item.high
    floor = float("-inf") if limit.low is None else limit.low
    roof = float("inf") if limit.high is None else limit.high
    if floor <= low and high <= roof:
        return "pass"
    return "fail" if high < floor or low > roof else "inconclusive"


def _either_way(limit: Limit, unit: str) -> Limit:
    """Return a limit by the amount: −11 mA are not "at most 3 mA". A temperature below zero is no amount."""
    if limit.low is not None or limit.high is None or limit.high < 0 or unit == "degC":
        return limit
    return Limit(-limit.high, limit.high, limit.source)


def _compared(item: Finding, told: float) -> str:
    assert isinstance(item.value, int | float)
    low = item.value if item.low is None else item.low
    high = item.value if item.high is None else item.high
    if low <= told <= high:
        return "yes, as far as the meter can tell"
    off = formatting.quantity(abs(item.value - told), item.uncertainty, item.unit)
    return f"no: measured {off} {'more' if item.value > told else 'less'}"
