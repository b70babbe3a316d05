"""Tilt: the best one of a lens that stands still, seasonal ones and their gain, the range that a frame must reach."""

from collections.abc import Callable
from dataclasses import dataclass

from raytrace.arrays import Floats
from raytrace.result import Estimate
from raytrace.scene import Scene
from tracking.energy.fit.height import LOSSES
from tracking.energy.fit.hours import Sunlight, aimed_settings
from tracking.energy.fit.judge import Judge
from tracking.energy.fit.reach import Reach, reaches
from tracking.energy.fit.sample import Effort, absorbed_energies, drawn, estimate
from tracking.energy.fit.seasons import MONTHS, Season, season_swivel, seasonal_tilts
from tracking.energy.fit.setting import best_setting, standing
from tracking.mount import Mount, Setting

TILT_STEP = 0.5
"""Step by which a fixed tilt is turned off the best one [deg]."""

WIDEST_TURN = 45.0
"""Where that ends [deg]."""

SEASON_NAMES = {1: "one tilt", 2: "two tilts", 4: "four tilts", MONTHS: "one a month"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Effected:
    """A way of setting the tilt: energy absorbed, and what it gains over the one before, by the same random numbers."""

    name: str
    seasons: tuple[Season, ...]
    absorbed: Estimate
    gain: Estimate | None


@dataclass(frozen=True, kw_only=True, slots=True)
class TiltBand:
    """Tilts [deg] around the best one that lose less than a share of its energy; None where no end was found."""

    loss: float
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """The best setting of a lens that stands still, and by how much the scene's own one, if it has one, is below it."""

    setting: Setting
    absorbed: Estimate
    own: Setting | None
    shortfall: Estimate | None
    bands: tuple[TiltBand, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Tilt:
    """What is to be said about the tilt of this kind of mount. Energies in [J]; `aimed` is the lens kept aimed.

    `table_error` is that of the table by which settings were searched, a share of the aperture power (rms); the
    energies are from traces of their own.
    """

    standing: Standing | None
    seasonal: tuple[Effected, ...]
    aimed: Estimate | None
    reach: tuple[Reach, ...]
    table_error: float


def tilt_of(judge: Judge, scene: Scene, effort: Effort, *, seasons: bool) -> Tilt:
    """What is to be said about the tilt.

    Parameters
    ----------
    judge
        Scene file, hours and response table, by which settings are searched.
    scene
        The scene at its best lens height, whose traces give the energies.
    effort
        Hours and rays of each of them.
    seasons
        Whether seasonal tilts are looked at for a mount that both leans and swivels; for the others they always are.
    """
    mount = judge.scene_file.mount

    def energies(light: Sunlight, built: Mount) -> Floats:
        return absorbed_energies(scene, built, drawn(light, scene, effort, judge.guess(light)), effort)

    error = judge.table.error.where_lit
    if mount.kind == "fixed":
        return Tilt(standing=_standing(judge, energies), seasonal=(), aimed=None, reach=(), table_error=error)
    aimed = energies(judge.light(*aimed_settings(mount, judge.hours)), mount)
    found: tuple[Effected, ...] = ()
    still = None
    if seasons or mount.kind in {"tilt", "polar"}:
        plans = seasonal_tilts(judge, season_swivel(judge))
        rows = [energies(judge.light(plan.tilt, plan.swivel), mount) for plan in plans]
        found = tuple(
            Effected(
                name=SEASON_NAMES[len(plan.seasons)],
                seasons=plan.seasons,
                absorbed=estimate(row),
                gain=None if k == 0 else estimate(row - rows[k - 1]),
            )
            for k, (plan, row) in enumerate(zip(plans, rows, strict=True))
        )
        if mount.kind == "swivel-tilt":
            still = _standing(judge, energies)
    return Tilt(standing=still, seasonal=found, aimed=estimate(aimed), reach=reaches(judge), table_error=error)


Energies = Callable[[Sunlight, Mount], Floats]
"""Energy absorbed of the light on a mount, one estimate a replicate (replicates,) [J]."""


def _standing(judge: Judge, energies: Energies) -> Standing:
    """The best setting of a lens that stands still, its bands, and what the scene's own one loses."""
    mount = judge.scene_file.mount
    setting = best_setting(judge)
    best = energies(judge.light(*setting), standing(mount, setting))
    own, shortfall = None, None
    if mount.kind == "fixed" and mount.tilt is not None and mount.facing is not None:
        own = Setting(mount.tilt, mount.facing)
        shortfall = estimate(best - energies(judge.light(*own), mount))
    bands = _bands(judge, setting)
    return Standing(setting=setting, absorbed=estimate(best), own=own, shortfall=shortfall, bands=bands)


def _bands(judge: Judge, setting: Setting) -> tuple[TiltBand, ...]:
    """How far the tilt may be off, the swivel staying, from the response table; linear between tilts tried."""
    top = judge.total(*setting)
    if top <= 0.0:
        return tuple(TiltBand(loss=loss, low=None, high=None) for loss in LOSSES)
    ends: dict[tuple[float, int], float] = {}
    for way in (-1, 1):
        before, tilt = top, setting.tilt
        while abs(tilt - setting.tilt) < WIDEST_TURN and max(LOSSES) * top > top - before:
            tilt += way * TILT_STEP
            now = judge.total(tilt, setting.swivel)
            for loss in LOSSES:
                wanted = (1.0 - loss) * top
                if now < wanted <= before and (loss, way) not in ends:
                    ends[loss, way] = tilt - way * TILT_STEP * (wanted - now) / (before - now)
            before = now
    return tuple(TiltBand(loss=loss, low=ends.get((loss, -1)), high=ends.get((loss, 1))) for loss in LOSSES)
