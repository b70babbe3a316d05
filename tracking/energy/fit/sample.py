"""Energy absorbed over a span, estimated by direct traces at hours drawn from it.

There are `REPLICATES` independent replicates. Each draws hours of its own, in proportion to their energy, by going
through all of them at even steps from a random start (systematic sampling: W. G. Cochran, Sampling Techniques, 3rd ed.
1977, ch. 8 and 9A), and traces each with a randomly shifted lattice of its own. So the spread between replicates shows
the errors of hours and rays together. Candidates reuse the same draws and the same lattices: most of both errors falls
out of their differences, which are taken replicate by replicate.
"""

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import Floats, Ints
from raytrace.compiling import default_threads
from raytrace.points import Replicates
from raytrace.profile import profile_window
from raytrace.result import Estimate
from raytrace.scene import RowPose, Scene, Tubes
from raytrace.trace import PreparedScene, prepare, run_replicates
from tracking.energy.fit.hours import Sunlight
from tracking.mount import Mount, row_pose

REPLICATES = 16
DRAWS = 24
"""Hours that a replicate draws."""

RAYS = 1 << 12
"""Rays for each of them."""

BIN = 0.25
"""Width of the bins of the transversal angle by which hours are ordered before they are drawn [deg]."""

FAINT = 0.25
"""Weight, against the others, of hours at which the focal line lies beside the row: few are drawn of what gives little.
They count the more when drawn, so that nothing is left out."""

GUESSED = 0.7
"""Share of the hours that is drawn by a guess of what is absorbed in them, where there is one."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Effort:
    """How much is traced for each candidate, and by which random numbers."""

    draws: int = DRAWS
    rays: int = RAYS
    seed: int = 0
    threads: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Draws:
    """Hours drawn: angles and tilt (replicates, draws) [deg], and the energy that each stands for [J].

    Its replicate's sum of energy x absorbed fraction estimates the energy absorbed over the whole span.
    """

    transversal: Floats
    longitudinal: Floats
    tilt: Floats
    energy: Floats
    index: Ints


def reach_across(tubes: Tubes, width: float) -> float:
    """Distance from the middle of the row, across the grooves, up to which a focal line may hit it [m]; generous."""
    turn = math.radians(tubes.angle_to_grooves)
    row = 0.5 * ((tubes.count - 1) * tubes.spacing + tubes.outer_diameter)
    return abs(row * math.cos(turn)) + abs(0.5 * tubes.length * math.sin(turn)) + WIDE_LINE * width


WIDE_LINE = 0.1
"""Half the width of a focal line that is far out of focus, over the width of the lens: chosen, it only sets weights."""


def drawn(light: Sunlight, scene: Scene, effort: Effort, guess: Floats | None = None) -> Draws:
    """Hours drawn from a span; the same ones for the same seed.

    Parameters
    ----------
    light
        The span as the mount is moved.
    scene
        Tells how far off the row a focal line may lie.
    effort
        How many hours, and the seed.
    guess : (n,) float, optional
        What is absorbed at each position of the sun, roughly, from a response table: most hours are then drawn in
        proportion to it. A wrong guess costs exactness and nothing else.
    """
    offset = np.abs(np.tan(np.radians(light.transversal))) * scene.lens_height
    near = offset <= reach_across(scene.tubes, scene.lens.width)
    weight = light.energy * np.where(near, 1.0, FAINT)
    if guess is not None and float(guess.sum()) > 0.0 and float(weight.sum()) > 0.0:
        weight = GUESSED * guess / guess.sum() + (1.0 - GUESSED) * weight / weight.sum()
    shape = (REPLICATES, effort.draws)
    if float(weight.sum()) <= 0.0:
        nothing = np.zeros(shape)
        return Draws(
            transversal=nothing,
            longitudinal=nothing,
            tilt=nothing,
            energy=nothing,
            index=np.zeros(shape, dtype=np.int64),
        )
    order = _order(light, weight, round(math.sqrt(effort.draws)))
    cumulative = np.cumsum(weight[order])
    starts = np.random.default_rng(np.random.SeedSequence(entropy=effort.seed, spawn_key=(2,))).random(REPLICATES)
    wanted = (np.arange(effort.draws) + starts[:, None]) / effort.draws * cumulative[-1]
    index = order[np.minimum(np.searchsorted(cumulative, wanted), len(order) - 1)]
    return Draws(
        transversal=light.transversal[index],
        longitudinal=light.longitudinal[index],
        tilt=light.tilt[index],
        energy=light.energy[index] * cumulative[-1] / (effort.draws * weight[index]),
        index=index,
    )


def _order(light: Sunlight, weight: Floats, strata: int) -> Ints:
    """Positions of the sun (n,) in an order in which even steps meet all longitudinal and all transversal angles.

    The longitudinal angles are cut into strata of the same weight, within which the transversal angle goes up and down
    by turns; among equal ones the longitudinal angle and the tilt rise. A lens that is kept aimed sees one transversal
    angle only, and so goes evenly through its longitudinal angles.
    """
    by_skew = np.argsort(light.longitudinal, kind="stable")
    share = np.empty(len(weight))
    share[by_skew] = np.cumsum(weight[by_skew]) / weight.sum()
    stratum = np.minimum((share * strata).astype(np.int64), strata - 1)
    across = np.round(light.transversal / BIN) * np.where(stratum % 2 == 0, 1.0, -1.0)
    return np.lexsort((light.tilt, np.round(light.longitudinal, 1), across, stratum))


def beside(pose: RowPose, angle_to_grooves: float, offset: float) -> RowPose:
    """A row that lies beside its place: by `offset` [m] in its own plane, across the grooves as laid out at tilt 0."""
    turn = math.radians(angle_to_grooves)
    way = math.cos(turn) * np.array(pose.row) - math.sin(turn) * np.array(pose.tube)
    x, y, z = (offset * way).tolist()
    return replace(pose, offset=(x, y, z))


def absorbed_fractions(
    scene: Scene,
    mount: Mount,
    draws: Draws,
    effort: Effort,
    prepared: PreparedScene | None = None,
    offset: float = 0.0,
) -> Floats:
    """Fraction of the aperture power that each tube absorbs at each drawn hour (replicates, draws, tubes).

    Lattices go by the number of the draw, the same for every candidate. `prepared` saves time where the scene differs
    from it in nothing but the lens height. The row lies by `offset` [m] beside its place, see `beside`.

    Raises
    ------
    ValueError
        If the lens cannot be built.
    """
    from raytrace.kernels import path

    ready = prepare(scene) if prepared is None else replace(prepared, scene=scene)
    replicates, each = draws.energy.shape
    plan = Replicates(count=1, rays_each=effort.rays, groups=1)

    def one(number: int) -> Floats:
        at = divmod(number, each)
        if draws.energy[at] <= 0.0:
            return np.zeros(scene.tubes.count)
        tan_t, tan_l = (math.tan(math.radians(float(a[at]))) for a in (draws.transversal, draws.longitudinal))
        row = row_pose(mount, float(draws.tilt[at]), scene.tubes.angle_to_grooves)
        row = beside(row, scene.tubes.angle_to_grooves, offset)
        inputs = ready.inputs(tan_t, tan_l, row, profile_window(scene, tan_t))
        sums = run_replicates(inputs, plan=plan, first=number, seed=effort.seed, threads=1, with_flux=False)
        started = float(sums.totals[0, path.STARTED])
        return sums.tubes[0, 1] / started if started > 0.0 else np.zeros(scene.tubes.count)

    count = replicates * each
    with ThreadPoolExecutor(max_workers=effort.threads or default_threads()) as pool:
        try:
            values = list(pool.map(one, range(count)))
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    return np.array(values).reshape(replicates, each, scene.tubes.count)


def energies_of(draws: Draws, fractions: Floats) -> Floats:
    """Energy of all tubes over the span, one estimate a replicate (replicates,) [J].

    `fractions` are those of `absorbed_fractions`.
    """
    return np.asarray((draws.energy * fractions.sum(axis=2)).sum(axis=1))


def absorbed_energies(scene: Scene, mount: Mount, draws: Draws, effort: Effort) -> Floats:
    """Energy absorbed over the span, one estimate a replicate (replicates,) [J]; parameters of `absorbed_fractions`."""
    return energies_of(draws, absorbed_fractions(scene, mount, draws, effort))


def estimate(values: Floats) -> Estimate:
    """Mean of replicates (n,) and its standard error."""
    return Estimate(value=float(values.mean()), standard_error=float(values.std(ddof=1)) / math.sqrt(len(values)))


def jackknife(values: Floats, of: Callable[[Floats], float]) -> Estimate:
    """A figure read off the mean of replicates (n, ...), and its standard error by leaving out one after the other.

    B. Efron and C. Stein, Annals of Statistics 9 (1981) 586.
    """
    count = len(values)
    total = values.sum(axis=0)
    without = np.array([of((total - own) / (count - 1)) for own in values])
    spread = float(((without - without.mean()) ** 2).sum())
    return Estimate(value=of(total / count), standard_error=math.sqrt((count - 1) / count * spread))
