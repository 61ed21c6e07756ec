"""Findings, sections and gaps of a review, for the page to complete."""

from __future__ import annotations

from markupsafe import Markup

from reviewkit.findings import MIME, SCHEMA, Finding, table_html
from reviewkit.summary.part import Part, html, joined
from reviewkit.summary.record import Record

_SCOPE = (
    "Nothing here says how the device behaves with another cell or another source, hot or cold, wet, or "
    "after years "
    "of use; and another sample may differ from this one."
)


def table(record: Record) -> Part:
    """Return all findings: those with a limit first, then each section's."""
    items = list(record.distinct())
    return Part(
        Markup(table_html(items)),
        "findings",
        {MIME: {"schema": SCHEMA, "findings": [item.to_dict() for item in items]}},
    )


def sections(record: Record) -> Part:
    """Return the sections; the page adds to each its first chart."""
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
    """Return the place of the author's own paragraphs; the page fills it."""
    return Part(Markup(), "words")


def not_tested(record: Record) -> Part:
    """Return what could not be had, with the reason, said once for all findings that share it."""
    reasons: dict[str, list[Finding]] = {}
    for item in record.judged("not tested"):
        reasons.setdefault(item.note or "No reason was given.", []).append(item)
    lines = (
        html(
            "<li><strong>{}.</strong> {}</li>", _sentence(", ".join(item.label for item in items)), _full(why)
        )
        for why, items in reasons.items()
    )
    told = html("<ul>{}</ul>", joined(lines)) if reasons else Markup()
    return Part(html("{}<p>{}</p>", told, _SCOPE))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _full(text: str) -> str:
    text = _sentence(text.strip())
    return text if text.endswith((".", "!", "?")) else f"{text}."
