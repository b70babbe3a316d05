"""Traces a response table, with more nodes where the answer bends.

Built from traces at the nodes of a grid over the transversal and the longitudinal angle, and over the tilt where the
row stays level while the lens tilts. A scan with few rays finds the domain and gives the first grid. An interval of an
axis is halved where traces at its middle, on some lines of the other axes, differ from what the grid foretells; on the
new lines only those nodes are traced where the answer bends. All nodes share their random numbers, so
that the table is smooth. Its error is found by traces with other random numbers at random angles.
"""

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from raytrace.arrays import Floats
from raytrace.compiling import default_threads
from raytrace.points import Replicates
from raytrace.profile import profile_widths, profile_window
from raytrace.response.table import Domain, ResponseTable, RowAt, TableError, TubePlaces, read_grid
from raytrace.scene import RowPose, Scene
from raytrace.trace import PreparedScene, Progress, prepare, run_replicates


@dataclass(frozen=True, kw_only=True, slots=True)
class Care:
    """How closely a table is built.

    `rays_of_a_node` holds, for rising fractions of the aperture power, the rays at a node that intercepts at most that.
    `tolerance` is the difference in intercepted fraction up to which the grid between two nodes is good enough, and
    `bend` that between a cubic and a straight line up to which what lies between two nodes is not traced at all. In one
    round only intervals are halved whose error is more than the part `worthwhile` of the worst one's. `most_rays` is
    where refining stops, for the time that they cost.
    """

    rays_of_a_node: tuple[tuple[float, int], ...]
    tolerance: float
    bend: float
    worthwhile: float
    most_rays: int

    def rays(self, intercepted: float) -> int:
        """Rays at a node that intercepts a fraction of the aperture power."""
        return next(count for below, count in self.rays_of_a_node if intercepted <= below)


CARE = Care(
    rays_of_a_node=((0.002, 1 << 10), (0.01, 1 << 12), (0.03, 1 << 13), (0.07, 1 << 14), (math.inf, 1 << 15)),
    tolerance=1.8e-3,
    bend=5e-4,
    worthwhile=0.25,
    most_rays=20_000_000,
)
"""Over two angles: a standard error of a node of at most 5e-4 on the shipped scenes, which is the table's floor."""
CARE_WITH_TILT = Care(
    rays_of_a_node=((0.002, 1 << 10), (0.01, 1 << 12), (0.07, 1 << 13), (math.inf, 1 << 14)),
    tolerance=2.2e-3,
    bend=5e-4,
    worthwhile=0.4,
    most_rays=150_000_000,
)
"""With the tilt as third axis every node of the others costs several traces: more nodes serve better than more rays at
each, whose error is at most 8e-4."""

BEND_SEEN_AT = (0.25, 0.75)
"""Parts of an interval, besides its middle: where an answer turns from one bend to the other the two cross there."""

REACHED = 5e-4
"""Intercepted fraction that counts as something: the domain ends where less than this reaches the row."""

SCAN_STEP = 6.0  # [deg]
SCAN_END = 84.0  # [deg]
LAST_ANGLE = 87.0  # [deg], where a domain ends at the latest
SCAN_TILTS = 3

LINES_TRIED = (10, 5, 4)
"""Nodes of each axis on which the middle of another axis's interval is traced; across the grooves the answer is the
sharpest."""

SWEEPS = 2
"""How often all intervals must be found good, each time on other lines, for the grid to be good."""

LIT_LINE = 0.01
"""Intercepted fraction that a line must reach somewhere to be among them."""

RETRY = 1.5
"""An interval that was good is tried again when the lines of the other axes are this many times more."""

BATCH = 8
"""Nodes that a thread takes at a time: handing over one takes as long as a thousand rays."""

LIT = 0.05
"""Intercepted fraction from which a place counts as lit."""
CHECKS = 32
"""Places that the table is checked at, half of them lit."""
CANDIDATES = 4096
"""Random places that they are taken from."""
CHECK_RAYS = 1 << 17
"""For a standard error of about 3e-4, below that of a node."""
CHECK_RAYS_IN_THE_DARK = 1 << 15
"""Where the table says that no more than `LIT` arrives, fewer rays give the same error."""

PLACES_STEP = 0.5  # [deg], of the tilts at which the tubes' places are noted: linear between, to 2e-5


def _mirror(pose: RowPose, axis: int) -> tuple[bool, bool]:
    """Whether the row is its own mirror image across this axis, and whether its tubes change places in it."""
    if pose.offset[axis] != 0.0:
        return False, False
    row, tube = np.array(pose.row), np.array(pose.tube)
    flip = np.ones(3)
    flip[axis] = -1.0
    close = 1e-9
    same_tube = min(np.abs(flip * tube - tube).max(), np.abs(flip * tube + tube).max()) < close
    if same_tube and np.abs(flip * row - row).max() < close:
        return True, False
    return bool(same_tube and np.abs(flip * row + row).max() < close), True


Place = tuple[float, float, float]
"""Transversal angle, longitudinal angle and tilt [deg]."""


def tube_places(scene: Scene, row_at: RowAt, largest_tilt: float) -> TubePlaces:
    """Where the lens's middle throws light on the tubes' middles, from tilt 0 to the largest [deg]."""
    tubes = scene.tubes
    tilts = np.linspace(0.0, largest_tilt, 1 + math.ceil(largest_tilt / PLACES_STEP))
    offsets = tubes.spacing * (np.arange(tubes.count) - 0.5 * (tubes.count - 1))
    poses = [row_at(float(tilt)) for tilt in tilts]
    middles = np.array([pose.offset for pose in poses])
    rows = np.array([pose.row for pose in poses])
    across = middles[:, :1] + rows[:, :1] * offsets
    # A tube that a steep row lifts to the lens or above it has no such angle: it is taken at the radius below the lens.
    below = np.maximum(scene.lens_height - middles[:, 2:] - rows[:, 2:] * offsets, 0.5 * tubes.outer_diameter)
    return TubePlaces(tilt=tilts, tangent=-across / below)


def _traced(
    prepared: PreparedScene, row_at: RowAt, place: Place, rays: int, seed: int, replicates: int = 1
) -> tuple[Floats, Any]:
    """Intercepted and absorbed fraction of each tube at one place, and the sums that they come from."""
    from raytrace.kernels import path

    scene = prepared.scene
    tan_t, tan_g = math.tan(math.radians(place[0])), math.tan(math.radians(place[1]))
    inputs = prepared.inputs(tan_t, tan_g, row_at(place[2]), profile_window(scene, tan_t))
    plan = Replicates(count=replicates, rays_each=rays // replicates, groups=1)
    sums = run_replicates(inputs, plan=plan, seed=seed, threads=1, with_flux=False)
    started = sums.totals[0, path.STARTED]
    return (sums.tubes[0].reshape(-1) / started if started > 0.0 else np.zeros(2 * scene.tubes.count)), sums


class _Nodes:
    """Traces nodes, in threads; remembers them and how many rays they took."""

    def __init__(
        self,
        prepared: PreparedScene,
        row_at: RowAt,
        care: Care,
        *,
        threads: int,
        seed: int,
        tick: Callable[[int], None],
    ) -> None:
        self.prepared, self.row_at, self.care = prepared, row_at, care
        self.threads, self.seed, self.tick = threads, seed, tick
        self.known: dict[Place, Floats] = {}
        self.widths: dict[tuple[float, float, int], Floats] = {}
        self.rays = 0

    def one(self, place: Place, expected: float) -> tuple[Floats, int]:
        """Intercepted and absorbed fraction of each tube, then the widths, at one node; and the rays that it took.

        `expected` is a guess of the intercepted fraction, which saves a first look with few rays.
        """
        tubes = self.prepared.scene.tubes.count
        rays, spent = self.care.rays(expected), 0
        while True:
            fractions, sums = _traced(self.prepared, self.row_at, place, rays, self.seed)
            spent += rays
            wanted = self.care.rays(float(fractions[:tubes].sum()))
            if wanted <= rays:
                break
            rays = wanted
        # The focal line is seen on a plane of the lens frame, so it is the same at all tilts.
        line = (place[0], place[1], rays)
        if line not in self.widths:
            window = profile_window(self.prepared.scene, math.tan(math.radians(place[0])))
            self.widths[line] = profile_widths(sums.profile[0], window)
        return np.concatenate([fractions, self.widths[line]]), spent

    def all(self, places: Sequence[Place], expected: Sequence[float]) -> Floats:
        """The same at many nodes, (n, 2 tubes + widths); known ones are not traced again."""
        guess = dict(zip(places, expected, strict=True))
        new = [place for place in guess if place not in self.known]
        batches = [new[start : start + BATCH] for start in range(0, len(new), BATCH)]
        with ThreadPoolExecutor(max_workers=self.threads) as pool:
            traced = pool.map(lambda batch: [self.one(place, guess[place]) for place in batch], batches)
            for batch, answers in zip(batches, traced, strict=True):
                for place, (value, spent) in zip(batch, answers, strict=True):
                    self.known[place] = value
                    self.rays += spent
                self.tick(self.rays)
        return np.array([self.known[place] for place in places])


def _product(axes: Sequence[Floats]) -> list[Place]:
    return [(float(t), float(g), float(h)) for t in axes[0] for g in axes[1] for h in axes[2]]


def _difference(a: Floats, b: Floats, tubes: int) -> Floats:
    """Largest difference in intercepted fraction, of the row and of each tube: last axis is that of the values."""
    own = np.abs(a[..., :tubes] - b[..., :tubes]).max(axis=-1)
    total = np.abs(a[..., :tubes].sum(axis=-1) - b[..., :tubes].sum(axis=-1))
    return np.asarray(np.maximum(own, total), dtype=np.float64)


@dataclass(slots=True)
class _Grid:
    """A grid that grows."""

    tracer: _Nodes
    places: TubePlaces
    axes: list[Floats]
    values: Floats

    @property
    def tubes(self) -> int:
        return int(self.places.tangent.shape[1])

    def foretold(self, lines: Sequence[Floats], axis: int) -> tuple[Floats, Floats]:
        """Values on a product of lines midway between the nodes of an axis, and how far the grid was off; where it is
        straight nothing is traced and the grid is taken at its word.
        """
        shape = tuple(len(line) for line in lines)
        where = [angles.ravel() for angles in np.meshgrid(*lines, indexing="ij")]
        bend = self.tracer.care.bend
        said, off_straight = self.read(where, axis)
        bent = off_straight > bend
        # Where it is dark halfway and yet straight, it is dark all along.
        unsure = np.flatnonzero(~bent & (np.abs(said[:, : self.tubes]).max(axis=1) > 0.5 * bend))
        after = np.searchsorted(self.axes[axis], where[axis][unsure])
        low, high = self.axes[axis][after - 1], self.axes[axis][after]
        for part in BEND_SEEN_AT:
            beside = [angles[unsure] for angles in where]
            beside[axis] = low + part * (high - low)
            bent[unsure] |= self.read(beside, axis)[1] > bend
        found = said.copy()
        if bent.any():
            places = [place for place, on in zip(_product(lines), bent, strict=True) if on]
            found[bent] = self.tracer.all(places, said[bent, : self.tubes].sum(axis=1).tolist())
        return found.reshape(*shape, -1), _difference(said, found, self.tubes).reshape(shape)

    def read(self, where: Sequence[Floats], axis: int) -> tuple[Floats, Floats]:
        """Values at some places, and how far they lie from straight lines along an axis."""
        said = read_grid(self.axes, self.values, self.places, where)
        straight = read_grid(self.axes, self.values, self.places, where, straight_along=axis)
        return said, _difference(said, straight, self.tubes)

    def grow(self, axis: int, middles: list[float]) -> None:
        """Add nodes to an axis."""
        lines = list(self.axes)
        lines[axis] = np.array(middles)
        values, _ = self.foretold(lines, axis)
        nodes = np.concatenate([self.axes[axis], lines[axis]])
        order = np.argsort(nodes)
        self.values = np.take(np.concatenate([self.values, values], axis=axis), order, axis=axis)
        self.axes[axis] = nodes[order]

    def lines_tried(self, axis: int, turn: int) -> Floats:
        """Some nodes of an axis among those where light arrives; others at each turn."""
        lit = self.values[..., : self.tubes].sum(axis=-1).max(axis=tuple({0, 1, 2} - {axis})) > LIT_LINE
        nodes = self.axes[axis][lit]
        step = max(1, math.ceil(len(nodes) / LINES_TRIED[axis]))
        return nodes[turn % step :: step] if len(nodes) else self.axes[axis][:1]


def _scanned(tracer: _Nodes, places: TubePlaces, mirrored: tuple[bool, bool]) -> tuple[_Grid, Domain]:
    """Look at all angles; the domain ends where less than `REACHED` gets to the row at any tilt."""
    half = np.append(np.arange(0.0, SCAN_END + 0.5 * SCAN_STEP, SCAN_STEP), LAST_ANGLE)
    whole = np.concatenate([-half[:0:-1], half])
    largest = float(places.tilt[-1])
    tilts = np.array([0.0]) if largest == 0.0 else np.linspace(0.0, largest, SCAN_TILTS)
    axes = [half if mirrored[0] else whole, half if mirrored[1] else whole, tilts]
    tubes = places.tangent.shape[1]
    tracer.all([(0.0, 0.0, 0.0)], [0.0])  # alone: on a first run two threads would have the tracer compiled twice
    looked_at = _product(axes)
    values = tracer.all(looked_at, [0.0] * len(looked_at)).reshape(*(len(axis) for axis in axes), -1)
    reaching = values[..., :tubes].sum(axis=-1) > REACHED
    kept = []
    for axis, others in ((0, (1, 2)), (1, (0, 2))):
        lit = np.flatnonzero(reaching.any(axis=others))
        middle = int(np.argmin(np.abs(axes[axis])))
        first, last = (int(lit[0]), int(lit[-1])) if len(lit) else (middle, middle)
        kept.append(slice(0 if mirrored[axis] else max(0, first - 1), last + 2))
        axes[axis] = axes[axis][kept[axis]]
    across, along = ((float(axis[0]), float(axis[-1])) for axis in axes[:2])
    grid = _Grid(tracer=tracer, places=places, axes=axes, values=values[kept[0], kept[1]])
    return grid, Domain(transversal=across, longitudinal=along)


def _refine(grid: _Grid) -> None:
    """Halve intervals of each axis until the grid foretells what is traced halfway, or has cost enough."""
    tolerance, most_rays = grid.tracer.care.tolerance, grid.tracer.care.most_rays
    # How many lines of the other axes an interval was found good on: with many more of them it is looked at again.
    good: list[dict[tuple[float, float], int]] = [{}, {}, {}]
    turn = sweeps = 0
    while grid.tracer.rays < most_rays:
        worst: list[tuple[float, int, float]] = []
        for axis, nodes in enumerate(grid.axes):
            others = grid.values[..., 0].size // len(nodes)
            ends = zip(nodes[:-1].tolist(), nodes[1:].tolist(), strict=True)
            pairs = [pair for pair in ends if others > RETRY * good[axis].get(pair, 0)]
            if not pairs:
                continue
            lines = [grid.lines_tried(k, turn) for k in range(3)]
            lines[axis] = np.array([0.5 * (a + b) for a, b in pairs])
            _, off = grid.foretold(lines, axis)
            errors = np.moveaxis(off, axis, 0).reshape(len(pairs), -1).max(axis=1)
            for pair, error, middle in zip(pairs, errors.tolist(), lines[axis].tolist(), strict=True):
                if error > tolerance:
                    worst.append((error, axis, middle))
                else:
                    good[axis][pair] = others
        turn += 1
        if not worst:
            sweeps += 1
            if sweeps == SWEEPS:
                return
            good = [{}, {}, {}]
            continue
        sweeps = 0
        least = grid.tracer.care.worthwhile * max(worst)[0]
        for axis in range(3):
            middles = [middle for error, of, middle in worst if of == axis and error >= least]
            if middles and grid.tracer.rays < most_rays:
                grid.grow(axis, middles)


def _checked(table: ResponseTable, tracer: _Nodes) -> TableError:
    """Compare with traces of other random numbers at random angles, half of them where light arrives."""
    rng = np.random.default_rng(np.random.SeedSequence(entropy=tracer.seed, spawn_key=(1,)))
    axes = table.transversal, table.longitudinal, table.tilt
    low, high = (np.array([axis[end] for axis in axes]) for end in (0, -1))
    candidates = low + (high - low) * rng.random((CANDIDATES, 3))
    lit = np.flatnonzero(table.at(*candidates.T).intercepted.sum(axis=1) > LIT)[: CHECKS // 2]
    rest = np.setdiff1d(np.arange(CHECKS), lit)[: CHECKS - len(lit)]
    chosen = candidates[np.concatenate([lit, rest])]
    said = table.at(*chosen.T).intercepted.sum(axis=1)

    def traced(check: int) -> float:
        rays = CHECK_RAYS if said[check] > LIT else CHECK_RAYS_IN_THE_DARK
        t, g, h = chosen[check].tolist()
        fractions, _ = _traced(tracer.prepared, tracer.row_at, (t, g, h), rays, tracer.seed + 1, 2)
        return float(fractions[: table.tubes].sum())

    with ThreadPoolExecutor(max_workers=tracer.threads) as pool:
        direct = np.array(list(pool.map(traced, range(CHECKS))))
    off = np.abs(said - direct)
    return TableError(
        worst=float(off.max()),
        typical=float(np.median(off)),
        where_lit=float(np.sqrt((off[direct > LIT] ** 2).mean())) if (direct > LIT).any() else 0.0,
        checks=CHECKS,
    )


def build_response(
    scene: Scene,
    *,
    row_at: RowAt,
    tilts: tuple[float, float] | None = None,
    seed: int = 0,
    threads: int | None = None,
    progress: Progress | None = None,
) -> ResponseTable:
    """Trace a response table.

    Parameters
    ----------
    scene
        What is traced.
    row_at
        Pose of the row at a tilt; where there are `tilts`, one without an offset.
    tilts
        Least and largest tilt [deg] where the row stays level while the lens tilts; None where it turns with the lens.
    seed, threads, progress
        As for `trace`.

    Raises
    ------
    ValueError
        If the lens cannot be built.
    """
    care = CARE if tilts is None else CARE_WITH_TILT

    def tick(rays: int) -> None:
        if progress is not None:
            progress(min(0.97, rays / care.most_rays))

    largest = 0.0 if tilts is None else max(abs(tilts[0]), abs(tilts[1]))
    places = tube_places(scene, row_at, largest)
    workers = default_threads() if threads is None else threads
    tracer = _Nodes(prepare(scene), row_at, care, threads=workers, seed=seed, tick=tick)
    mirrors = [[_mirror(row_at(tilt), axis) for tilt in (0.0, 0.5 * largest, largest)] for axis in (0, 1)]
    mirrored = (all(m[0] for m in mirrors[0]), all(m[0] for m in mirrors[1]))
    grid, domain = _scanned(tracer, places, mirrored)
    _refine(grid)
    table = ResponseTable(
        transversal=grid.axes[0],
        longitudinal=grid.axes[1],
        tilt=grid.axes[2],
        values=grid.values,
        places=places,
        domain=domain,
        error=TableError(worst=math.nan, typical=math.nan, where_lit=math.nan, checks=0),
        mirrored=mirrored,
        swaps=(mirrors[0][0][1], mirrors[1][0][1]),
    )
    table = replace(table, error=_checked(table, tracer))
    if progress is not None:
        progress(1.0)
    return table
