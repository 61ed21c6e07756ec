"""Findings: the numbers a review stands on, and how they travel.

A section notebook displays its findings under `MIME`; whoever reads the executed notebook finds them
there, so the notebook is the record. This is the only package that both the bench (which makes findings)
and the machinery (which collects and publishes them) know.

A section of one's own makes each `Finding` with `measured` or `not_tested`, or by itself where it is no
number with an uncertainty, and displays them as `Findings`; `help(findings.Finding)` has the fields.
"""

from reviewkit.findings.findings_file import Findings as Findings
from reviewkit.findings.findings_file import limit_text, table_html, value_text, verdict_text, with_inputs
from reviewkit.findings.findings_file import twins as twins
from reviewkit.findings.item import CHART_MIME as CHART_MIME
from reviewkit.findings.item import MIME as MIME
from reviewkit.findings.item import PART_MIME as PART_MIME
from reviewkit.findings.item import PLOTLY_MIME as PLOTLY_MIME
from reviewkit.findings.item import SCHEMA as SCHEMA
from reviewkit.findings.item import Finding as Finding
from reviewkit.findings.item import Value as Value
from reviewkit.findings.item import measured, not_tested

__all__ = ["limit_text", "measured", "not_tested", "table_html", "value_text", "verdict_text", "with_inputs"]
