"""The response table: what each tube takes up, and how wide the focal line is, for any direction of the sun.

Built from traces at the nodes of a grid over the transversal and the longitudinal angle, and over the tilt where the
row stays level while the lens tilts. The grid is made finer where a trace halfway between nodes differs from what the
grid says there. All nodes share their random numbers, so that the table is smooth. Its error is found by traces with
other random numbers at random angles.
"""

import hashlib
import io
import math
import os
import tempfile
import zipfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np

from raytrace.arrays import ArrayLike, Floats
from raytrace.compiling import default_threads
from raytrace.grid import interpolate
from raytrace.points import Replicates
from raytrace.profile import profile_widths, profile_window
from raytrace.scene import RowPose, Scene
from raytrace.trace import PreparedScene, Progress, prepare, run_replicates

RAYS_OF_A_NODE = ((0.01, 1 << 11), (0.03, 1 << 12), (0.07, 1 << 13), (0.2, 1 << 14), (math.inf, 1 << 15))
"""Rays at a node that intercepts less than a fraction of the aperture power: a standard error of about 4e-4 everywhere
on the shipped scenes, which is the table's floor."""

MOST_RAYS_WITH_TILT = 1 << 14
"""With a tilt axis there are many more nodes, and the error is that of the grid."""

TOLERANCE = 1.5e-3
"""Difference, over the aperture power, up to which the grid between two nodes is good enough."""

REACHED = 5e-4
"""Intercepted fraction that counts as something: the domain ends where less than this reaches the row."""

SCAN_RAYS = 1 << 11
SCAN_STEP = 3.0  # [deg]
SCAN_STEP_WITH_TILT = 6.0  # [deg]
SCAN_END = 84.0  # [deg]

FIRST_NODES = (9, 7, 3)
"""Nodes of the first grid over the transversal angle, the longitudinal angle and the tilt."""

LINES_TRIED = 14
"""Lines of the grid, of each other axis, on which the middle of an interval is traced."""

RETRY = 1.5
"""An interval that was good is tried again when the lines of the other axes are this many times more."""

WORTHWHILE = 0.25
"""Only intervals whose error is more than this part of the worst one's are halved in one round."""

MOST_NODES = 1000
MOST_NODES_WITH_TILT = 3500
"""Nodes at which refining stops, for the time that they cost."""

CHECKS = 32
LIT = 0.05
CANDIDATES = 4096
CHECK_RAYS = 1 << 17
WIDTHS = ("w50", "w90", "w95", "fwhm", "centroid")

RowAt = Callable[[float], RowPose]
"""The row's pose in the lens frame at a tilt [deg]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Domain:
    """Angles [deg] between which something reaches a tube; outside, the table says zero."""

    transversal: tuple[float, float]
    longitudinal: tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class TableError:
    """Differences in intercepted fraction between the table and direct traces at random angles of its domain.

    The largest, the median, and the rms where more than `LIT` reaches the row; half of the checks lie there.
    """

    worst: float
    typical: float
    where_lit: float
    checks: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Response:
    """The table's answer at n directions: fractions of the aperture power (n, tubes), lengths (n,) [m]."""

    intercepted: Floats
    absorbed: Floats
    w50: Floats
    w90: Floats
    w95: Floats
    fwhm: Floats
    centroid: Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class ResponseTable:
    """Values at the nodes of a grid; see the module.

    `mirrored` names the angles of which only one sign is kept, as the other follows by symmetry, and `swaps` whether
    the tubes of the row change places in that mirror.
    """

    transversal: Floats
    longitudinal: Floats
    tilt: Floats
    values: Floats
    tubes: int
    domain: Domain
    error: TableError
    mirrored: tuple[bool, bool]
    swaps: tuple[bool, bool]

    def at(self, transversal: ArrayLike, longitudinal: ArrayLike, tilt: ArrayLike | None = None) -> Response:
        """Response at n directions of the sun.

        Parameters
        ----------
        transversal, longitudinal : (n,) float
            The sun's angles across and along the grooves. [deg]
        tilt : (n,) float, optional
            Tilt of the lens; read only where the row stays with the base and does not tilt. [deg]

        Returns
        -------
        Response
            Fractions are zero outside the domain.
        """
        t, g = (np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (transversal, longitudinal))
        h = np.zeros_like(t) if tilt is None else np.broadcast_to(np.asarray(tilt, dtype=np.float64), t.shape)
        if len(self.tilt) > 1 and tilt is None:
            raise ValueError("the tilt is needed: the row of this scene does not tilt with the lens.")
        where_t, where_g, where_h = t, g, h
        swap = np.zeros(len(t), dtype=bool)
        sign_t = np.ones(len(t))
        if len(self.tilt) > 1:
            # Half a turn about the normal takes the row at a tilt to the row at the opposite tilt, read from its end.
            back = h < 0.0
            where_t, where_g, where_h = np.where(back, -t, t), np.where(back, -g, g), np.abs(h)
            sign_t = np.where(back, -1.0, 1.0)
            swap ^= back
        if self.mirrored[0]:
            back = where_t < 0.0
            where_t = np.abs(where_t)
            sign_t = np.where(back, -sign_t, sign_t)
            swap ^= back & self.swaps[0]
        if self.mirrored[1]:
            back = where_g < 0.0
            where_g = np.abs(where_g)
            swap ^= back & self.swaps[1]
        values = interpolate((self.transversal, self.longitudinal, self.tilt), self.values, (where_t, where_g, where_h))
        inside = (where_t >= self.domain.transversal[0]) & (where_t <= self.domain.transversal[1])
        inside &= (where_g >= self.domain.longitudinal[0]) & (where_g <= self.domain.longitudinal[1])
        powers = np.where(inside[:, None], np.clip(values[:, : 2 * self.tubes], 0.0, 1.0), 0.0)
        intercepted, absorbed = powers[:, : self.tubes], powers[:, self.tubes :]
        intercepted = np.where(swap[:, None], intercepted[:, ::-1], intercepted)
        absorbed = np.where(swap[:, None], absorbed[:, ::-1], absorbed)
        widths = values[:, 2 * self.tubes :]
        return Response(
            intercepted=intercepted,
            absorbed=absorbed,
            w50=np.maximum(widths[:, 0], 0.0),
            w90=np.maximum(widths[:, 1], 0.0),
            w95=np.maximum(widths[:, 2], 0.0),
            fwhm=np.maximum(widths[:, 3], 0.0),
            centroid=sign_t * widths[:, 4],
        )


def _mirror(pose: RowPose, axis: int) -> tuple[bool, bool]:
    """Whether the row is its own mirror image across this axis, and whether its tubes change places in it."""
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
    """Traces the nodes of the table, in threads, and remembers them."""

    def __init__(
        self, prepared: PreparedScene, row_at: RowAt, most_rays: int, threads: int, seed: int, tick: Callable[[], None]
    ) -> None:
        self.prepared, self.row_at, self.most_rays = prepared, row_at, most_rays
        self.threads, self.seed, self.tick = threads, seed, tick
        self.known: dict[Place, Floats] = {}

    def one(self, place: Place) -> Floats:
        """Intercepted and absorbed fraction of each tube, then the widths, at one node."""
        tubes = self.prepared.scene.tubes.count
        rays = RAYS_OF_A_NODE[0][1]
        while True:
            fractions, sums = _traced(self.prepared, self.row_at, place, rays, self.seed)
            wanted = next(count for below, count in RAYS_OF_A_NODE if fractions[:tubes].sum() <= below)
            if min(wanted, self.most_rays) <= rays:
                break
            rays = min(wanted, self.most_rays)
        window = profile_window(self.prepared.scene, math.tan(math.radians(place[0])))
        return np.concatenate([fractions, profile_widths(sums.profile[0], window)])

    def all(self, places: list[Place]) -> Floats:
        """The same at many nodes, (n, 2 tubes + widths); known ones are not traced again."""
        new = [place for place in dict.fromkeys(places) if place not in self.known]
        with ThreadPoolExecutor(max_workers=self.threads) as pool:
            for place, value in zip(new, pool.map(self.one, new), strict=True):
                self.known[place] = value
                self.tick()
        return np.array([self.known[place] for place in places])


def _product(axes: Sequence[Floats]) -> list[Place]:
    return [(float(t), float(g), float(h)) for t in axes[0] for g in axes[1] for h in axes[2]]


def _grid_values(tracer: _Nodes, axes: list[Floats]) -> Floats:
    return tracer.all(_product(axes)).reshape(*(len(a) for a in axes), -1)


def _difference(a: Floats, b: Floats, tubes: int) -> Floats:
    """Largest difference in intercepted fraction, of the row and of each tube: last axis is that of the values."""
    own = np.abs(a[..., :tubes] - b[..., :tubes]).max(axis=-1)
    total = np.abs(a[..., :tubes].sum(axis=-1) - b[..., :tubes].sum(axis=-1))
    return np.asarray(np.maximum(own, total), dtype=np.float64)


def _scan(
    prepared: PreparedScene, row_at: RowAt, tilts: Floats, mirrored: tuple[bool, bool], threads: int, seed: int
) -> Domain:
    """Look with few rays at all angles; the table's domain ends where less than `REACHED` gets to the row."""
    step = SCAN_STEP if len(tilts) == 1 else SCAN_STEP_WITH_TILT
    ends = np.arange(-SCAN_END, SCAN_END + 0.5 * step, step)
    axes = (ends[ends >= 0.0] if mirrored[0] else ends, ends[ends >= 0.0] if mirrored[1] else ends, tilts)
    tubes = prepared.scene.tubes.count
    with ThreadPoolExecutor(max_workers=threads) as pool:
        found = pool.map(lambda p: _traced(prepared, row_at, p, SCAN_RAYS, seed)[0][:tubes].sum(), _product(axes))
        reaching = np.array(list(found)).reshape([len(axis) for axis in axes])
    bounds = []
    for axis, others, mirror in ((0, (1, 2), mirrored[0]), (1, (0, 2), mirrored[1])):
        lit = axes[axis][(reaching > REACHED).any(axis=others)]
        low, high = (float(lit.min()) - step, float(lit.max()) + step) if len(lit) else (-step, step)
        bounds.append((0.0 if mirror else low, high))
    return Domain(transversal=bounds[0], longitudinal=bounds[1])


def _refined(tracer: _Nodes, axes: list[Floats], tubes: int, most: int) -> tuple[list[Floats], Floats]:
    """Halve intervals of each axis until the grid foretells what is traced halfway, or is large enough."""
    values = _grid_values(tracer, axes)
    # How many lines of the other axes an interval was found good on: with many more of them it is looked at again.
    good: list[dict[tuple[float, float], int]] = [{}, {}, {}]
    while True:
        size = values.shape[0] * values.shape[1] * values.shape[2]
        worst = []
        for axis, nodes in enumerate(axes):
            others = size // len(nodes)
            ends = zip(nodes[:-1].tolist(), nodes[1:].tolist(), strict=True)
            pairs = [pair for pair in ends if others > RETRY * good[axis].get(pair, 0)]
            if not pairs:
                continue
            lines = [a if k == axis else a[:: max(1, len(a) // LINES_TRIED)] for k, a in enumerate(axes)]
            lines[axis] = np.array([0.5 * (a + b) for a, b in pairs])
            grid = np.meshgrid(*lines, indexing="ij")
            said = interpolate(axes, values, [g.ravel() for g in grid]).reshape(*grid[0].shape, -1)
            traced = tracer.all(_product(lines)).reshape(said.shape)
            off = np.moveaxis(_difference(said, traced, tubes), axis, 0).reshape(len(pairs), -1).max(axis=1)
            for pair, error, middle in zip(pairs, off.tolist(), lines[axis].tolist(), strict=True):
                if error > TOLERANCE:
                    worst.append((error, axis, middle))
                else:
                    good[axis][pair] = others
        worst.sort(reverse=True)
        grown = False
        for error, axis, middle in worst:
            size = math.prod(len(nodes) for nodes in axes)
            if size + size // len(axes[axis]) <= most and error >= worst[0][0] * WORTHWHILE:
                axes[axis] = np.sort(np.append(axes[axis], middle))
                grown = True
        if not grown:
            return axes, values
        values = _grid_values(tracer, axes)


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
        Pose of the row at a tilt.
    tilts
        Least and largest tilt [deg] where the row stays level while the lens tilts; None where it turns with the lens.
    seed, threads, progress
        As for `trace`.

    Raises
    ------
    ValueError
        If the lens cannot be built.
    """
    prepared = prepare(scene)
    tubes = scene.tubes.count
    most = MOST_NODES if tilts is None else MOST_NODES_WITH_TILT
    done = [0]

    def tick() -> None:
        done[0] += 1
        if progress is not None:
            progress(min(0.97, done[0] / (1.4 * most)))

    workers = default_threads() if threads is None else threads
    largest = 0.0 if tilts is None else max(abs(tilts[0]), abs(tilts[1]))
    tilt_axis = np.array([0.0]) if largest == 0.0 else np.linspace(0.0, largest, FIRST_NODES[2])
    poses = [row_at(float(h)) for h in tilt_axis]
    mirrors = [[_mirror(pose, axis) for pose in poses] for axis in (0, 1)]
    mirrored = (all(m[0] for m in mirrors[0]), all(m[0] for m in mirrors[1]))
    swaps = (mirrors[0][0][1], mirrors[1][0][1])
    domain = _scan(prepared, row_at, tilt_axis, mirrored, workers, seed)
    across, along = domain.transversal, domain.longitudinal
    most_rays = RAYS_OF_A_NODE[-1][1] if tilts is None else MOST_RAYS_WITH_TILT
    tracer = _Nodes(prepared, row_at, most_rays, workers, seed, tick)
    axes = [
        np.linspace(across[0], across[1], FIRST_NODES[0] * (1 if mirrored[0] else 2) - (0 if mirrored[0] else 1)),
        np.linspace(along[0], along[1], FIRST_NODES[1] * (1 if mirrored[1] else 2) - (0 if mirrored[1] else 1)),
        tilt_axis,
    ]
    axes, values = _refined(tracer, axes, tubes, most)
    table = ResponseTable(
        transversal=axes[0],
        longitudinal=axes[1],
        tilt=axes[2],
        values=values,
        tubes=tubes,
        domain=domain,
        error=TableError(worst=math.nan, typical=math.nan, where_lit=math.nan, checks=0),
        mirrored=mirrored,
        swaps=swaps,
    )
    rng = np.random.default_rng(np.random.SeedSequence(entropy=seed, spawn_key=(1,)))
    low = np.array([a[0] for a in axes])
    high = np.array([a[-1] for a in axes])
    candidates = low + (high - low) * rng.random((CANDIDATES, 3))
    lit = np.flatnonzero(table.at(*candidates.T).intercepted.sum(axis=1) > LIT)[: CHECKS // 2]
    rest = np.setdiff1d(np.arange(CHECKS), lit)[: CHECKS - len(lit)]
    chosen = candidates[np.concatenate([lit, rest])]
    with ThreadPoolExecutor(max_workers=workers) as pool:
        direct = pool.map(
            lambda c: _traced(prepared, row_at, (c[0], c[1], c[2]), CHECK_RAYS, seed + 1, 2)[0], chosen.tolist()
        )
        traced = np.array(list(direct))[:, :tubes].sum(axis=1)
    off = np.abs(table.at(*chosen.T).intercepted.sum(axis=1) - traced)
    error = TableError(
        worst=float(off.max()),
        typical=float(np.median(off)),
        where_lit=float(np.sqrt((off[traced > LIT] ** 2).mean())) if (traced > LIT).any() else 0.0,
        checks=CHECKS,
    )
    if progress is not None:
        progress(1.0)
    return ResponseTable(**{f.name: getattr(table, f.name) for f in fields(table) if f.name != "error"}, error=error)


def _sources_digest() -> bytes:
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parent.rglob("*.py")) + sorted(Path(__file__).parent.rglob("data/*.txt")):
        digest.update(source.read_bytes())
    return digest.digest()


def response_key(scene: Scene, poses: tuple[RowPose, ...], tilts: tuple[float, float] | None, seed: int) -> str:
    """Name of a table: hash of all that it depends on, the code included."""
    digest = hashlib.sha256(_sources_digest())
    digest.update(repr((scene, poses, tilts, seed)).encode())
    return digest.hexdigest()[:32]


def _packed(table: ResponseTable) -> bytes:
    buffer = io.BytesIO()
    np.savez(
        buffer,
        transversal=table.transversal,
        longitudinal=table.longitudinal,
        tilt=table.tilt,
        values=table.values,
        tubes=table.tubes,
        domain=np.array([table.domain.transversal, table.domain.longitudinal]),
        error=np.array([table.error.worst, table.error.typical, table.error.where_lit, table.error.checks]),
        mirrored=np.array(table.mirrored),
        swaps=np.array(table.swaps),
    )
    return buffer.getvalue()


def _unpacked(path: Path) -> ResponseTable | None:
    """The table in a file; None where the file is missing, damaged or holds something else."""
    try:
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as kept:
            t, g, h, values = (kept[name] for name in ("transversal", "longitudinal", "tilt", "values"))
            tubes = int(kept["tubes"])
            if values.shape != (len(t), len(g), len(h), 2 * tubes + len(WIDTHS)) or not np.isfinite(values).all():
                return None
            domain, error = kept["domain"], kept["error"]
            return ResponseTable(
                transversal=t,
                longitudinal=g,
                tilt=h,
                values=values,
                tubes=tubes,
                domain=Domain(
                    transversal=(float(domain[0, 0]), float(domain[0, 1])),
                    longitudinal=(float(domain[1, 0]), float(domain[1, 1])),
                ),
                error=TableError(
                    worst=float(error[0]), typical=float(error[1]), where_lit=float(error[2]), checks=int(error[3])
                ),
                mirrored=(bool(kept["mirrored"][0]), bool(kept["mirrored"][1])),
                swaps=(bool(kept["swaps"][0]), bool(kept["swaps"][1])),
            )
    except (OSError, ValueError, KeyError, IndexError, EOFError, zipfile.BadZipFile):
        return None


def _keep(table: ResponseTable, path: Path) -> None:
    """Write aside, then rename: two processes that build the same table cannot harm each other. No folder, no cache."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, aside = tempfile.mkstemp(dir=path.parent, suffix=".part")
    except OSError:
        return
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(_packed(table))
        Path(aside).replace(path)
    except OSError:
        Path(aside).unlink(missing_ok=True)


def load_or_build(
    scene: Scene,
    *,
    row_at: RowAt,
    tilts: tuple[float, float] | None = None,
    folder: Path | None,
    seed: int = 0,
    threads: int | None = None,
    progress: Progress | None = None,
) -> ResponseTable:
    """The table kept in `folder`, or a new one that is then kept there; arguments as for `build_response`."""
    kept = load(scene, row_at=row_at, tilts=tilts, folder=folder, seed=seed)
    if kept is not None:
        return kept
    table = build_response(scene, row_at=row_at, tilts=tilts, seed=seed, threads=threads, progress=progress)
    if folder is not None:
        _keep(table, _place(scene, row_at, tilts, folder, seed))
    return table


def load(
    scene: Scene,
    *,
    row_at: RowAt,
    tilts: tuple[float, float] | None = None,
    folder: Path | None,
    seed: int = 0,
) -> ResponseTable | None:
    """The table kept in `folder`; None where there is none or it is damaged."""
    return None if folder is None else _unpacked(_place(scene, row_at, tilts, folder, seed))


def _place(scene: Scene, row_at: RowAt, tilts: tuple[float, float] | None, folder: Path, seed: int) -> Path:
    largest = 0.0 if tilts is None else max(abs(tilts[0]), abs(tilts[1]))
    poses = (row_at(0.0), row_at(0.5 * largest), row_at(largest))
    return folder / f"response-{response_key(scene, poses, tilts, seed)}.npz"
