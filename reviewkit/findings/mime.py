"""The MIME types under which a notebook's cells hand their results to whoever reads the notebook."""

from __future__ import annotations

MIME = "application/vnd.reviewkit.findings+json"
CHART_MIME = "application/vnd.reviewkit.chart+json"
"""What a chart says beside its picture: question, answer, table."""
PLOTLY_MIME = "application/vnd.plotly.v1+json"
PART_MIME = "application/vnd.reviewkit.part+json"
"""A part of a review's summary that its page completes, such as the sections with their charts."""
SCHEMA = 1
