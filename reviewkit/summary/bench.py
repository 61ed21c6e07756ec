"""Instruments and method, how to run the review again, and what changed since the last edition."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from markupsafe import Markup

from reviewkit.findings import Finding, sentences, verdict_text
from reviewkit.metrology import formatting
from reviewkit.metrology.accuracy import accuracy
from reviewkit.summary.record import Part, Record, bullets, facts, html, joined, table

say = sentences.of("summary")


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
    return html("<h3>{}</h3>{}", since, table(names, rows, about="Findings that changed"))


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
