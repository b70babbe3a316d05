"""The same lens and bare tubes as solids of triangles, traced with trimesh's ray engine and plain numpy refraction.

Nothing here knows what a facet or a riser is: the engine says which triangle a ray meets first, and the triangle's
normal says whether the ray goes into the glass or out of it. Only the outline of the sheet and the rules by which
light is booked are those of DEVELOPERS.md. One wavelength, a point or uniform sun, no slope or aiming error, no sag,
no envelope.

The engine is embree, which works in single precision: lengths of 1 m are good to 6e-8 m. It only says which triangle
is met; where it is met is computed here in double precision. Rays are started `BACK` from the sheet, again within
`NEAR` of the tubes, and after each meeting moved off the surface by `OFFSET`, so that they do not meet the same
triangle again: 0.3 um, five times that rounding and less than a ten-thousandth of the finest groove pitch that should
be asked of this tracer (5 mm).
"""

import math
import time
from dataclasses import dataclass

import numpy as np
import trimesh
from trimesh.ray import ray_pyembree

from raytrace.arrays import AnyArray, Floats
from raytrace.scene import MAX_SURFACES, Lens, RowPose, Scene, Tubes

SUN_HALF_ANGLE = 4.65e-3  # [rad], the uniform disc of DEVELOPERS.md
OFFSET = 3e-7  # [m]
BACK = 1e-4  # [m]
NEAR = 1e-3  # [m]
SECTIONS = 720  # a 47 mm cylinder of so many flat sides is at most 0.0003 mm too small
REPLICATES = 16
NAMES = ("reflected_lens", "absorbed_lens", "upward_lens", "edge_lens", "trapped_lens", "missed", "intercepted")


@dataclass(frozen=True, kw_only=True, slots=True)
class MeshResult:
    """Fractions of the aperture power, (value, standard error) by name; the time taken; the share that went astray."""

    rays: int
    seconds: float
    fractions: dict[str, tuple[float, float]]
    doubtful: float

    @property
    def rays_per_second(self) -> float:
        """Rays started per second, on one core."""
        return self.rays / self.seconds


def lens_solid(lens: Lens) -> trimesh.Trimesh:
    """The sheet with its grooves as a closed solid, extruded along y."""
    grooves = 2 * round(lens.width / (2.0 * lens.groove_pitch))
    pitch = lens.width / grooves
    index = float(np.asarray(lens.material.refractive_index(lens.design_wavelength)))
    draft = math.tan(math.radians(lens.draft_angle))
    # The outline from left to right along the grooves, as height above the plane of their openings; then the flat face.
    outline = [(-0.5 * lens.width, 0.0)]
    for groove in range(grooves):
        left = -0.5 * lens.width + groove * pitch
        delta = math.atan(abs(left + 0.5 * pitch) / lens.focal_length)
        if lens.cut_for == "tubes":
            slope = math.sin(delta) / (index - math.cos(delta))
        else:
            slope = math.sin(delta) / (math.sqrt(index**2 - math.sin(delta) ** 2) - 1.0)
        depth = pitch * slope / (1.0 + slope * draft)
        on_the_right = groove >= grooves // 2
        outline.append((left + pitch - depth * draft if on_the_right else left + depth * draft, depth))
        outline.append((left + pitch, 0.0))
    flat = [(-0.5 * lens.width + groove * pitch, lens.thickness) for groove in range(grooves + 1)]
    section = np.array(outline + flat)
    if lens.grooves_toward == "sun":
        section[:, 1] = lens.thickness - section[:, 1]
    count, first_flat = len(section), len(outline)
    front = np.column_stack([section[:, 0], np.full(count, -0.5 * lens.length), section[:, 1]])
    back = front * np.array([1.0, -1.0, 1.0])
    faces: list[tuple[int, int, int]] = []
    for groove in range(grooves):  # the two end faces
        a, tip, b = 2 * groove, 2 * groove + 1, 2 * groove + 2
        above_a, above_b = first_flat + groove, first_flat + groove + 1
        for one, two, three in ((a, tip, above_a), (tip, above_b, above_a), (tip, b, above_b)):
            faces += [(one, two, three), (one + count, three + count, two + count)]
    around = [*range(first_flat), *range(count - 1, first_flat - 1, -1)]
    for one, two in zip(around, [*around[1:], around[0]], strict=True):  # the faces along y
        faces += [(one, one + count, two), (two, one + count, two + count)]
    solid = trimesh.Trimesh(vertices=np.vstack([front, back]), faces=np.array(faces), process=False)
    if lens.grooves_toward == "sun":
        solid.invert()  # mirrored above, which turned it inside out
    return solid


def tube_solids(tubes: Tubes) -> trimesh.Trimesh:
    """The absorbers of a row as one mesh of closed cylinders, each with as many flat sides as `SECTIONS`.

    In the frame of the row: x along the row, z along the tubes. There the boxes around long, thin triangles are
    tight; in the lens frame, under tubes that lie askew, the engine is slower by a factor of ten.
    """
    place = np.eye(4)
    solids = []
    for tube in range(tubes.count):
        place[0, 3] = (tube - 0.5 * (tubes.count - 1)) * tubes.spacing
        solids.append(
            trimesh.creation.cylinder(
                radius=0.5 * tubes.absorber_diameter, height=tubes.length, sections=SECTIONS, transform=place
            )
        )
    return trimesh.util.concatenate(solids)


def with_embree(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """The mesh, whose ray engine must be embree: without its binding trimesh takes another one and says nothing."""
    assert type(mesh.ray) is ray_pyembree.RayMeshIntersector
    return mesh


def dots(a: Floats, b: Floats) -> Floats:
    """Scalar products of rows, (n,)."""
    return np.asarray((a * b).sum(axis=1))


def first_triangles(mesh: trimesh.Trimesh, origins: Floats, directions: Floats) -> tuple[AnyArray, Floats, Floats]:
    """The triangle that each ray meets first (n,), -1 where none; its outward normal (n, 3); the way to it (n,) [m]."""
    triangle = np.asarray(mesh.ray.intersects_first(ray_origins=origins, ray_directions=directions))
    met = np.maximum(triangle, 0)
    normal = np.asarray(mesh.face_normals)[met]
    corner = np.asarray(mesh.vertices)[np.asarray(mesh.faces)[met, 0]]
    approach = dots(directions, normal)
    way = dots(corner - origins, normal) / np.where(approach == 0.0, 1.0, approach)
    return triangle, normal, way


def after_surface(
    directions: Floats, normals: Floats, leaving: AnyArray, index: float
) -> tuple[Floats, Floats, AnyArray]:
    """Direction after a surface (n, 3), reflectance (n,), total reflection (n,) bool.

    By angles: the part of the direction along the surface grows by the ratio of the indices (Snell), the reflectances
    are those of Fresnel in the form of sines and tangents of the sum and difference of the two angles.
    """
    towards = np.where(leaving, 1.0, -1.0)[:, None] * normals
    ratio = np.where(leaving, index, 1.0 / index)
    cos_in = np.clip(dots(directions, towards), 0.0, 1.0)
    along = directions - cos_in[:, None] * towards
    sin_in = np.sqrt(dots(along, along))
    sin_out = ratio * sin_in
    total = sin_out >= 1.0
    angle_in, angle_out = np.arctan2(sin_in, cos_in), np.arcsin(np.minimum(sin_out, 1.0))
    straight = sin_in < 1e-6
    sum_, difference = angle_in + angle_out, np.where(straight, 1.0, angle_in - angle_out)
    senkrecht = np.sin(difference) / np.where(straight, 1.0, np.sin(sum_))
    parallel = np.tan(difference) / np.where(straight, 1.0, np.tan(sum_))
    plain = ((index - 1.0) / (index + 1.0)) ** 2
    reflectance = np.where(total, 0.0, np.where(straight, plain, 0.5 * (senkrecht**2 + parallel**2)))
    through = ratio[:, None] * along + np.cos(angle_out)[:, None] * towards
    back = directions - 2.0 * cos_in[:, None] * towards
    return np.where(total[:, None], back, through), reflectance, total


def sun_rays(
    rng: np.random.Generator, scene: Scene, transversal_angle: float, longitudinal_angle: float, across: int, along: int
) -> tuple[Floats, Floats]:
    """Points on the sunward face plane, one in each cell of a grid of `across` by `along`, and directions of travel."""
    lens = scene.lens
    count = across * along
    place_x = (np.repeat(np.arange(across), along) + rng.random(count)) / across - 0.5
    place_y = (np.tile(np.arange(along), across) + rng.random(count)) / along - 0.5
    points = np.column_stack([place_x * lens.width, place_y * lens.length, np.full(count, lens.thickness)])
    tangents = [math.tan(math.radians(transversal_angle)), math.tan(math.radians(longitudinal_angle)), 1.0]
    centre = np.array(tangents) / math.hypot(*tangents)
    if scene.sun.sunshape == "point":
        return points, np.broadcast_to(-centre, (count, 3)).copy()
    assert scene.sun.sunshape == "uniform"
    first = np.cross(centre, [0.0, 1.0, 0.0])
    first /= math.hypot(*first)
    theta = SUN_HALF_ANGLE * np.sqrt(rng.random(count))
    turn = 2.0 * math.pi * rng.random(count)
    aside = np.outer(np.cos(turn), first) + np.outer(np.sin(turn), np.cross(centre, first))
    return points, -(np.outer(np.cos(theta), centre) + aside * np.sin(theta)[:, None])


class Shares:
    """Shares of the power by name and replicate."""

    def __init__(self) -> None:
        self.replicate = 0
        self.whole = 1.0
        self.of = {name: np.zeros(REPLICATES) for name in (*NAMES, "doubtful")}

    def book(self, name: str, power: Floats) -> None:
        """Add the power of some rays (n,) to an entry of the replicate under way."""
        self.of[name][self.replicate] += float(power.sum()) / self.whole


def through_solid(
    sheet: trimesh.Trimesh, scene: Scene, points: Floats, directions: Floats, power: Floats, shares: Shares
) -> tuple[Floats, Floats, Floats]:
    """Points, directions (n, 3) and power (n,) of the rays that leave the sheet downward; the rest is booked."""
    lens, wavelength = scene.lens, scene.sun.wavelength
    index = float(np.asarray(lens.material.refractive_index(wavelength)))
    absorption = float(np.asarray(lens.material.absorption_coefficient(wavelength)))
    points = points - BACK * directions
    in_glass = np.zeros(len(points), dtype=bool)
    below: list[tuple[Floats, Floats, Floats]] = []
    for surfaces in range(MAX_SURFACES + 1):
        if not len(points):
            break
        triangle, normal, way = first_triangles(sheet, points, directions)
        out = triangle < 0
        down = out & ~in_glass & (directions[:, 2] < 0.0)
        below.append((points[down], directions[down], power[down]))
        shares.book("upward_lens", power[out & ~in_glass & ~down])
        leaving = dots(directions, normal) > 0.0
        wrong = np.where(out, in_glass, leaving != in_glass)
        shares.book("doubtful", power[wrong])
        go = ~out & ~wrong
        points, directions, power, normal, leaving, way = (
            some[go] for some in (points, directions, power, normal, leaving, way)
        )
        points = points + way[:, None] * directions
        kept = np.where(leaving, np.exp(-absorption * np.maximum(way, 0.0)), 1.0)
        shares.book("absorbed_lens", power * (1.0 - kept))
        power = power * kept
        at_side = (np.abs(normal[:, 0]) > 0.5) & (np.abs(points[:, 0]) > 0.5 * lens.width - 1e-9)
        at_edge = leaving & (at_side | (np.abs(normal[:, 1]) > 0.5))
        shares.book("edge_lens", power[at_edge])
        if surfaces == MAX_SURFACES:
            shares.book("trapped_lens", power[~at_edge])
            break
        points, directions, power, normal, leaving = (
            some[~at_edge] for some in (points, directions, power, normal, leaving)
        )
        directions, reflectance, total = after_surface(directions, normal, leaving, index)
        shares.book("reflected_lens", power * reflectance)
        power = power * (1.0 - reflectance)
        if surfaces == 0:  # all rays that meet the sheet at all come in through their first surface
            shares.book("absorbed_lens", power * (1.0 - lens.transmittance_factor))
            power = power * lens.transmittance_factor
        in_glass = leaving == total
        points = points + np.where(in_glass, -OFFSET, OFFSET)[:, None] * normal
    points, directions, power = (np.concatenate([part[k] for part in below]) for k in range(3))
    return points, directions, power


def mesh_trace(
    scene: Scene,
    *,
    transversal_angle: float = 0.0,
    longitudinal_angle: float = 0.0,
    across: int = 512,
    along: int = 64,
    seed: int = 0,
    row: RowPose | None = None,
) -> MeshResult:
    """Trace 16 replicates of `across` times `along` rays, the starts of each spread over a grid; angles in [deg].

    `doubtful` is the share of the power of rays that met a triangle from the side on which they could not be: they
    slipped between two surfaces within `OFFSET` of an edge. They are booked as such and must be few.
    """
    assert scene.sun.wavelength is not None
    assert scene.lens.slope_error == scene.aiming_error == scene.lens.sag == 0.0
    assert scene.tubes.envelope is None
    assert not scene.tubes.absorptance_angles
    pose = RowPose.level(scene.tubes.angle_to_grooves) if row is None else row
    axes = np.array([pose.row, np.cross(pose.tube, pose.row), pose.tube])
    sheet, cylinders = with_embree(lens_solid(scene.lens)), with_embree(tube_solids(scene.tubes))
    centre = np.array([0.0, 0.0, -scene.lens_height])
    top = float((np.asarray(cylinders.vertices) @ axes + centre)[:, 2].max()) + NEAR
    rng = np.random.default_rng([seed, 19_71])
    shares = Shares()
    began = time.perf_counter()
    for replicate in range(REPLICATES):
        points, directions = sun_rays(rng, scene, transversal_angle, longitudinal_angle, across, along)
        power = -directions[:, 2]
        shares.replicate, shares.whole = replicate, float(power.sum())
        points, directions, power = through_solid(sheet, scene, points, directions, power, shares)
        points = points + (np.maximum(points[:, 2] - top, 0.0) / -directions[:, 2])[:, None] * directions
        triangle, _, _ = first_triangles(cylinders, (points - centre) @ axes.T, directions @ axes.T)
        shares.book("intercepted", power[triangle >= 0])
        shares.book("missed", power[triangle < 0])
    seconds = time.perf_counter() - began
    return MeshResult(
        rays=REPLICATES * across * along,
        seconds=seconds,
        fractions={
            name: (float(shares.of[name].mean()), float(shares.of[name].std(ddof=1) / math.sqrt(REPLICATES)))
            for name in NAMES
        },
        doubtful=float(shares.of["doubtful"].mean()),
    )
