"""What a summary stands on: findings, claims, sections and gaps; instruments, method, what changed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from markupsafe import Markup

from reviewkit.errors import Faults, ReviewFileError
from reviewkit.findings import MIME, SCHEMA, Finding, sentences, table_html, verdict_text
from reviewkit.metrology import Measured, formatting, units
from reviewkit.metrology.conformity import Limit, judge
from reviewkit.metrology.meter import accuracy
from reviewkit.summary.record import Part, Record, bullets, facts, html, is_missed, joined
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
    rows = [_claim(claim, number, record, faults) for number, claim in enumerate(record.claims, 1)]
    if faults:
        raise Faults(faults)
    return Part(table_of(_HEAD, rows, about="The maker’s claims beside what was measured"))


def _claim(
    claim: Mapping[str, Any], number: int, record: Record, faults: list[ReviewFileError]
) -> tuple[str, str, str]:
    item = record.findings.get(str(claim["about"]))
    if item is None:
        # That it can be found is known before a run; that it was is another thing.
        return _in_its_words(claim), "", "not tested"
    try:
        return _says(claim, item), item.text, _answer(claim, item)
    except ValueError as error:
        faults.append(ReviewFileError(str(error), file="review.yaml", place=f"claims[{number}]"))
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


def instruments(record: Record) -> Part:
    """Return instruments, cell, source, conditions and the decision rule.

    Examples
    --------
    >>> "<dt>Voltmeter</dt>" in instruments(record).html
    True
    """
    review = record.review
    pairs = [
        ("Voltmeter", _meter(record.voltmeter, "V")),
        ("Ammeter", _meter(record.ammeter, "A")),
        ("Ammeter for drain", _meter(record.drain_ammeter, "A") if record.drain_ammeter else ""),
        ("Cell", _cell(record.cell)),
        ("Source", str(review.get("source") or "")),
        ("Conditions", ", ".join(_conditions(review))),
        ("Place", str(review.get("place") or "")),
        ("Method", str(review.get("method") or "")),
        ("Ties", "; ".join(_ties(record.device))),
        ("How sure", say("how_sure")),
    ]
    return Part(facts(pairs))


def _in_one(text: str) -> str:
    """Keep a specification such as "±(0.5 % + 2)" on one line."""
    return text.replace("±", "±\u2060").replace(" %", "\u202f%").replace(" + ", "\u00a0+\u00a0")


def _grouped(value: Any) -> Any:
    """Return a large whole number with its groups of three set apart; anything else as it is."""
    return formatting.number(value, 0) if isinstance(value, int) and value > 9999 else value


def _ties(device: Mapping[str, Any]) -> Iterator[str]:
    for name in ("payment", "links"):
        if device.get(name):
            yield f"{name}: {device[name]}"
    if device.get("maker_saw_first") is not None:
        seen = "saw" if device["maker_saw_first"] else "did not see"
        yield f"the maker {seen} this review before it was published"


def _meter(block: Mapping[str, Any], unit: str) -> str:
    if not block:
        return "not stated"
    ranges = block.get("ranges") or ()
    told = [str(block.get("name") or ""), *_meter_facts(block, unit)]
    told += [f"range {'; '.join(_meter_facts(part, unit))}" for part in ranges]
    told.append(
        f"last checked {block['last_check']}" if block.get("last_check") else "no check of the meter stated"
    )
    return "; ".join(part for part in told if part)


def _meter_facts(block: Mapping[str, Any], unit: str) -> Iterator[str]:
    names = {
        "full_scale": "full scale {}",
        "accuracy": "accuracy {}",
        "resolution": "resolution {}",
        "burden_ohm": "burden {} Ω",
        "leads_ohm": "leads {} Ω",
        "input_ohm": "input {} Ω",
    }
    for key, text in names.items():
        if block.get(key) is None:
            continue
        yield _in_one(text.format(_grouped(block[key])))
        if key == "accuracy":
            yield f"read as {accuracy(str(block[key]), unit).words(unit)}"


def _cell(block: Mapping[str, Any]) -> str:
    names = {
        "label": "{}",
        "chemistry": "{}",
        "rated_capacity_Ah": "rated {} Ah",
        "charge_limit_V": "charging limit {} V",
        "charge_limit_tolerance_V": "± {} V",
        "max_charge_A": "at most {} A",
        "min_termination_A": "charged down to at least {} A",
        "max_termination_A": "charged down to at most {} A",
        "charge_limit_source": "{}",
    }
    told = [_with_unit(text, block[key]) for key, text in names.items() if block.get(key) not in (None, "")]
    return ", ".join(told).replace(", ±", " ±")


def _with_unit(pattern: str, value: Any) -> str:
    """Put a value in its place; one that brings its own unit needs no other."""
    bare = pattern.split("{}")[0] + "{}" if isinstance(value, str) else pattern
    return bare.format(value)


def _conditions(review: Mapping[str, Any]) -> Iterator[str]:
    if review.get("ambient_C") is not None:
        yield _with_unit("{} °C", review["ambient_C"])
    if review.get("ambient_humidity_percent") is not None:
        yield _with_unit("{} % humidity", review["ambient_humidity_percent"])


def again(record: Record) -> Part:
    """Return how to run the review again, from what, with which versions.

    Examples
    --------
    >>> "reviewkit verify evidence.zip" in again(record).html
    True
    """
    rows = [
        (str(item["path"]), f"{item['bytes']:,}".replace(",", "\u202f"), item["sha256"])
        for item in record.inputs
    ]
    files = html(
        "<details><summary>{}</summary>{}</details>",
        f"The {len(rows)} files that its numbers come from, with their SHA-256",
        _sums(rows),
    )
    return Part(
        html(
            "<p>{}</p><pre><code>reviewkit verify evidence.zip</code></pre><p>{}</p>{}<p>{}{}</p>",
            html(
                'Logs, review file, notebooks and findings in one: <a href="evidence.zip">evidence.zip</a>. '
                "With it and the same kit:",
            ),
            say("again"),
            files if rows else Markup(),
            _links(record),
            f" {_made_with(record.made_with)}",
        )
    )


def _made_with(versions: Mapping[str, Any]) -> str:
    libraries = [f"{name} {number}" for name, number in versions.get("libraries", {}).items()]
    told = [
        f"reviewkit {versions.get('reviewkit', '?')}",
        f"Python {versions.get('python', '?')}",
        *libraries,
    ]
    return f"Made with {', '.join(told)}."


def _sums(rows: list[tuple[str, str, str]]) -> Markup:
    lines = joined(
        html('<tr><th scope="row">{}</th><td>{}</td><td><code>{}</code></td></tr>', *row) for row in rows
    )
    return html(
        '<div class="scroll" tabindex="0" role="region" aria-label="Files"><table><thead><tr><th '
        'scope="col">File</th>'
        '<th scope="col">Bytes</th><th scope="col">SHA-256</th></tr></thead><tbody>{}</tbody></table></div>',
        lines,
    )


def _links(record: Record) -> Markup:
    notebooks = [(f"notebooks/{section['name']}.ipynb", str(section["title"])) for section in record.sections]
    notebooks += [("notebooks/summary.ipynb", "this summary")]
    books = Markup(", ").join(html('<a href="{}">{}</a>', *pair) for pair in notebooks)
    return html(
        'The findings: <a href="findings.json">JSON</a>, <a href="findings.csv">CSV</a>. '
        "The executed notebooks: {}.",
        books,
    )


def edition(record: Record) -> Part:
    """Return the edition and what changed since the last: in the author's words, and by the findings.

    Examples
    --------
    >>> edition(record).html
    Markup('<p>Edition 1, 2026-02-21, the team&#39;s gear keeper.</p>')
    """
    review = record.review
    about = [_called(record), str(review.get("date") or ""), str(review.get("author") or "")]
    head = html("<p>{}.</p>", ", ".join(part for part in about if part))
    told = bullets(str(text) for text in review["changes"]) if review.get("changes") else Markup()
    return Part(head + told + _changes(record))


def _called(record: Record) -> str:
    return f"Edition {record.edition}" if record.edition else "Working copy"


def _changes(record: Record) -> Markup:
    if record.earlier is None:
        text = "" if record.edition <= 1 else "The edition before does not lie beside this one."
        return html("<p>{}</p>", text) if text else Markup()
    rows = list(_changed(record))
    since = f"Since edition {record.earlier_edition}"
    if not rows:
        return html("<p>{}</p>", f"{since} no finding has changed by more than its uncertainty.")
    names = ("Finding", f"Edition {record.earlier_edition}", _called(record), "What changed")
    return html("<h3>{}</h3>{}", since, table_of(names, rows, about="Findings that changed"))


def _changed(record: Record) -> Iterator[tuple[str, str, str, str]]:
    earlier = {item.key: item for item in record.earlier or ()}
    for item in record.distinct():
        before = earlier.pop(item.key, None)
        if before is None:
            yield item.label, "", item.text, "new"
        elif what := _difference(before, item):
            yield item.label, before.text, item.text, what
    now = {item.key for item in record.findings}
    yield from (
        (item.label, item.text, "", "no longer there") for item in earlier.values() if item.key not in now
    )


def _difference(before: Finding, now: Finding) -> str:
    if before.verdict != now.verdict:
        return f"{verdict_text(before) or 'not judged'}, now {verdict_text(now) or 'not judged'}"
    if _is_number(before.value) and _is_number(now.value):
        doubt = math.hypot(before.uncertainty or 0.0, now.uncertainty or 0.0)
        return "by more than the uncertainty" if abs(now.value - before.value) > doubt else ""  # type: ignore[operator]
    return "" if before.value == now.value else "another result"


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
