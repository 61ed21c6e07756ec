"""Findings: the numbers a review stands on, and how they travel.

A section notebook displays its findings under `MIME`; whoever reads the executed notebook finds them
there, so the notebook is the record. This is the only package that both the bench (which makes findings)
and the machinery (which collects and publishes them) know.
"""

from reviewkit.findings.item import (
    CHART_MIME,
    MIME,
    PART_MIME,
    PLOTLY_MIME,
    SCHEMA,
    Finding,
    Value,
    measured,
    not_tested,
)
from reviewkit.findings.several import (
    Findings,
    limit_text,
    table_html,
    twins,
    value_text,
    verdict_text,
    with_inputs,
)

__all__ = [
    "CHART_MIME",
    "MIME",
    "PART_MIME",
    "PLOTLY_MIME",
    "SCHEMA",
    "Finding",
    "Findings",
    "Value",
    "limit_text",
    "measured",
    "not_tested",
    "table_html",
    "twins",
    "value_text",
    "verdict_text",
    "with_inputs",
]
