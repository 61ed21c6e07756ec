"""Findings as a reader sees them: a table, the limit and the verdict in words."""

from __future__ import annotations

import html
from collections.abc import Iterable

from reviewkit.findings.item import Finding
from reviewkit.metrology import formatting


def table_html(items: Iterable[Finding]) -> str:
    """Return the findings as an HTML table: finding, value, limit and its source, verdict.

    Examples
    --------
    >>> table_html([not_tested("ui.hazards", "hazards", "no states are named")]).startswith("<table")
    True
    """
    rows = "".join(
        f'<tr id="{html.escape(item.key)}"><th scope="row">{html.escape(item.label)}</th>'
        f'<td class="value">{html.escape(item.text)}</td>'
        f"<td>{html.escape(limit_text(item))}</td><td>{html.escape(verdict_text(item))}</td></tr>"
        for item in items
    )
    return (
        '<table class="findings"><thead><tr><th scope="col">Finding</th><th scope="col">Measured</th>'
        f'<th scope="col">Limit</th><th scope="col">Verdict</th></tr></thead><tbody>{rows}</tbody></table>'
    )


def limit_text(item: Finding) -> str:
    """Return "at most 4.25 V (cell's data sheet)", or nothing where there is no limit.

    Examples
    --------
    >>> from reviewkit.metrology.conformity import Limit
    >>> why = "no log of the cell's voltage"
    >>> print(limit_text(not_tested("charge.hold_voltage", "hold voltage", why, "V", Limit(high=4.25))))
    at most 4.25 V
    """
    if item.limit is None:
        return ""
    span = formatting.declared(item.limit.low, item.limit.high, item.unit)
    return f"{span} ({item.limit.source})" if item.limit.source else span


def verdict_text(item: Finding) -> str:
    """Return the verdict in the trade's words.

    Examples
    --------
    >>> verdict_text(not_tested("ui.hazards", "hazards", "no states are named"))
    'not tested'
    """
    words: dict[str | None, str] = {
        "pass": "within the limit",
        "fail": "outside the limit",
        "inconclusive": "the meter can’t tell",
        "not tested": "not tested",
        None: "",
    }
    return words[item.verdict]
