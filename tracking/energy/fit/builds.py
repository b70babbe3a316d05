"""Ways to build the same machine: grooves, tubes, what turns with the lens, number and spacing of tubes; best first."""

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import Floats
from raytrace.result import Estimate
from raytrace.scene import Scene
from tracking.energy.fit.distillate import FINER, Still
from tracking.energy.fit.height import LEAST_SHARE, Curve, Progress, lowest_height
from tracking.energy.fit.hours import Hours, Sunlight, aimed_settings, sunlight
from tracking.energy.fit.sample import Effort, absorbed_fractions, drawn, energies_of, estimate
from tracking.mount import Grooves, Mount, RowTurnsWith, lens_axes, row_pose
from tracking.plans.compare import ACROSS, ALONG
from tracking.scenefile import SceneFile

GAP = 2e-3
"""Least distance between two tubes or their glasses [m]. Common practice, no source."""

COUNTS_ALONG = (1, 2, 3)
"""Numbers of tubes side by side along the focal line."""

SPACINGS_ACROSS = (1.0, 1.25, 1.5)
"""Spacings of tubes that the line crosses, over the closest one; as many tubes as the lens is long."""

QUICK_DRAWS, QUICK_RAYS = 6, 1 << 10
"""Hours a replicate and rays, while the height of a build is sought."""

LEAST_RAYS = 64
"""Rays of an hour below which its trace costs no less."""

HEIGHTS = 10
LARGEST_SHARE = 1.25
"""Heights that are first tried for each build, up to this one over the focal length."""

ROUNDS = 3
"""How often the heights are made denser around the best one."""

OPEN_END_MARGIN = 3.0
"""Slope that the open end of a tube needs at least [deg]: less, and water or steam find no way. Common practice, no
source."""

SLOPE_DIGITS = 1
"""Decimals of a degree of the tilts at which a row's pose is worked out."""

DAYS_A_YEAR = 365.25


@dataclass(frozen=True, kw_only=True, slots=True)
class BuildOption:
    """A way to build: how the grooves lie, the tubes' angle to them [deg], what the row turns with, tubes and spacing
    [m]. `is_own`: as the scene has it.
    """

    grooves: Grooves
    angle_to_grooves: float
    row_turns_with: RowTurnsWith
    count: int
    spacing: float
    is_own: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Slopes:
    """Slope of the tubes against level while the lens is in the light, the open end being the better one [deg].

    `least` and `most`; `mouth_low` is the share of the aperture energy during which the open end is not at least
    `OPEN_END_MARGIN` above level: a tube that is closed at one end does not work then.
    """

    least: float
    most: float
    mouth_low: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Built:
    """What a way to build gives at its own best lens height [m]. Energies in [J] over the span.

    `shortfall` is by how much it is below the best way, with the error of the difference. `litres` is an estimate of
    the distillate of the span; `energy_for_money` [J] and `litres_for_money` are those of the whole life for a unit of
    money. None where the scene does not tell what it needs.
    """

    option: BuildOption
    height: float
    absorbed: Estimate
    shortfall: Estimate
    slopes: Slopes
    litres: Estimate | None
    price: float | None
    energy_for_money: float | None
    litres_for_money: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Builds:
    """All ways that were looked at, best first; where `interrupted`, some are missing."""

    rows: tuple[Built, ...]
    interrupted: bool


def options_of(scene_file: SceneFile) -> tuple[BuildOption, ...]:
    """The ways to build that are looked at: the scene's own one first."""
    tubes, mount, lens = scene_file.scene.tubes, scene_file.mount, scene_file.scene.lens
    own = BuildOption(
        grooves=mount.grooves,
        angle_to_grooves=tubes.angle_to_grooves,
        row_turns_with=mount.row_turns_with,
        count=tubes.count,
        spacing=tubes.spacing,
        is_own=True,
    )
    closest = tubes.outer_diameter + GAP
    along = [(count, closest if count > 1 else 0.0) for count in COUNTS_ALONG]
    across = [(max(1, min(200, round(lens.length / spacing))), spacing) for spacing in _spacings(closest)]
    rows: dict[float, list[tuple[int, float]]] = {ALONG: along, ACROSS: across}
    own_row = (tubes.count, tubes.spacing if tubes.count > 1 else 0.0)
    for angle, listed in rows.items():
        if math.isclose(abs(tubes.angle_to_grooves), angle) and not any(_alike(own_row, each) for each in listed):
            listed.append(own_row)
    found = [own]
    grooves: tuple[Grooves, ...] = ("level", "upslope")
    turns: tuple[RowTurnsWith, ...] = ("lens", "base")
    for lay, angle, turn in itertools.product(grooves, rows, turns):
        for count, spacing in rows[angle]:
            same = lay == own.grooves and turn == own.row_turns_with and _alike((count, spacing), own_row)
            if not (same and math.isclose(abs(own.angle_to_grooves), angle)):
                found.append(
                    BuildOption(
                        grooves=lay, angle_to_grooves=angle, row_turns_with=turn, count=count, spacing=spacing
                    )
                )
    return tuple(found)


def _spacings(closest: float) -> Iterator[float]:
    for share in SPACINGS_ACROSS:
        yield round(closest * share, 3)


def _alike(one: tuple[int, float], other: tuple[int, float]) -> bool:
    return one[0] == other[0] and math.isclose(one[1], other[1], abs_tol=0.5e-3)


def as_built(scene_file: SceneFile, option: BuildOption) -> SceneFile:
    """The scene built that way, at its own lens height."""
    tubes = replace(
        scene_file.scene.tubes,
        angle_to_grooves=option.angle_to_grooves,
        count=option.count,
        spacing=option.spacing,
    )
    mount = replace(scene_file.mount, grooves=option.grooves, row_turns_with=option.row_turns_with)
    return replace(scene_file, mount=mount, scene=replace(scene_file.scene, tubes=tubes))


def ways_to_build(
    scene_file: SceneFile, hours: Hours, *, effort: Effort | None = None, progress: Progress | None = None
) -> Builds:
    """Each way to build at its own best height, kept aimed, best first.

    Parameters
    ----------
    scene_file
        Lens, tubes and mount stay as they are, but for what a way to build changes.
    hours
        The time that counts.
    effort
        Hours and rays for the energy of each; its height is sought with fewer.
    progress
        Called now and then with the share done. Ctrl-C keeps the ways that are done.

    Raises
    ------
    ValueError
        If the lens cannot be built.
    """
    effort = effort or Effort()
    options = options_of(scene_file)
    done: list[_Traced] = []
    interrupted = False
    lights: dict[Grooves, Sunlight] = {}
    still = Still(scene_file, hours) if has_boiler(scene_file) else None
    for k, option in enumerate(options):
        built = as_built(scene_file, option)
        try:
            if option.grooves not in lights:
                lights[option.grooves] = sunlight(built, hours, *aimed_settings(built.mount, hours))
            done.append(_traced(built, option, lights[option.grooves], still, effort))
        except KeyboardInterrupt:
            if not done:
                raise
            interrupted = True
            break
        if progress is not None:
            progress((k + 1) / len(options))
    done.sort(key=lambda each: -float(each.energies.mean()))
    rows = tuple(_row(scene_file, each, done[0], hours) for each in done)
    return Builds(rows=rows, interrupted=interrupted)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Traced:
    option: BuildOption
    height: float
    energies: Floats
    slopes: Slopes
    litres: Floats | None


def _traced(built: SceneFile, option: BuildOption, light: Sunlight, still: Still | None, effort: Effort) -> _Traced:
    height = quick_height(built.scene, built.mount, light, effort)
    scene = replace(built.scene, lens_height=height)
    if still is not None:
        effort = replace(effort, draws=FINER * effort.draws, rays=max(LEAST_RAYS, effort.rays // FINER))
    draws = drawn(light, scene, effort)
    fractions = absorbed_fractions(scene, built.mount, draws, effort)
    return _Traced(
        option=option,
        height=height,
        energies=energies_of(draws, fractions),
        slopes=slopes_of(built, light),
        litres=None if still is None else still.litres(light, draws, fractions),
    )


def has_boiler(scene_file: SceneFile) -> bool:
    """Whether the scene says anything about its boiler."""
    return any(not value.from_default for value in scene_file.boiler_values)


def quick_height(scene: Scene, mount: Mount, light: Sunlight, effort: Effort) -> float:
    """The best lens height by few traces [m], rounded to a millimetre."""
    quick = replace(effort, draws=min(effort.draws, QUICK_DRAWS), rays=min(effort.rays, QUICK_RAYS))
    curve = Curve(scene, mount, drawn(light, scene, quick), quick)
    focal = scene.lens.focal_length
    low = max(lowest_height(scene, mount), LEAST_SHARE * focal)
    for height in np.linspace(low, max(LARGEST_SHARE * focal, low + 0.5 * focal), HEIGHTS).tolist():
        curve.at(height)
    for _ in range(ROUNDS):
        heights, _energies = curve.arrays()
        best = curve.best()
        for side in (best - 1, best + 1):
            if 0 <= side < len(heights):
                curve.at(0.5 * float(heights[best] + heights[side]))
    return round(float(curve.arrays()[0][curve.best()]), 3)


def slopes_of(scene_file: SceneFile, light: Sunlight) -> Slopes:
    """Slope of the tubes against level while the lens is in the light."""
    mount, turn = scene_file.mount, scene_file.scene.tubes.angle_to_grooves
    lit = light.energy > 0.0
    if not lit.any():
        return Slopes(least=0.0, most=0.0, mouth_low=1.0)
    tilt, swivel, energy = light.tilt[lit], light.swivel[lit], light.energy[lit]
    steps, which = np.unique(np.round(tilt, SLOPE_DIGITS), return_inverse=True)
    tube = np.array([row_pose(mount, float(step), turn).tube for step in steps])[which.reshape(-1)]
    axes = lens_axes(mount, tilt, swivel)
    up = tube[:, 0] * axes.x[:, 2] + tube[:, 1] * axes.y[:, 2] + tube[:, 2] * axes.n[:, 2]
    slope = np.degrees(np.arcsin(np.clip(up, -1.0, 1.0)))
    # The open end is put where it is above level for more of the energy.
    if float((energy * np.sign(slope)).sum()) < 0.0:
        slope = -slope
    return Slopes(
        least=float(slope.min()),
        most=float(slope.max()),
        mouth_low=float(energy[slope < OPEN_END_MARGIN].sum() / energy.sum()),
    )


def _row(scene_file: SceneFile, each: _Traced, best: _Traced, hours: Hours) -> Built:
    costs = scene_file.costs
    water = None if each.litres is None else estimate(each.litres)
    price, energy, water_for_money = None, None, None
    if costs is not None:
        price = costs.of_machine(each.option.count)
        lives = costs.life * DAYS_A_YEAR / hours.days / price
        energy = float(each.energies.mean()) * lives
        water_for_money = None if water is None else water.value * lives
    return Built(
        option=each.option,
        height=each.height,
        absorbed=estimate(each.energies),
        shortfall=estimate(best.energies - each.energies),
        slopes=each.slopes,
        litres=water,
        price=price,
        energy_for_money=energy,
        litres_for_money=water_for_money,
    )
