"""What the pictures of one trace are about."""

from dataclasses import dataclass

from raytrace.result import TraceResult
from raytrace.scene import RowPose, Scene

ALONG = 1e-3
"""Sine of the angle to the grooves up to which tubes count as running along them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LightView:
    """What the pictures of one trace are about: scene, its trace, the sun's angles [deg], the row, DNI [W/m2]."""

    scene: Scene
    trace: TraceResult
    row: RowPose
    dni: float

    @property
    def angles(self) -> dict[str, float]:
        """The sun's angles as arguments of a trace [deg]."""
        return {
            "transversal_angle": self.trace.transversal_angle,
            "longitudinal_angle": self.trace.longitudinal_angle,
        }

    @property
    def along_grooves(self) -> bool:
        """Whether the tubes run along the focal line."""
        return abs(self.row.tube[0]) < ALONG

    @property
    def words(self) -> str:
        """The sun's angles and DNI in words."""
        return (
            f"sun {self.trace.transversal_angle:.1f} deg across and {self.trace.longitudinal_angle:.1f} deg along the "
            f"grooves, DNI {self.dni:.0f} W/m$^2$"
        )
