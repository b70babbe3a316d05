"""Reads and checks scenes/*.toml; the only place that knows the keys of the file."""

from tracking.scenefile.read import SceneFile, SceneValue, read_scene
from tracking.scenefile.starter import starter_text, write_starter

__all__ = ["SceneFile", "SceneValue", "read_scene", "starter_text", "write_starter"]
