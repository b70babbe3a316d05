"""Widths of the focal line of a sheet that is known but for focal length, slope error and the side it was cut for."""

from dataclasses import replace

from raytrace.arrays import Floats
from raytrace.points import Replicates
from raytrace.profile import ProfileWindow, profile_widths, profile_window
from raytrace.scene import GroovesSide, RowPose, Scene, Tubes
from raytrace.trace import PreparedScene, prepare, run_replicates
from tracking.energy.fit.sample import jackknife
from tracking.energy.fit.widths import WidthKind

REPLICATES = 16
PLACE: dict[WidthKind, int] = {"w50": 0, "w90": 1, "fwhm": 3}
"""Where each width stands in what `profile_widths` returns."""

NO_TUBES = Tubes(count=1, length=0.02, absorber_diameter=0.001)
"""Widths are those on a target with the tubes taken away; a scene must have one, so this is a needle."""

KEPT = 4
"""Sheets whose kernel inputs are kept: those that the same step of the search asks for again."""


class TracedWidths:
    """Widths by traces that all start from the same random numbers, with the sun on the lens normal.

    Parameters
    ----------
    scene
        Sheet and sun; its focal length, slope error and sides are replaced, its tubes and its aiming error left out:
        one aim at a time moves the line but does not widen it.
    kind
        Which width.
    seed
        One whole number from 0.
    """

    def __init__(self, scene: Scene, kind: WidthKind, *, seed: int = 0) -> None:
        self.scene = replace(scene, tubes=NO_TUBES, aiming_error=0.0)
        self.kind, self.seed = kind, seed
        self._prepared: dict[tuple[float, GroovesSide, GroovesSide], PreparedScene] = {}

    def prepared(self, focal_length: float, cut_for: GroovesSide, grooves_toward: GroovesSide) -> PreparedScene:
        """Kernel inputs of a sheet with no slope error.

        Raises
        ------
        ValueError
            If such a sheet cannot be cut.
        """
        key = focal_length, cut_for, grooves_toward
        if key not in self._prepared:
            if len(self._prepared) >= KEPT:
                self._prepared.clear()
            lens = replace(
                self.scene.lens,
                focal_length=focal_length,
                cut_for=cut_for,
                grooves_toward=grooves_toward,
                slope_error=0.0,
            )
            self._prepared[key] = prepare(replace(self.scene, lens=lens))
        return self._prepared[key]

    def width(
        self,
        focal_length: float,
        slope_error: float,
        cut_for: GroovesSide,
        grooves_toward: GroovesSide,
        height: float,
        *,
        rays: int,
    ) -> float:
        """Width on a target at a height below the sheet's lower face [m]; 0 where the line has no peak.

        Lengths in [m], slope error in [mrad].

        Raises
        ------
        ValueError
            If such a sheet cannot be cut.
        """
        profiles, window = self._profiles(focal_length, slope_error, cut_for, grooves_toward, height, rays)
        return float(profile_widths(profiles.sum(axis=0), window)[PLACE[self.kind]])

    def standard_error(
        self,
        focal_length: float,
        slope_error: float,
        cut_for: GroovesSide,
        grooves_toward: GroovesSide,
        height: float,
        *,
        rays: int,
    ) -> float:
        """Standard error of `width`, by leaving out one replicate after the other [m]."""
        profiles, window = self._profiles(focal_length, slope_error, cut_for, grooves_toward, height, rays)
        return jackknife(
            profiles, lambda mean: float(profile_widths(mean, window)[PLACE[self.kind]])
        ).standard_error

    def _profiles(
        self,
        focal_length: float,
        slope_error: float,
        cut_for: GroovesSide,
        grooves_toward: GroovesSide,
        height: float,
        rays: int,
    ) -> tuple[Floats, ProfileWindow]:
        """Light across the grooves on the target, one profile a replicate (replicates, bins), and its bins."""
        flat = self.prepared(focal_length, cut_for, grooves_toward)
        scene = replace(flat.scene, lens_height=height)
        prepared = replace(flat, scene=scene, sheet=flat.sheet._replace(slope_error=slope_error * 1e-3))
        window = profile_window(scene, 0.0)
        sums = run_replicates(
            prepared.inputs(0.0, 0.0, RowPose.level(0.0), window),
            plan=Replicates(count=REPLICATES, rays_each=max(1, rays // REPLICATES), groups=REPLICATES),
            seed=self.seed,
            threads=1,
            with_flux=False,
        )
        return sums.profile, window
