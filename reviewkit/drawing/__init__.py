"""Drawing: a chart's plain description, or a finding, as SVG; it knows neither notebooks nor cells."""
