"""What `focalrow report` works out beside the pictures: best height and tilt, year, stray light, printed sheets."""

import datetime as dt
from dataclasses import dataclass, replace

from raytrace.response import ResponseTable
from tracking.energy.fit.result import Fit
from tracking.energy.fit.sample import Effort
from tracking.energy.fit.wrong_way_span import WrongWaySpan, wrong_way_span
from tracking.energy.year import Year
from tracking.errors import InputError
from tracking.plans.moves import MovesPlan
from tracking.scenefile import SceneFile
from tracking.stray.idle import IdlePath, Progress
from tracking.stray.walkoff import WalkOff

YEAR_STEP = dt.timedelta(hours=1)
STRAY_STEP = dt.timedelta(minutes=5)
STRAY_RAYS = 1 << 15
WALK_RAYS = 1 << 12
"""Few, and so noisy that they rather find too many spots: each that may burn is looked at again by more rays."""
MOST_WALKS = 20
"""Settings of a plan that are followed, spread over the day, where there are more of them."""
FIT_DRAWS, FIT_RAYS = 6, 1 << 12
"""Hours that each replicate draws for a lens height, and rays for each: a quarter of what `focalrow fit` takes."""


@dataclass(frozen=True, kw_only=True, slots=True)
class More:
    """What was found. `idle` is the reason in words where the pose that is left in the evening is not known.

    `fit` and `wrong_way` are None where no light reaches the tubes in the year. `sheets` holds PDF files by name;
    `no_sheets` says why there are none. `walks` is empty without a plan of moves.
    """

    fit: Fit | None
    wrong_way: WrongWaySpan | None
    year: Year
    idle: IdlePath | str
    walks: tuple[WalkOff, ...]
    sheets: dict[str, bytes]
    no_sheets: str


class Steps:
    """Shares of the work, one after the other, told as one."""

    def __init__(self, progress: Progress | None) -> None:
        self.progress, self.at = progress, 0.0

    def part(self, share: float) -> Progress | None:
        """Progress of the next part, which is this share of the whole."""
        start, tell = self.at, self.progress
        self.at = min(1.0, start + share)
        if tell is None:
            return None
        tell(start)
        return lambda done: tell(min(1.0, start + share * done))


def gathered(
    scene_file: SceneFile,
    date: dt.date,
    table: ResponseTable,
    moves: MovesPlan | None,
    *,
    language: str,
    seed: int,
    progress: Progress | None,
) -> More:
    """Work it all out; `moves` is the plan of moves of the day `date`, None where there is none."""
    from tracking.energy.year import year_of

    steps = Steps(progress)
    effort = Effort(draws=FIT_DRAWS, rays=FIT_RAYS, seed=seed)
    fit = _fit(scene_file, date.year, table, effort, steps.part(0.3))
    cost = None if fit is None else wrong_way_span(scene_file, fit, effort, progress=steps.part(0.2))
    steps.part(0.2)
    year = year_of(scene_file, date.year, YEAR_STEP, table)
    idle = _idle(scene_file, date, steps.part(0.1))
    walks = _walks(scene_file, moves, steps.part(0.2))
    sheets, no_sheets = _sheets(scene_file, table, moves, walks, language)
    return More(fit=fit, wrong_way=cost, year=year, idle=idle, walks=walks, sheets=sheets, no_sheets=no_sheets)


def _fit(
    scene_file: SceneFile, year: int, table: ResponseTable, effort: Effort, progress: Progress | None
) -> Fit | None:
    """The best height over the year for a lens kept aimed, and the tilt at the scene's own height.

    The tilt is searched in the scene's own response table: one at the best height would take as long again.
    """
    from tracking.energy.fit.fit import fit_of
    from tracking.energy.fit.hours import Span, hours_of
    from tracking.energy.fit.judge import Judge
    from tracking.energy.fit.tilt import tilt_of

    span = Span(year=year)
    fit = fit_of(
        scene_file, span, table_of=lambda _scene, _tell: table, with_tilt=False, effort=effort, progress=progress
    ).fit
    if fit.height.absorbed.value <= 0.0:
        return None
    judge = Judge(scene_file, hours_of(scene_file, span), table)
    return replace(fit, tilt=tilt_of(judge, scene_file.scene, effort, seasons=False))


def _idle(scene_file: SceneFile, date: dt.date, progress: Progress | None) -> IdlePath | str:
    from tracking.stray.idle import idle_path
    from tracking.stray.stretch import day_times, idle_setting

    try:
        setting = idle_setting(scene_file, date, None, None)
    except InputError as error:
        return error.problem
    times = day_times(scene_file.site, date, STRAY_STEP)
    return idle_path(scene_file, setting, times, step=STRAY_STEP, rays=STRAY_RAYS, progress=progress)


def _walks(scene_file: SceneFile, moves: MovesPlan | None, progress: Progress | None) -> tuple[WalkOff, ...]:
    """What happens after settings of the plan if nobody comes back, as far as it may tell the soonest fire."""
    from tracking.stray.thresholds import DEFAULT_THRESHOLD
    from tracking.stray.walkoff import rows_of, walk_offs

    if moves is None:
        return ()
    count = len(moves.stretches)
    # With the first and the last: the sun is lowest there.
    chosen = sorted({round(k * (count - 1) / (MOST_WALKS - 1)) for k in range(MOST_WALKS)}) if count else []
    rows = rows_of([moves.stretches[k] for k in chosen])
    return walk_offs(scene_file, rows, DEFAULT_THRESHOLD, rays=WALK_RAYS, soonest_only=True, progress=progress)


def _on_sheet(soonest: WalkOff | None, *, all_followed: bool) -> float | None:
    """Shortest time to a fire [min]; a step earlier where a setting between those followed might be sooner."""
    from tracking.stray.walkoff import WALK_STEP

    if soonest is None or soonest.minutes is None:
        return None
    return soonest.minutes if all_followed else max(0.0, soonest.minutes - WALK_STEP.total_seconds() / 60.0)


def _sheets(
    scene_file: SceneFile,
    table: ResponseTable,
    moves: MovesPlan | None,
    walks: tuple[WalkOff, ...],
    language: str,
) -> tuple[dict[str, bytes], str]:
    """The printed sheet of the day on both papers, and why there is none."""
    from tracking.paper.sheet import MissingGlyphError, SheetInput, pdf_bytes, sheet_pages
    from tracking.plans.marks import MINUTE
    from tracking.plans.validity import valid_days
    from tracking.sky.magnetic import magnetic_declination
    from tracking.sky.sunpath import clock_multiples, sun_path
    from tracking.stray.walkoff import shortest

    if moves is None:
        return {}, "no printed sheet: nothing is aimed on this day"
    try:
        declination = magnetic_declination(scene_file.site, moves.date)
    except ValueError:  # beyond the model's years: the sheet says so
        declination = None
    soonest = shortest(walks)
    data = SheetInput(
        scene_file=scene_file,
        plan=moves,
        path=sun_path(scene_file.site, clock_multiples(scene_file.site.zone, moves.date, MINUTE)),
        valid=valid_days(scene_file, table, moves),
        declination=declination,
        watched=bool(scene_file.surroundings and walks),
        walk_off=_on_sheet(soonest, all_followed=len(walks) == len(moves.stretches)),
    )
    title = f"{scene_file.site.name} {moves.date.isoformat()}".strip()
    try:
        return {
            f"sheet-{paper}.pdf": pdf_bytes(
                sheet_pages(data, paper=paper, language=language), title=title, date=moves.date
            )
            for paper in ("A4", "Letter")
        }, ""
    except MissingGlyphError as error:
        return {}, f"no printed sheet: {error}"
