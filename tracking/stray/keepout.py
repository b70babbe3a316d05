"""The region around the focal line that an eye or a hand must keep out of: where the flux is 1, 5, 10 times the sun."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from raytrace.scene import RowPose, Scene
from raytrace.stray import Face, single_tube, stray_light
from raytrace.trace import PreparedScene, prepare
from tracking.plans.instant import instants_at
from tracking.scenefile import SceneFile
from tracking.stray.idle import LARGEST_INCIDENCE
from tracking.stray.stretch import year_times

SUNS = (1.0, 5.0, 10.0)
"""Flux over DNI whose region is told."""
DEPTHS = 100
DEEPEST = 2.5
"""Planes traced, and how far below the lens they reach, in focal lengths: there the light is wide again."""
KEEP_OUT_RAYS = 1 << 15
SKEW_STEP = 7.5
"""Skews of the sun are traced no further apart [deg]."""
MOST_SKEW = 75.0
"""Largest skew of the sun that is held in the region [deg]: beyond it the aperture is a quarter and less. Chosen."""
SKEW_DAYS, SKEW_TIME = 14, dt.timedelta(minutes=60)
"""Days apart and step of the instants among which the largest skew of an aimed lens is looked for."""


@dataclass(frozen=True, kw_only=True, slots=True)
class KeepOut:
    """Where flux on a surface across the light is at least `suns` times DNI. Lengths in [m]; None where nowhere.

    `above` and `below` are the distances along the lens normal from the plane of the tubes' axes to the highest and
    lowest place; `across` the largest distance across the grooves from the middle of the light, `along` that along them
    from the middle of the lens. `outline` holds places from the highest down: height above the plane of the axes, and
    the distances across and along the grooves, to draw the region by.
    """

    suns: float
    above: float | None
    below: float | None
    across: float | None
    along: float | None
    outline: tuple[tuple[float, float, float], ...]


def largest_skew(scene_file: SceneFile, year: int) -> float:
    """Largest longitudinal angle [deg], of either sign, under which the lens is aimed in a year; 0 if it never is.

    At most MOST_SKEW: a lens that cannot follow may see the sun far aslant, or from behind.
    """
    instants = instants_at(scene_file, year_times(scene_file.site, year, SKEW_TIME, SKEW_DAYS))
    skews = (
        abs(each.aim.angles.longitudinal) for each in instants
        if each.aim is not None and each.aim.angles.incidence < LARGEST_INCIDENCE
    )  # fmt: skip
    return min(MOST_SKEW, max(skews, default=0.0))


def keep_out(scene: Scene, *, skew: float = 0.0, rays: int = KEEP_OUT_RAYS) -> tuple[KeepOut, ...]:
    """The regions for each of SUNS with the tubes taken away, whatever the skew of the sun up to `skew` [deg].

    Flux is told for a surface across the light: that on a plane parallel to the lens over the cosine of the sun's
    angle. `above` is negative where the light is only below the plane of the tubes. The more skewed the sun, the nearer
    to the lens and the further along the grooves the light comes together.
    """
    lone = prepare(single_tube(scene))
    skews = np.linspace(0.0, skew, 1 + int(np.ceil(skew / SKEW_STEP - 1e-9)))
    # Along the grooves the light slides on until the next skew that is traced: no place between the two is left out.
    slides = np.tan(np.radians([*skews[1:], skews[-1]]))
    found: dict[float, list[tuple[float, float, float]]] = {suns: [] for suns in SUNS}
    for depth in np.linspace(DEEPEST / DEPTHS, DEEPEST, DEPTHS) * scene.lens.focal_length:
        planes = [_flux_below(lone, float(depth), float(each), rays) for each in skews]
        for suns in SUNS:
            reach = [_reach(scene, flux, suns) for flux in planes]
            lit = [
                (wide, long + float(depth * slide))
                for (wide, long), slide in zip(reach, slides, strict=True)
                if wide > 0.0
            ]
            if lit:
                found[suns].append((float(depth), max(wide for wide, _ in lit), max(long for _, long in lit)))
    return tuple(_region(suns, places, scene.lens_height) for suns, places in found.items())


def _flux_below(lone: PreparedScene, depth: float, skew: float, rays: int) -> Floats:
    """Flux over DNI across the light at a depth below the lens, in patches (across, along) around its middle."""
    size_x, size_y = _sizes(lone.scene)
    face = Face(
        corner=(-0.5 * size_x, -depth * float(np.tan(np.radians(skew))) - 0.5 * size_y, -depth),
        side_a=(1.0, 0.0, 0.0), side_b=(0.0, 1.0, 0.0), length_a=size_x, length_b=size_y,
    )  # fmt: skip
    light = stray_light(
        lone, (face,), transversal_angle=0.0, longitudinal_angle=skew, rays=rays, row=RowPose.level(0.0),
        missing_tube=0,
    )  # fmt: skip
    return light.faces[0].flux / float(np.cos(np.radians(skew)))


def _sizes(scene: Scene) -> tuple[float, float]:
    """Size of the planes traced, across and along [m]."""
    return 2.0 * DEEPEST * scene.lens.width, 1.5 * scene.lens.length


def _reach(scene: Scene, flux: Floats, suns: float) -> tuple[float, float]:
    """How far from its middle, across and along [m], light is at least `suns` strong; 0 where it is nowhere.

    Rows of patches tell it: their means are far less noisy than single patches.
    """
    x, y = (
        np.abs((np.arange(count) + 0.5) / count - 0.5) * size
        for count, size in zip(flux.shape, _sizes(scene), strict=True)
    )
    half_x, half_y = (0.5 * size / count for count, size in zip(flux.shape, _sizes(scene), strict=True))
    central = flux[:, y < 0.25 * scene.lens.length].mean(axis=1)
    wide = x[central >= suns]
    if not wide.size:
        return 0.0, 0.0
    bright = int(central.argmax())
    long = y[flux[max(0, bright - 1) : bright + 2].mean(axis=0) >= suns]
    return float(wide.max()) + half_x, float(long.max()) + half_y if long.size else 0.0


def _region(suns: float, places: list[tuple[float, float, float]], lens_height: float) -> KeepOut:
    if not places:
        return KeepOut(suns=suns, above=None, below=None, across=None, along=None, outline=())
    depths, across, along = (np.array([place[k] for place in places]) for k in range(3))
    return KeepOut(
        suns=suns, above=float(lens_height - depths.min()), below=float(depths.max() - lens_height),
        across=float(across.max()), along=float(along.max()),
        outline=tuple((lens_height - depth, x, y) for depth, x, y in places),
    )  # fmt: skip
