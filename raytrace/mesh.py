"""Solids of lens, tubes and stand as closed triangle meshes, and their files. Lens frame, metres.

The lens comes with its true grooves or as a coarse stand-in. Round bodies are prisms whose cross-section has the area
of the true one, so that volumes and masses are exact. Arms and base are stand-ins: a scene says nothing about them.
"""

import html
import importlib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from raytrace.arrays import Floats, Ints
from raytrace.lens import grooves_of
from raytrace.paths import RayPath
from raytrace.scene import Lens, RowPose, Scene

SECTIONS = 96
"""Sides of the prisms that stand for round bodies: the surface is within 0.06 % of the radius."""

ARM = 0.03
"""Side of an arm's square section [m]: a drawing's choice."""

OPAQUE = 255
WOOD = (222, 190, 140, 255)
"""Colour of what the scene does not describe."""

CLEAR = 0.04
"""Gap between the lens's edge and an arm's axis [m]: a drawing's choice."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Solid:
    """A closed body: `vertices` (n, 3) [m], `faces` (m, 3), counter-clockwise from outside; density [kg/m3] if known.

    `colour` is red, green, blue, opacity from 0 to 255.
    """

    name: str
    vertices: Floats
    faces: Ints
    density: float | None = None
    colour: tuple[int, int, int, int] = (180, 180, 180, 255)

    @property
    def volume(self) -> float:
        """Volume [m3], by the divergence theorem over the faces."""
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(3))
        return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)

    @property
    def mass(self) -> float | None:
        """Mass [kg]; None where the density is not known."""
        return None if self.density is None else self.density * self.volume

    def placed(self, axes: Floats, origin: Floats) -> "Solid":
        """The solid seen from another frame: `axes` (3, 3) has this frame's x, y, z as columns, `origin` (3,) [m]."""
        return replace(self, vertices=self.vertices @ axes.T + origin)

    @property
    def is_watertight(self) -> bool:
        """Whether every edge joins two faces that run along it in opposite ways, as trimesh finds it."""
        mesh = self.as_trimesh()
        return bool(mesh.is_watertight and mesh.is_winding_consistent)

    def as_trimesh(self, *, matt: bool = False) -> Any:  # noqa: ANN401  trimesh is untyped
        """The body as a `trimesh.Trimesh`; its colour on its faces, or as a `matt` surface for GLB.

        A GLB body with colours alone counts as polished metal (glTF 2.0, 3.9.2, metallicFactor), which is black where
        no lamp is mirrored.
        """
        trimesh = _trimesh()
        mesh = trimesh.Trimesh(vertices=self.vertices, faces=self.faces, process=False)
        if matt:
            mesh.visual = trimesh.visual.TextureVisuals(
                material=trimesh.visual.material.PBRMaterial(
                    baseColorFactor=_linear(self.colour),
                    metallicFactor=0.0,
                    roughnessFactor=1.0,
                    alphaMode="OPAQUE" if self.colour[3] == OPAQUE else "BLEND",
                    doubleSided=True,
                )
            )
        else:
            mesh.visual.face_colors = np.tile(np.array(self.colour, dtype=np.uint8), (len(self.faces), 1))
        return mesh


def _linear(colour: tuple[int, int, int, int]) -> Ints:
    """A colour as a GLB file counts it, in proportion to light (glTF 2.0, 3.9.2): (4,) from 0 to 255.

    IEC 61966-2-1's curve, by its overall exponent of 2.2.
    """
    shares = np.array(colour) / 255.0
    return np.round(255.0 * np.append(shares[:3] ** 2.2, shares[3])).astype(np.uint8)


def _trimesh() -> Any:  # noqa: ANN401  it carries types in part only
    """The library, loaded where it is first needed: that takes a second."""
    library = importlib.import_module("trimesh")
    importlib.import_module("trimesh.viewer.notebook")
    return library


def lens_solid(lens: Lens, *, grooves_a_half: int | None = None) -> Solid:
    """The sheet with its grooves, along y.

    Parameters
    ----------
    grooves_a_half
        None for the true grooves. A number gives a coarse stand-in with that many grooves in each half, with more of
        them where the coarse ones would be as deep as the sheet.

    Notes
    -----
    With sag the sheet is bent to its parabola as a whole; the tracer lowers and turns it groove by groove.

    Raises
    ------
    ValueError
        If the lens cannot be built.
    """
    shape = lens if grooves_a_half is None else _coarse(lens, grooves_a_half)
    grooves = grooves_of(shape)
    pitch, t, half = grooves.pitch, lens.thickness, 0.5 * lens.width
    tan_draft = math.tan(math.radians(lens.draft_angle))
    outer = np.arange(1, grooves.count + 1) * pitch
    tips_x, tips_z = outer - grooves.depth * tan_draft, grooves.depth
    # Right half from the middle out: a valley T of glass-free air at each tip, a tooth B at each groove boundary.
    right = np.column_stack([tips_x, tips_z])
    teeth = np.column_stack([outer, np.zeros(grooves.count)])
    mirror = np.array([-1.0, 1.0])
    valleys = np.concatenate([right[::-1] * mirror, right])
    boundaries = np.concatenate([teeth[::-1] * mirror, [[0.0, 0.0]], teeth])
    top = np.column_stack([valleys[:, 0], np.full(len(valleys), t)])
    corners = np.array([[-half, t], [half, t]])
    points = np.concatenate([valleys, top, boundaries, corners])
    n = len(valleys)
    v, u, b = np.arange(n), n + np.arange(n), 2 * n + np.arange(n + 1)
    left_corner, right_corner = 3 * n + 1, 3 * n + 2
    triangles = [
        np.column_stack([v[:-1], v[1:], u[1:]]),
        np.column_stack([v[:-1], u[1:], u[:-1]]),
        np.column_stack([v[:-1], b[1:-1], v[1:]]),  # the teeth
    ]
    if tan_draft > 0.0:  # the outermost teeth have a width of their own
        triangles.append(np.array([[b[0], v[0], left_corner], [v[0], u[0], left_corner]]))
        triangles.append(np.array([[v[-1], b[-1], right_corner], [v[-1], right_corner, u[-1]]]))
    flat = np.concatenate(triangles)
    used = np.unique(flat)
    number = np.zeros(len(points), dtype=np.int64)
    number[used] = np.arange(len(used))
    points, flat = points[used], number[flat]
    if lens.grooves_toward == "sun":
        points, flat = np.column_stack([points[:, 0], t - points[:, 1]]), flat[:, ::-1]
    points = np.column_stack([points[:, 0], points[:, 1] - lens.sag * (1.0 - (points[:, 0] / half) ** 2)])
    vertices, faces = _prism(points, flat, 0.5 * lens.length)
    return Solid(
        name="lens", vertices=vertices, faces=faces, density=lens.material.density, colour=(150, 200, 240, 150)
    )


def _coarse(lens: Lens, grooves_a_half: int) -> Lens:
    """A lens with fewer grooves, as few as the sheet is thick enough for."""
    count = max(1, grooves_a_half)
    most = max(1, round(lens.width / (2.0 * lens.groove_pitch)))
    while count < most:
        # At most 20 mm: the widest pitch that a lens may have.
        coarse_pitch = lens.width / (2.0 * count)
        if coarse_pitch <= 0.02:
            shape = replace(lens, groove_pitch=coarse_pitch)
            try:
                grooves_of(shape)
            except ValueError:
                pass
            else:
                return shape
        count *= 2
    return lens


def _prism(points: Floats, triangles: Ints, half_length: float) -> tuple[Floats, Ints]:
    """A body of constant section: `points` (n, 2) are (x, z), `triangles` counter-clockwise seen from -y."""
    n = len(points)
    front = np.column_stack([points[:, 0], np.full(n, -half_length), points[:, 1]])
    back = np.column_stack([points[:, 0], np.full(n, half_length), points[:, 1]])
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    forward = edges[:, 0] * n + edges[:, 1]
    rim = edges[~np.isin(forward, edges[:, 1] * n + edges[:, 0])]  # an edge of one triangle only is on the outside
    a, b = rim[:, 0], rim[:, 1]
    sides = np.concatenate([np.column_stack([a, a + n, b + n]), np.column_stack([a, b + n, b])])
    return np.concatenate([front, back]), np.concatenate([triangles, triangles[:, ::-1] + n, sides])


def _ring(radius: float) -> Floats:
    """Corners of a polygon with the area of a circle, (SECTIONS, 2), counter-clockwise."""
    step = 2.0 * math.pi / SECTIONS
    turn = np.arange(SECTIONS) * step
    return np.asarray(radius * math.sqrt(step / math.sin(step)) * np.column_stack([np.cos(turn), np.sin(turn)]))


def _rod(radius: float, length: float) -> tuple[Floats, Ints]:
    k = np.arange(1, SECTIONS - 1)
    return _prism(_ring(radius), np.column_stack([np.zeros_like(k), k, k + 1]), 0.5 * length)


def _pipe(outer: float, inner: float, length: float) -> tuple[Floats, Ints]:
    k = np.arange(SECTIONS)
    after = (k + 1) % SECTIONS
    o, i = k, k + SECTIONS
    triangles = np.concatenate(
        [np.column_stack([i, o, after]), np.column_stack([i, after, after + SECTIONS])]
    )  # fmt: skip
    return _prism(np.concatenate([_ring(outer), _ring(inner)]), triangles, 0.5 * length)


def tube_solids(scene: Scene, row: RowPose | None = None) -> tuple[Solid, ...]:
    """Absorbers as full rods (a scene does not know their wall) and envelopes as glass pipes, in the lens frame."""
    tubes = scene.tubes
    pose = row or RowPose.level(tubes.angle_to_grooves)
    u, v = np.array(pose.row), np.array(pose.tube)
    axes = np.column_stack([u, v, np.cross(u, v)])
    middle = np.array(pose.offset) - np.array([0.0, 0.0, scene.lens_height])
    solids = []
    for k in range(tubes.count):
        origin = middle + (k - 0.5 * (tubes.count - 1)) * tubes.spacing * u
        vertices, faces = _rod(0.5 * tubes.absorber_diameter, tubes.length)
        solids.append(
            Solid(name=f"absorber {k + 1}", vertices=vertices, faces=faces, colour=(50, 50, 60, 255)).placed(
                axes, origin
            )
        )
        if tubes.envelope is not None:
            glass = tubes.envelope
            vertices, faces = _pipe(0.5 * glass.outer_diameter, 0.5 * glass.inner_diameter, tubes.length)
            solids.append(
                Solid(
                    name=f"envelope {k + 1}",
                    vertices=vertices,
                    faces=faces,
                    density=glass.material.density,
                    colour=(190, 215, 225, 90),
                ).placed(axes, origin)
            )
    return tuple(solids)


def box(name: str, low: Sequence[float], high: Sequence[float], colour: tuple[int, int, int, int]) -> Solid:
    """A box between two corners [m]."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    points = np.array([[x0, z0], [x1, z0], [x1, z1], [x0, z1]])
    vertices, faces = _prism(points, np.array([[0, 1, 2], [0, 2, 3]]), 0.5 * (y1 - y0))
    return Solid(name=name, vertices=vertices + np.array([0.0, 0.5 * (y0 + y1), 0.0]), faces=faces, colour=colour)


def arm_solids(scene: Scene, *, axis_along_grooves: bool) -> tuple[Solid, ...]:
    """Two arms from the tilt axis, through the row's centre, up to the sheet's sides; in the lens frame, stand-ins."""
    lens, low = scene.lens, -scene.lens_height
    reach = 0.5 * (lens.length if axis_along_grooves else lens.width) + CLEAR
    arms = []
    for number, side in ((1, -1.0), (2, 1.0)):
        centre = np.array([0.0, side * reach]) if axis_along_grooves else np.array([side * reach, 0.0])
        corner = [(*(centre + sign * 0.5 * ARM), z) for sign, z in ((-1.0, low - ARM), (1.0, lens.thickness))]
        arms.append(box(f"arm {number}", corner[0], corner[1], WOOD))
    return tuple(arms)


def scene_of(solids: Sequence[Solid], rays: Sequence[RayPath] = (), *, y_up: bool = False) -> Any:  # noqa: ANN401
    """All bodies and ray lines as a `trimesh.Scene`; `y_up` turns z to y, as GLB files have it."""
    trimesh = _trimesh()
    scene = trimesh.Scene()
    turn = trimesh.transformations.rotation_matrix(-0.5 * math.pi, [1.0, 0.0, 0.0]) if y_up else np.eye(4)
    for solid in solids:
        scene.add_geometry(solid.as_trimesh(matt=True), geom_name=solid.name, node_name=solid.name, transform=turn)
    if rays:
        starts = np.cumsum([0, *(len(ray.points) for ray in rays)])
        entities = [
            trimesh.path.entities.Line(np.arange(start, start + len(ray.points)), color=FATE_COLOURS[ray.fate])
            for start, ray in zip(starts, rays, strict=False)
        ]
        lines = trimesh.path.Path3D(
            entities=entities, vertices=np.concatenate([ray.points for ray in rays]), process=False
        )
        scene.add_geometry(lines, geom_name="rays", node_name="rays", transform=turn)
    return scene


FATE_COLOURS: Mapping[str, tuple[int, int, int, int]] = {
    "reached": (230, 159, 0, 255),
    "missed": (0, 114, 178, 255),
    "envelope": (204, 121, 167, 255),
    "upward": (0, 158, 115, 255),
    "edge": (86, 180, 233, 255),
    "trapped": (90, 90, 90, 255),
}
"""Okabe and Ito's colours, which colour-blind readers can tell apart: Color Universal Design, 2008."""


def lines_ply(rays: Sequence[RayPath]) -> str:
    """Ray lines as the text of a PLY file: vertices [m] and edges."""
    counts = [len(ray.points) for ray in rays]
    starts = np.concatenate([[0], np.cumsum(counts)])
    edges = [(start + k, start + k + 1) for start, n in zip(starts, counts, strict=False) for k in range(n - 1)]
    head = [
        "ply", "format ascii 1.0", "comment lines of rays, metres",
        f"element vertex {sum(counts)}", "property float x", "property float y", "property float z",
        f"element edge {len(edges)}", "property int vertex1", "property int vertex2", "end_header",
    ]  # fmt: skip
    points = [f"{x:.6f} {y:.6f} {z:.6f}" for ray in rays for x, y, z in ray.points]
    return "\n".join([*head, *points, *(f"{a} {b}" for a, b in edges)]) + "\n"


def mesh_bytes(solids: Sequence[Solid], kind: str) -> bytes:
    """All bodies in one STL or PLY file, z up, metres."""
    trimesh = _trimesh()
    joined = trimesh.util.concatenate([solid.as_trimesh() for solid in solids])
    data = joined.export(file_type=kind)
    return data if isinstance(data, bytes) else data.encode()


def glb_bytes(solids: Sequence[Solid], rays: Sequence[RayPath] = ()) -> bytes:
    """Bodies and ray lines as a GLB file, y up as that format has it, metres."""
    data: bytes = scene_of(solids, rays, y_up=True).export(file_type="glb")
    return data


def viewer_html(solids: Sequence[Solid], rays: Sequence[RayPath] = (), *, title: str = "Lens and tubes") -> str:
    """A page that shows bodies and rays, to be turned with the mouse; all it needs is in it, no network."""
    page: str = _trimesh().viewer.notebook.scene_to_html(scene_of(solids, rays, y_up=True))
    named = re.sub(r"<title>.*?</title>", lambda _: f"<title>{html.escape(title)}</title>", page, count=1)
    # A reader may enlarge the page.
    fixed_size = r",\s*user-scalable=no,\s*minimum-scale=1.0,\s*maximum-scale=1.0"
    free = re.sub(fixed_size, ", initial-scale=1", named, count=1)
    lit = free.replace(LAMP, LIGHT, 1)
    return lit.replace("<body>", f'<body>\n    <p style="{NOTE_STYLE}">{html.escape(title)}. {VIEWER_NOTE}</p>', 1)


LAMP = "THREE.DirectionalLight(0xffffff,1.75);scene.add(tracklight);"
LIGHT = "THREE.DirectionalLight(0xffffff,0.7);scene.add(tracklight);scene.add(new THREE.AmbientLight(0xffffff,0.6));"
"""The page's one lamp shines from the viewer to the ground: what is turned away from it would be black. With light from
all sides it is weaker, as no face shall be brighter than white."""

VIEWER_NOTE = (
    "Turn with the mouse or a finger, come nearer with the wheel. Orange lines: rays that reach an absorber; blue: "
    "rays that miss the tubes; other colours end in lens or glass. Arms and base are stand-ins; the lens is drawn with "
    "fewer grooves than it has."
)
NOTE_STYLE = (
    "position:fixed;bottom:0;left:0;right:0;margin:0;padding:.5rem 1rem;background:#fff;color:#1a1a1a;"
    "font:.9rem sans-serif"
)
