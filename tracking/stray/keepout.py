"""The region around the focal line that an eye or a hand must keep out of: where the flux is 1, 5, 10 times the sun."""

from dataclasses import dataclass, replace

import numpy as np

from raytrace.scene import RowPose, Scene
from raytrace.stray import Face, stray_light
from raytrace.trace import prepare

SUNS = (1.0, 5.0, 10.0)
"""Flux over DNI whose region is told."""
DEPTHS = 100
DEEPEST = 2.5
"""Planes traced, and how far below the lens they reach, in focal lengths: there the light is wide again."""
KEEP_OUT_RAYS = 1 << 15


@dataclass(frozen=True, kw_only=True, slots=True)
class KeepOut:
    """Where flux on a plane parallel to the lens is at least `suns` times DNI. Lengths in [m]; None where nowhere.

    `above` and `below` are the distances along the lens normal from the plane of the tubes' axes to the highest and
    lowest such plane; `across` and `along` the largest distances from the middle of the light on its plane. `outline`
    holds each such plane, from the highest down: its height above the plane of the axes, and the distances from the
    middle of the light across and along the grooves, to draw the region by.
    """

    suns: float
    above: float | None
    below: float | None
    across: float | None
    along: float | None
    outline: tuple[tuple[float, float, float], ...]


def keep_out(
    scene: Scene, *, transversal_angle: float = 0.0, longitudinal_angle: float = 0.0, rays: int = KEEP_OUT_RAYS
) -> tuple[KeepOut, ...]:
    """The regions for each of SUNS with the tubes taken away, at one direction of the sun [deg].

    Above the plane of the tubes `above` is negative where the light is only below it. `along` is counted from the ray
    through the middle of the lens; with a skewed sun it slides.
    """
    lens = scene.lens
    lone = prepare(replace(scene, tubes=replace(scene.tubes, count=1, spacing=0.0)))
    tan_l, tan_t = (np.tan(np.radians(angle)) for angle in (longitudinal_angle, transversal_angle))
    size_x, size_y = 2.0 * DEEPEST * lens.width, 1.5 * lens.length
    found: dict[float, list[tuple[float, float, float]]] = {suns: [] for suns in SUNS}
    for depth in np.linspace(DEEPEST / DEPTHS, DEEPEST, DEPTHS) * lens.focal_length:
        middle = (-depth * tan_t, -depth * tan_l)
        face = Face(
            corner=(float(middle[0] - 0.5 * size_x), float(middle[1] - 0.5 * size_y), -float(depth)),
            side_a=(1.0, 0.0, 0.0), side_b=(0.0, 1.0, 0.0), length_a=size_x, length_b=size_y,
        )  # fmt: skip
        light = stray_light(
            lone, (face,), transversal_angle=transversal_angle, longitudinal_angle=longitudinal_angle, rays=rays,
            row=RowPose.level(0.0), missing_tube=0,
        ).faces[0]  # fmt: skip
        # Rows of patches tell the extent: their means are far less noisy than single patches.
        patches = face.patches
        x = np.abs((np.arange(patches[0]) + 0.5) / patches[0] - 0.5) * size_x
        y = np.abs((np.arange(patches[1]) + 0.5) / patches[1] - 0.5) * size_y
        central = light.flux[:, np.abs(y) < 0.25 * lens.length].mean(axis=1)
        bright = int(central.argmax())
        for suns in SUNS:
            wide = x[central >= suns]
            if wide.size:
                nearby = light.flux[max(0, bright - 1) : bright + 2].mean(axis=0)
                long = y[nearby >= suns]
                found[suns].append(
                    (
                        float(depth),
                        float(wide.max()) + 0.5 * size_x / patches[0],
                        float(long.max()) + 0.5 * size_y / patches[1] if long.size else 0.0,
                    )
                )
    return tuple(_region(suns, places, scene.lens_height) for suns, places in found.items())


def _region(suns: float, places: list[tuple[float, float, float]], lens_height: float) -> KeepOut:
    if not places:
        return KeepOut(suns=suns, above=None, below=None, across=None, along=None, outline=())
    depths, across, along = (np.array([place[k] for place in places]) for k in range(3))
    return KeepOut(
        suns=suns, above=float(lens_height - depths.min()), below=float(depths.max() - lens_height),
        across=float(across.max()), along=float(along.max()),
        outline=tuple((lens_height - depth, x, y) for depth, x, y in places),
    )  # fmt: skip
