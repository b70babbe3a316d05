"""Choosing a lens height, a tilt, a way of building, and what errors the design bears; all by direct traces."""
