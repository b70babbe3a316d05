"""Full-size templates: drawings as plain data, and writers that put them on paper, into SVG and into DXF."""
