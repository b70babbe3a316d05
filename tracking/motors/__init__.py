"""Setpoints for motors: the path that the drives can follow, moves, safe poses, exports for firmware, calibration."""
