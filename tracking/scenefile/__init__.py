"""Reads and checks scenes/*.toml; the only place that knows the keys of the file."""
