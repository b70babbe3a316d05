"""A slow and obvious tracer of the whole optical model: plain numpy, plain Monte Carlo, vectors in three dimensions.

It is written from the conventions of DEVELOPERS.md and shares no code with the compiled tracer. From `raytrace`
it takes the scene's parameters, each material's index and absorption, and the table of the direct spectrum; all else
is its own. Surfaces are planes (a point and a normal) and cylinders (a centre, an axis, a radius). A ray goes from
one meeting to the next until its light is booked. Lengths in [m], angles in [rad] but where degrees are named,
directions along the light's travel.

Where the conventions leave something open, the choices of the compiled tracer are taken over:

- A sagging groove is turned about its middle on the face z = 0. A ray takes the frame of the groove over which it
  crosses the face plane of the flat sheet, goes on from there to the lowered and turned face, and keeps that frame
  until it has left the sheet. What then passes beside the sheet flies on.
- Of the light at the first surface, what is reflected is booked first; the factor for dirt and haze is taken of what
  enters.
- The centroid of the focal line is that of the central 90 % of the light: the mean of all of it would hang on a few
  stray rays.
- Light that crosses the cut end of an envelope's glass, from without or within, is booked as lost in the envelope.
"""

import math
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import AnyArray, Floats, Ints
from raytrace.optics.spectrum import direct_spectrum
from raytrace.scene import MAX_SURFACES, Lens, RowPose, Scene, SunOptics, Tubes

LEDGER = (
    "reflected_lens",
    "absorbed_lens",
    "upward_lens",
    "edge_lens",
    "trapped_lens",
    "missed",
    "envelope",
    "reflected_absorber",
    "absorbed",
)
DISC_MRAD = 4.65  # half-angle of the solar disc, Buie, Monger and Dey, Solar Energy 74 (2003) 113-122
AUREOLE_MRAD = 43.6  # where the aureole ends, same paper
TINY = 1e-12  # [m], far above the rounding of lengths below 10 m, far below any groove
AHEAD = 1e-9  # [m], a meeting closer than this is the surface that the ray stands on
BATCHES = 64
CHUNK_RAYS = 65_536  # rays held at a time


@dataclass(frozen=True, kw_only=True, slots=True)
class Mean:
    """A mean and its standard error, from independent batches."""

    value: float
    standard_error: float


@dataclass(frozen=True, kw_only=True, slots=True)
class PlainResult:
    """What the plain tracer found; fractions are of the aperture power, widths in [m], None where no light arrives."""

    rays: int
    intercepted_fraction: Mean
    absorbed_fraction: Mean
    intercept_factor: Mean
    ledger: dict[str, Mean]
    tubes_intercepted: tuple[Mean, ...]
    tubes_absorbed: tuple[Mean, ...]
    focal_line: dict[str, Mean] | None


# ------------------------------------------------------------------------------------------------------------ the sun


def buie_profile(theta: Floats, chi: float) -> Floats:
    """Radiance at `theta` [mrad] over that at the centre, (n,): Buie, Monger and Dey 2003; chi = 0: the disc alone."""
    disc = np.cos(0.326 * theta) / np.cos(0.308 * np.minimum(theta, DISC_MRAD))
    if chi == 0.0:
        return np.where(theta <= DISC_MRAD, disc, 0.0)
    kappa = 0.9 * math.log(13.5 * chi) * chi**-0.3
    gamma = 2.2 * math.log(0.52 * chi) * chi**0.43 - 0.1
    aureole = math.exp(kappa) * np.maximum(theta, DISC_MRAD) ** gamma
    return np.where(theta <= DISC_MRAD, disc, np.where(theta <= AUREOLE_MRAD, aureole, 0.0))


def realised_ratio(chi: float) -> float:
    """Share of the power from beyond the disc, by the trapezoidal rule on 20,000 steps a part."""
    inner = np.linspace(0.0, DISC_MRAD, 20_001)
    outer = np.linspace(DISC_MRAD * (1.0 + 1e-12), AUREOLE_MRAD, 20_001)
    disc = np.trapezoid(buie_profile(inner, chi) * inner, inner)
    aureole = np.trapezoid(buie_profile(outer, chi) * outer, outer)
    return float(aureole / (disc + aureole))


def chi_for(circumsolar_ratio: float) -> float:
    """The parameter whose realised ratio is the one asked for, by bisection."""
    if circumsolar_ratio == 0.0:
        return 0.0
    low, high = 1e-3, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if realised_ratio(middle) < circumsolar_ratio else (low, middle)
    return 0.5 * (low + high)


def drawn_by_rejection(rng: np.random.Generator, rays: int, low: float, high: float, chi: float) -> Floats:
    """Angles from the sun's centre [mrad], (rays,), with a density of radiance times angle between `low` and `high`."""
    grid = np.linspace(low, high, 10_001)
    ceiling = 1.001 * float(np.max(buie_profile(grid, chi) * grid))
    kept: list[Floats] = []
    count = 0
    while count < rays:
        theta = rng.uniform(low, high, 2 * (rays - count) + 64)
        good = theta[rng.uniform(0.0, ceiling, theta.size) < buie_profile(theta, chi) * theta]
        kept.append(good)
        count += good.size
    return np.concatenate(kept)[:rays]


def angles_from_centre(rng: np.random.Generator, sun: SunOptics, chi: float, rays: int) -> Floats:
    """Angle of each ray from the centre of the sun [rad], (rays,)."""
    if sun.sunshape == "point":
        return np.zeros(rays)
    if sun.sunshape == "uniform":  # even in solid angle: the square of the small angle is evenly spread
        return 1e-3 * DISC_MRAD * np.sqrt(rng.random(rays))
    theta = drawn_by_rejection(rng, rays, 0.0, DISC_MRAD, chi)
    outside = rng.random(rays) < sun.circumsolar_ratio
    beyond = int(np.count_nonzero(outside))
    if beyond:
        theta[outside] = drawn_by_rejection(rng, beyond, DISC_MRAD * (1.0 + 1e-12), AUREOLE_MRAD, chi)
    return 1e-3 * theta


def sun_vectors(
    rng: np.random.Generator, scene: Scene, chi: float, transversal_angle: float, longitudinal_angle: float, rays: int
) -> Floats:
    """Unit vectors towards the points of the sun from which the rays come, (rays, 3); angles in [deg]."""
    error = 1e-3 * scene.aiming_error
    transversal = math.radians(transversal_angle) + error * rng.standard_normal(rays)
    longitudinal = math.radians(longitudinal_angle) + error * rng.standard_normal(rays)
    centre = unit(np.column_stack([np.tan(transversal), np.tan(longitudinal), np.ones(rays)]))
    across = unit(np.cross(centre, np.array([0.0, 1.0, 0.0])))
    along = np.cross(centre, across)
    theta = angles_from_centre(rng, scene.sun, chi, rays)
    turn = rng.uniform(0.0, 2.0 * math.pi, rays)
    aside = across * np.cos(turn)[:, None] + along * np.sin(turn)[:, None]
    return centre * np.cos(theta)[:, None] + aside * np.sin(theta)[:, None]


def wavelengths(rng: np.random.Generator, sun: SunOptics, rays: int) -> Floats:
    """Wavelength of each ray [nm], (rays,): the one given, or drawn from the direct spectrum by energy."""
    if sun.wavelength is not None:
        return np.full(rays, sun.wavelength)
    table, irradiance = (np.asarray(column, dtype=float) for column in direct_spectrum())
    energy = 0.5 * (irradiance[1:] + irradiance[:-1]) * np.diff(table)
    cell = rng.choice(energy.size, size=rays, p=energy / energy.sum())
    u = rng.random(rays)
    left, right = irradiance[cell], irradiance[cell + 1]  # the density is linear between them
    share = u * (left + right) / np.maximum(left + np.sqrt(left**2 + u * (right**2 - left**2)), 1e-300)
    return table[cell] + share * (table[cell + 1] - table[cell])


# -------------------------------------------------------------------------------------------------------- one surface


def dot(a: Floats, b: Floats) -> Floats:
    """Scalar products of rows, (n,)."""
    return np.einsum("...i,...i->...", a, b)


def unit(a: Floats) -> Floats:
    """Rows of length 1, (n, 3)."""
    return a / np.sqrt(dot(a, a))[:, None]


def refracted(direction: Floats, normal: Floats, before: Floats, after: Floats) -> tuple[Floats, Floats, AnyArray]:
    """Direction beyond a surface (n, 3), unpolarised reflectance (n,), where the reflection is total (n,) bool.

    `normal` (n, 3) points the way that the light goes; `before` and `after` are the indices. Under total reflection the
    direction is the mirrored one. Snell's law in vector form; Fresnel's equations for both polarisations, averaged.
    """
    eta = before / after
    cos_in = dot(direction, normal)
    square = 1.0 - eta**2 * (1.0 - cos_in**2)
    total = square < 0.0
    cos_out = np.sqrt(np.where(total, 0.0, square))
    through = eta[:, None] * direction + (cos_out - eta * cos_in)[:, None] * normal
    mirrored = direction - 2.0 * cos_in[:, None] * normal
    senkrecht = (eta * cos_in - cos_out) / (eta * cos_in + cos_out)
    parallel = (cos_in - eta * cos_out) / (cos_in + eta * cos_out)
    reflectance = np.where(total, 1.0, 0.5 * (senkrecht**2 + parallel**2))
    return np.where(total[:, None], mirrored, through), reflectance, total


# --------------------------------------------------------------------------------------------------------- the sheet


@dataclass(frozen=True, kw_only=True, slots=True)
class Sheet:
    """The grooves from left to right, arrays of (grooves,) or (grooves, 3); normals point out of the sheet.

    The inner edge of a groove is that nearer to x = 0. Facets run from the inner edge at `base_z` to the tip, risers
    from there to the outer edge at `base_z`.
    """

    pitch: float
    half_width: float
    half_length: float
    thickness: float
    to_tubes: bool
    base_z: float
    edges: Floats
    centre_x: Floats
    tip: Floats
    facet_point: Floats
    facet_normal: Floats
    riser_point: Floats
    riser_normal: Floats


def sheet_of(lens: Lens) -> Sheet:
    """The groove geometry of a lens: the facet law of the side it was cut for, on the side where the grooves lie."""
    on_a_side = max(1, round(lens.width / (2.0 * lens.groove_pitch)))
    pitch = lens.width / (2.0 * on_a_side)
    edges = pitch * np.arange(-on_a_side, on_a_side + 1)
    centre = 0.5 * (edges[1:] + edges[:-1])
    side = np.sign(centre)
    index = float(np.asarray(lens.material.refractive_index(lens.design_wavelength)))
    delta = np.arctan(np.abs(centre) / lens.focal_length)
    if lens.cut_for == "tubes":
        slope = np.sin(delta) / (index - np.cos(delta))
    else:
        slope = np.sin(delta) / (np.sqrt(index**2 - np.sin(delta) ** 2) - 1.0)
    draft = math.radians(lens.draft_angle)
    depth = pitch * slope / (1.0 + slope * math.tan(draft))
    facet = np.arctan(slope)
    to_tubes = lens.grooves_toward == "tubes"
    base_z = 0.0 if to_tubes else lens.thickness
    into = 1.0 if to_tubes else -1.0  # from the opening of a groove into the sheet
    nothing = np.zeros_like(centre)
    base = np.full_like(centre, base_z)
    inner = np.where(side > 0, edges[:-1], edges[1:])
    outer = np.where(side > 0, edges[1:], edges[:-1])
    return Sheet(
        pitch=pitch,
        half_width=0.5 * lens.width,
        half_length=0.5 * lens.length,
        thickness=lens.thickness,
        to_tubes=to_tubes,
        base_z=base_z,
        edges=edges,
        centre_x=centre,
        tip=np.column_stack([outer - side * depth * math.tan(draft), nothing, base + into * depth]),
        facet_point=np.column_stack([inner, nothing, base]),
        facet_normal=np.column_stack([side * np.sin(facet), nothing, -into * np.cos(facet)]),
        riser_point=np.column_stack([outer, nothing, base]),
        riser_normal=np.column_stack([-side * math.cos(draft), nothing, np.full_like(centre, -into * math.sin(draft))]),
    )


def turned_about_y(vectors: Floats, angle: Floats) -> Floats:
    """Vectors (n, 3) turned about y, from x towards z, by `angle` (n,)."""
    cos, sin = np.cos(angle), np.sin(angle)
    x, z = vectors[:, 0], vectors[:, 2]
    return np.column_stack([cos * x - sin * z, vectors[:, 1], sin * x + cos * z])


@dataclass(slots=True)
class Rays:
    """Rays under way. Arrays of (n,) or (n, 3); `number` is a ray's place in its chunk."""

    number: Ints
    point: Floats
    direction: Floats
    power: Floats
    index: Floats
    absorption: Floats

    def chosen(self, mask: AnyArray) -> "Rays":
        """The rays under `mask`, (n,) bool."""
        return Rays(
            number=self.number[mask],
            point=self.point[mask],
            direction=self.direction[mask],
            power=self.power[mask],
            index=self.index[mask],
            absorption=self.absorption[mask],
        )


class Tally:
    """Sums of power by name and batch."""

    def __init__(self, batch: Ints) -> None:
        self.batch = batch
        self.sums: dict[str, Floats] = {}

    def book(self, name: str, number: Ints, power: Floats) -> None:
        """Add `power` (n,) of the rays `number` (n,) under `name`."""
        before = self.sums.get(name, np.zeros(BATCHES))
        self.sums[name] = before + np.bincount(self.batch[number], weights=power, minlength=BATCHES)


def distance_to_plane(point: Floats, direction: Floats, on_plane: Floats, normal: Floats) -> Floats:
    """Way along each ray to its plane, (n,) [m]; infinite where the ray runs along the plane."""
    approach = dot(direction, normal)
    with np.errstate(divide="ignore", invalid="ignore"):
        way = dot(on_plane - point, normal) / approach
    return np.where(np.abs(approach) > 1e-300, way, np.inf)


def between(values: Floats, a: Floats, b: Floats) -> AnyArray:
    """Where values lie between a and b, in whatever order, (n,) bool."""
    return (values >= np.minimum(a, b) - TINY) & (values <= np.maximum(a, b) + TINY)


FLAT, FACET, RISER, LEFT, RIGHT, END, OPENING = range(7)


def next_meeting(sheet: Sheet, rays: Rays, groove: Ints, in_glass: AnyArray) -> tuple[Ints, Floats]:
    """What each ray inside the sheet or in the air of a groove comes to next, (n,) code, and how far it is, (n,) [m].

    A surface is met from within the glass when the ray goes the way of its outward normal, from the air when it goes
    against it. The columns of neighbouring grooves meet in planes of constant x, which are no surfaces.
    """
    o, d = rays.point, rays.direction
    flat_z = sheet.thickness if sheet.to_tubes else 0.0
    up = np.array([0.0, 0.0, 1.0])
    across = np.array([1.0, 0.0, 0.0])
    along = np.array([0.0, 1.0, 0.0])

    def way(on_plane: Floats, normal: Floats, allowed: AnyArray) -> Floats:
        """Distance where it is allowed and not behind, else infinite."""
        far = distance_to_plane(o, d, on_plane, normal)
        return np.where(allowed & (far > -TINY), np.maximum(far, 0.0), np.inf)

    def way_to_groove_face(on_plane: Floats, normal: Floats, axis: int) -> Floats:
        """Distance to a facet or a riser, which ends at the tip and at the groove's opening, looked at along `axis`."""
        towards = dot(d, normal)
        far = way(on_plane, normal, np.where(in_glass, towards > 0.0, towards < 0.0))
        met = o[:, axis] + np.where(np.isfinite(far), far, 0.0) * d[:, axis]
        return np.where(between(met, on_plane[:, axis], sheet.tip[groove, axis]), far, np.inf)

    ways = np.full((7, len(o)), np.inf)
    flat_out = up if sheet.to_tubes else -up
    ways[FLAT] = way(flat_z * up, np.broadcast_to(flat_out, o.shape), in_glass & (dot(d, flat_out) > 0.0))
    ways[FACET] = way_to_groove_face(sheet.facet_point[groove], sheet.facet_normal[groove], 0)
    ways[RISER] = way_to_groove_face(sheet.riser_point[groove], sheet.riser_normal[groove], 2)
    ways[LEFT] = way(
        sheet.edges[groove][:, None] * across, np.broadcast_to(-across, o.shape), in_glass & (d[:, 0] < 0.0)
    )
    ways[RIGHT] = way(
        sheet.edges[groove + 1][:, None] * across, np.broadcast_to(across, o.shape), in_glass & (d[:, 0] > 0.0)
    )
    end = np.where(d[:, 1] >= 0.0, 1.0, -1.0)[:, None] * along
    ways[END] = way(sheet.half_length * end, end, dot(d, end) > 0.0)
    ways[OPENING] = way(sheet.base_z * up, np.broadcast_to(-flat_out, o.shape), ~in_glass & (dot(d, flat_out) < 0.0))
    code = np.argmin(ways, axis=0)
    return code, np.take_along_axis(ways, code[None, :], axis=0)[0]


def beyond_facet(
    rng: np.random.Generator, slope_error: float, rays: Rays, normal: Floats, is_facet: AnyArray, in_glass: AnyArray
) -> tuple[Floats, Floats, AnyArray]:
    """As `refracted`, with outward normals, and with facets whose normals are turned by a fresh slope error.

    A turned normal is not taken where the ray would come from its wrong side, or would leave towards the wrong side
    of the true facet.
    """
    sense = np.where(in_glass, 1.0, -1.0)
    before = np.where(in_glass, rays.index, 1.0)
    after = np.where(in_glass, 1.0, rays.index)
    true = sense[:, None] * normal
    direction, reflectance, total = refracted(rays.direction, true, before, after)
    if slope_error == 0.0 or not is_facet.any():
        return direction, reflectance, total
    tilt = np.where(is_facet, slope_error * rng.standard_normal(len(normal)), 0.0)
    turned = turned_about_y(true, tilt)
    met_well = dot(rays.direction, turned) > 0.0
    direction_t, reflectance_t, total_t = refracted(
        rays.direction, np.where(met_well[:, None], turned, true), before, after
    )
    onward = dot(direction_t, true)
    fine = is_facet & met_well & np.where(total_t, onward < 0.0, onward > 0.0)
    return (
        np.where(fine[:, None], direction_t, direction),
        np.where(fine, reflectance_t, reflectance),
        np.where(fine, total_t, total),
    )


def outward_normals(sheet: Sheet, what: Ints, groove: Ints) -> Floats:
    """Normals out of the sheet at flat face, facets and risers, (n, 3)."""
    normal = np.zeros((len(what), 3))
    normal[:, 2] = 1.0 if sheet.to_tubes else -1.0
    normal[what == FACET] = sheet.facet_normal[groove[what == FACET]]
    normal[what == RISER] = sheet.riser_normal[groove[what == RISER]]
    return normal


def take_dirt(lens: Lens, rays: Rays, entering: Ints, tally: Tally) -> None:
    """Take the factor for dirt and haze off the rays that enter the sheet."""
    tally.book("absorbed_lens", rays.number[entering], rays.power[entering] * (1.0 - lens.transmittance_factor))
    rays.power[entering] *= lens.transmittance_factor


def through_sheet(rng: np.random.Generator, lens: Lens, sheet: Sheet, rays: Rays, tally: Tally) -> Rays:
    """The rays that leave on the tubes' side, in the frame of the sheet; all other light is booked.

    Rays start on the plane z = thickness, in the frame of the groove over which they stand.
    """
    groove = np.clip(
        np.floor((rays.point[:, 0] + sheet.half_width) / sheet.pitch).astype(np.int64), 0, len(sheet.tip) - 1
    )
    in_glass = np.zeros(len(groove), dtype=bool)
    met = np.zeros(len(groove), dtype=np.int64)
    beside = (np.abs(rays.point[:, 0]) > sheet.half_width) | (np.abs(rays.point[:, 1]) > sheet.half_length)
    gone = [rays.chosen(beside)]
    rays, groove, in_glass, met = rays.chosen(~beside), groove[~beside], in_glass[~beside], met[~beside]
    if sheet.to_tubes:  # the flat face comes first, and the ray stands on it
        up = np.broadcast_to(np.array([0.0, 0.0, 1.0]), rays.point.shape)
        rays.direction, reflectance, _ = refracted(rays.direction, -up, np.ones(len(groove)), rays.index)
        tally.book("reflected_lens", rays.number, rays.power * reflectance)
        rays.power = rays.power * (1.0 - reflectance)
        take_dirt(lens, rays, np.arange(len(groove)), tally)
        in_glass[:] = True
        met[:] = 1
    while len(rays.number):
        code, far = next_meeting(sheet, rays, groove, in_glass)
        if not np.isfinite(far).all():
            raise RuntimeError("a ray found no way out of the sheet")
        rays.point = rays.point + far[:, None] * rays.direction
        kept = np.where(in_glass, np.exp(-rays.absorption * far), 1.0)
        tally.book("absorbed_lens", rays.number, rays.power * (1.0 - kept))
        rays.power = rays.power * kept
        groove = groove + (code == RIGHT) - (code == LEFT)

        at_edge = in_glass & ((code == END) | (groove < 0) | (groove >= len(sheet.tip)))
        tally.book("edge_lens", rays.number[at_edge], rays.power[at_edge])
        surface = (code == FLAT) | (code == FACET) | (code == RISER)
        trapped = surface & (met == MAX_SURFACES)
        tally.book("trapped_lens", rays.number[trapped], rays.power[trapped])
        out = ~in_glass & ((code == OPENING) | (code == END))

        acting = np.flatnonzero(surface & ~trapped)
        what = code[acting]
        normal = outward_normals(sheet, what, groove[acting])
        mask = np.zeros(len(groove), dtype=bool)
        mask[acting] = True
        direction, reflectance, total = beyond_facet(
            rng, 1e-3 * lens.slope_error, rays.chosen(mask), normal, what == FACET, in_glass[acting]
        )
        lost = np.where(total, 0.0, rays.power[acting] * reflectance)
        tally.book("reflected_lens", rays.number[acting], lost)
        rays.power[acting] -= lost
        take_dirt(lens, rays, acting[met[acting] == 0], tally)
        rays.direction[acting] = direction
        met[acting] += 1
        out[acting] |= (what == FLAT) & ~total
        in_glass[acting] ^= ~total

        leaving = rays.chosen(out)
        upward = leaving.direction[:, 2] >= 0.0
        tally.book("upward_lens", leaving.number[upward], leaving.power[upward])
        gone.append(leaving.chosen(~upward))
        stay = ~(at_edge | trapped | out)
        rays, groove, in_glass, met = rays.chosen(stay), groove[stay], in_glass[stay], met[stay]
    return Rays(
        number=np.concatenate([some.number for some in gone]),
        point=np.concatenate([some.point for some in gone]),
        direction=np.concatenate([some.direction for some in gone]),
        power=np.concatenate([some.power for some in gone]),
        index=np.concatenate([some.index for some in gone]),
        absorption=np.concatenate([some.absorption for some in gone]),
    )


# --------------------------------------------------------------------------------------------------------- the tubes


def distance_to_cylinder(rays: Rays, centre: Floats, axis: Floats, radius: float, length: float) -> Floats:
    """Way to the nearest point ahead on a cylinder with open ends, from without or within, (n,) [m]; inf on a miss."""
    relative = rays.point - centre
    along, speed = relative @ axis, rays.direction @ axis
    aside = relative - along[:, None] * axis
    moving = rays.direction - speed[:, None] * axis
    a, b, c = dot(moving, moving), dot(aside, moving), dot(aside, aside) - radius**2
    square = b**2 - a * c
    hits = (square > 0.0) & (a > 1e-24)
    root = np.sqrt(np.where(hits, square, 0.0))
    safe = np.where(hits, a, 1.0)
    best = np.full(len(along), np.inf)
    for way in ((-b - root) / safe, (-b + root) / safe):
        good = hits & (way > AHEAD) & (np.abs(along + way * speed) <= 0.5 * length)
        best = np.where(good, np.minimum(best, way), best)
    return best


def distance_to_cut_ends(rays: Rays, centre: Floats, axis: Floats, inner: float, outer: float, length: float) -> Floats:
    """Way to the nearest of the two rings at which the glass of a tube ends, (n,) [m]; infinite on a miss."""
    relative = rays.point - centre
    along, speed = relative @ axis, rays.direction @ axis
    best = np.full(len(along), np.inf)
    for end in (-0.5 * length, 0.5 * length):
        with np.errstate(divide="ignore", invalid="ignore"):
            way = (end - along) / speed
        way = np.where(np.isfinite(way) & (way > AHEAD), way, np.inf)
        at = relative + np.where(np.isfinite(way), way, 0.0)[:, None] * rays.direction
        aside = at - (at @ axis)[:, None] * axis
        distance = np.sqrt(dot(aside, aside))
        best = np.where((distance >= inner) & (distance <= outer), np.minimum(best, way), best)
    return best


def absorptance(tubes: Tubes, cos_incidence: Floats) -> Floats:
    """Share that an absorber takes, (n,), by the cosine of the angle of incidence on it."""
    if not tubes.absorptance_angles:
        return np.full(cos_incidence.shape, tubes.absorptance)
    angles, factors = np.array(tubes.absorptance_angles).T
    incidence = np.degrees(np.arccos(np.clip(cos_incidence, 0.0, 1.0)))
    return tubes.absorptance * np.interp(incidence, angles, factors)


ABSORBER, INNER, OUTER, CUT_END = range(4)


def next_in_row(
    rays: Rays, centres: Floats, axis: Floats, radii: list[float], length: float
) -> tuple[Floats, Ints, Ints]:
    """Way to what each ray meets next in the row (n,) [m], infinite on a miss; which tube (n,); what of it (n,)."""
    far = np.full(len(rays.number), np.inf)
    which = np.zeros(len(far), dtype=np.int64)
    what = np.zeros(len(far), dtype=np.int64)
    for tube, centre in enumerate(centres):
        ways = [distance_to_cylinder(rays, centre, axis, radius, length) for radius in radii]
        if len(radii) > 1:
            ways.append(distance_to_cut_ends(rays, centre, axis, radii[INNER], radii[OUTER], length))
        for surface, way in enumerate(ways):
            nearer = way < far
            far = np.where(nearer, way, far)
            which[nearer], what[nearer] = tube, surface
    return far, which, what


def into_row(scene: Scene, pose: RowPose, rays: Rays, tally: Tally) -> None:
    """Follow the rays (with the glass's index and absorption, if any) to the tubes, and book all their power."""
    tubes = scene.tubes
    row, axis = np.array(pose.row), np.array(pose.tube)
    places = (np.arange(tubes.count) - 0.5 * (tubes.count - 1)) * tubes.spacing
    centres = np.array([0.0, 0.0, -scene.lens_height]) + np.array(pose.offset) + places[:, None] * row
    radii = [0.5 * tubes.absorber_diameter]
    if tubes.envelope is not None:
        radii += [0.5 * tubes.envelope.inner_diameter, 0.5 * tubes.envelope.outer_diameter]
    met = np.zeros(len(rays.number), dtype=np.int64)
    while len(rays.number):
        far, which, what = next_in_row(rays, centres, axis, radii, tubes.length)
        missed = ~np.isfinite(far)
        tally.book("missed", rays.number[missed], rays.power[missed])
        go = ~missed
        rays, far, which, what, met = rays.chosen(go), far[go], which[go], what[go], met[go]
        rays.point = rays.point + far[:, None] * rays.direction
        relative = rays.point - centres[which]
        radial = unit(relative - (relative @ axis)[:, None] * axis)
        outward = dot(rays.direction, radial) > 0.0
        in_glass = ((what == OUTER) & outward) | ((what == INNER) & ~outward)
        kept = np.where(in_glass, np.exp(-rays.absorption * far), 1.0)
        tally.book("envelope", rays.number, rays.power * (1.0 - kept))
        rays.power = rays.power * kept

        trapped = (met == MAX_SURFACES) | (what == CUT_END)
        tally.book("envelope", rays.number[trapped], rays.power[trapped])
        reached = (what == ABSORBER) & ~trapped
        share = absorptance(tubes, np.abs(dot(rays.direction, radial)))
        tally.book("absorbed", rays.number[reached], (rays.power * share)[reached])
        tally.book("reflected_absorber", rays.number[reached], (rays.power * (1.0 - share))[reached])
        for tube in range(tubes.count):
            here = reached & (which == tube)
            tally.book(f"reached {tube}", rays.number[here], rays.power[here])
            tally.book(f"absorbed {tube}", rays.number[here], (rays.power * share)[here])
        go = ~trapped & ~reached
        rays, what, met, outward, in_glass, radial = (
            rays.chosen(go), what[go], met[go], outward[go], in_glass[go], radial[go],
        )  # fmt: skip
        normal = np.where(outward, 1.0, -1.0)[:, None] * radial
        rays.direction, reflectance, total = refracted(
            rays.direction, normal, np.where(in_glass, rays.index, 1.0), np.where(in_glass, 1.0, rays.index)
        )
        lost = np.where(total, 0.0, rays.power * reflectance)
        tally.book("envelope", rays.number, lost)
        rays.power = rays.power - lost
        met = met + 1
        turned_up = (what == OUTER) & outward & ~total & (rays.direction[:, 2] >= 0.0)
        tally.book("missed", rays.number[turned_up], rays.power[turned_up])
        rays, met = rays.chosen(~turned_up), met[~turned_up]


# ----------------------------------------------------------------------------------------------------- the focal line


def ends_holding(share: float, x: Floats, power: Floats) -> tuple[float, float]:
    """Both ends of the stretch that holds the central `share` of the power, with equal tails [m]."""
    order = np.argsort(x)
    running = np.cumsum(power[order]) - 0.5 * power[order]
    low, high = np.interp(np.array([0.5 - 0.5 * share, 0.5 + 0.5 * share]) * power.sum(), running, x[order])
    return float(low), float(high)


def width_holding(share: float, x: Floats, power: Floats) -> float:
    """Full width that holds the central `share` of the power, with equal tails [m]."""
    low, high = ends_holding(share, x, power)
    return high - low


def full_width_at_half_maximum(x: Floats, power: Floats) -> float:
    """Between the outermost crossings of half the maximum, in bins of 0.5 mm with an edge at x = 0 [m]."""
    size = 0.0005
    bins = np.floor(x / size).astype(np.int64)
    near = np.abs(bins) < 40_000  # within 20 m
    first = int(bins[near].min()) - 1
    profile = np.bincount(bins[near] - first, weights=power[near])
    profile = np.append(profile, 0.0)
    half = 0.5 * profile.max()
    above = np.flatnonzero(profile >= half)
    left, right = int(above[0]), int(above[-1])
    left_at = left - (profile[left] - half) / (profile[left] - profile[left - 1])
    right_at = right + (profile[right] - half) / (profile[right] - profile[right + 1])
    return float(size * (right_at - left_at))


def focal_line_figures(x: Floats, power: Floats, absorber_diameter: float) -> dict[str, float]:
    """Centroid of the central 90 %, widths [m], and the share within an absorber diameter of the centroid."""
    low, high = ends_holding(0.90, x, power)
    central = (x >= low) & (x <= high)
    centroid = float(np.average(x[central], weights=power[central]))
    return {
        "centroid": centroid,
        "w50": width_holding(0.50, x, power),
        "w90": width_holding(0.90, x, power),
        "w95": width_holding(0.95, x, power),
        "fwhm": full_width_at_half_maximum(x, power),
        "share_within_absorber_diameter": float(power[np.abs(x - centroid) <= absorber_diameter].sum() / power.sum()),
    }


# ------------------------------------------------------------------------------------------------------ a whole trace


def plain_trace(
    scene: Scene,
    *,
    transversal_angle: float = 0.0,
    longitudinal_angle: float = 0.0,
    rays: int = 100_000,
    seed: int = 0,
    row: RowPose | None = None,
) -> PlainResult:
    """Trace the scene with `rays` rays, rounded up to whole batches; angles in [deg].

    Memory: some hundred bytes a ray of one chunk, and 24 bytes a ray for the focal line.
    """
    rng = np.random.default_rng([seed, 20_03])
    lens, sheet = scene.lens, sheet_of(scene.lens)
    pose = RowPose.level(scene.tubes.angle_to_grooves) if row is None else row
    chi = chi_for(scene.sun.circumsolar_ratio)
    a_batch = -(-rays // BATCHES)
    total = a_batch * BATCHES
    sums: dict[str, Floats] = {}
    lines: list[tuple[Floats, Floats, Ints]] = []
    for first in range(0, total, CHUNK_RAYS):
        count = min(CHUNK_RAYS, total - first)
        tally = Tally((first + np.arange(count)) // a_batch)
        line = chunk(rng, scene, sheet, lens, pose, chi, transversal_angle, longitudinal_angle, tally)
        lines.append(line)
        for name, value in tally.sums.items():
            sums[name] = sums.get(name, np.zeros(BATCHES)) + value
    return result_of(scene, total, sums, lines)


def chunk(
    rng: np.random.Generator,
    scene: Scene,
    sheet: Sheet,
    lens: Lens,
    pose: RowPose,
    chi: float,
    transversal_angle: float,
    longitudinal_angle: float,
    tally: Tally,
) -> tuple[Floats, Floats, Ints]:
    """Trace one chunk; the light on the plane of the focal line: x (n,) [m], power (n,), batch (n,)."""
    count = len(tally.batch)
    number = np.arange(count)
    towards_sun = sun_vectors(rng, scene, chi, transversal_angle, longitudinal_angle, count)
    power = np.maximum(towards_sun[:, 2], 0.0)
    tally.book("all", number, power)
    colour = wavelengths(rng, scene.sun, count)
    x = rng.uniform(-sheet.half_width, sheet.half_width, count)
    y = rng.uniform(-sheet.half_length, sheet.half_length, count)
    groove = np.clip(np.floor((x + sheet.half_width) / sheet.pitch).astype(np.int64), 0, len(sheet.tip) - 1)
    centre = sheet.centre_x[groove]
    lean = np.arctan(8.0 * lens.sag * centre / lens.width**2)  # slope of -sag (1 - (2 x / width)^2)
    hinge = np.column_stack([centre, np.zeros(count), -lens.sag * (1.0 - (2.0 * centre / lens.width) ** 2)])
    middle = np.column_stack([centre, np.zeros(count), np.zeros(count)])
    rays = Rays(
        number=number,
        point=turned_about_y(np.column_stack([x, y, np.full(count, sheet.thickness)]) - hinge, -lean) + middle,
        direction=turned_about_y(-towards_sun, -lean),
        power=power,
        index=np.broadcast_to(np.asarray(lens.material.refractive_index(colour), dtype=float), (count,)),
        absorption=np.broadcast_to(np.asarray(lens.material.absorption_coefficient(colour), dtype=float), (count,)),
    )
    under = (power > 0.0) & (rays.direction[:, 2] >= 0.0)  # grazing light that passes under its own turned piece
    tally.book("missed", number[under], power[under])
    rays = rays.chosen((power > 0.0) & ~under)
    on_face = (sheet.thickness - rays.point[:, 2]) / rays.direction[:, 2]
    rays.point = rays.point + on_face[:, None] * rays.direction
    rays = through_sheet(rng, lens, sheet, rays, tally)
    rays.point = turned_about_y(rays.point - middle[rays.number], lean[rays.number]) + hinge[rays.number]
    rays.direction = turned_about_y(rays.direction, lean[rays.number])
    tally.book("below", rays.number, rays.power)
    to_plane = scene.lens_height - pose.offset[2] + rays.point[:, 2]
    on_plane = rays.point[:, 0] - to_plane * rays.direction[:, 0] / rays.direction[:, 2]
    line = (on_plane, rays.power.copy(), tally.batch[rays.number])
    if scene.tubes.envelope is not None:
        glass = scene.tubes.envelope.material
        nm = colour[rays.number]
        rays.index = np.broadcast_to(np.asarray(glass.refractive_index(nm), dtype=float), nm.shape)
        rays.absorption = np.broadcast_to(np.asarray(glass.absorption_coefficient(nm), dtype=float), nm.shape)
    into_row(scene, pose, rays, tally)
    return line


def ratio(above: Floats, below: Floats) -> Mean:
    """Ratio of two sums over batches, with the standard error from the spread of the batches (linearised)."""
    value = float(above.sum() / below.sum()) if below.sum() > 0.0 else 0.0
    spread = (above - value * below) / max(float(below.mean()), 1e-300)
    return Mean(value=value, standard_error=float(np.std(spread, ddof=1) / math.sqrt(len(above))))


def result_of(
    scene: Scene, rays: int, sums: dict[str, Floats], lines: list[tuple[Floats, Floats, Ints]]
) -> PlainResult:
    """Means and standard errors from the sums of the batches."""
    nothing = np.zeros(BATCHES)
    reaching = sums.get("absorbed", nothing) + sums.get("reflected_absorber", nothing)
    count = scene.tubes.count
    x, power, batch = (np.concatenate([line[k] for line in lines]) for k in range(3))
    focal_line: dict[str, Mean] | None = None
    if power.sum() > 0.0:
        figures = focal_line_figures(x, power, scene.tubes.absorber_diameter)
        group = batch // 4  # sixteen groups of batches: widths need more light than means
        parts = [focal_line_figures(x[group == k], power[group == k], scene.tubes.absorber_diameter) for k in range(16)]
        focal_line = {
            name: Mean(value=value, standard_error=float(np.std([part[name] for part in parts], ddof=1) / 4.0))
            for name, value in figures.items()
        }
    return PlainResult(
        rays=rays,
        intercepted_fraction=ratio(reaching, sums["all"]),
        absorbed_fraction=ratio(sums.get("absorbed", nothing), sums["all"]),
        intercept_factor=ratio(reaching, sums.get("below", nothing)),
        ledger={name: ratio(sums.get(name, nothing), sums["all"]) for name in LEDGER},
        tubes_intercepted=tuple(ratio(sums.get(f"reached {k}", nothing), sums["all"]) for k in range(count)),
        tubes_absorbed=tuple(ratio(sums.get(f"absorbed {k}", nothing), sums["all"]) for k in range(count)),
        focal_line=focal_line,
    )
