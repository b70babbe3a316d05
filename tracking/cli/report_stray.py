"""The section of `focalrow report` on stray light."""

from tracking.cli.report_gather import More
from tracking.cli.report_more import names_of_axes
from tracking.cli.stray_table import COARSE, COVER, NOT_FOLLOWED
from tracking.paper.report import Section, Table
from tracking.paper.style import Picture
from tracking.scenefile import SceneFile
from tracking.stray.idle import IdlePath
from tracking.stray.thresholds import DEFAULT_THRESHOLD, LOWER_RISK, THRESHOLDS, band
from tracking.stray.walkoff import WALK_STEP, WATCHED, WalkOff, shortest


def stray_section(scene_file: SceneFile, more: More, date: str, pictures: tuple[Picture, ...]) -> Section:
    """Where the focus goes when nobody moves the lens."""
    title = "Stray light: a lens that nobody moves"
    found = more.idle
    if isinstance(found, str):
        words = (
            f"Left out: {found}. Cover the lens whenever nobody attends it.", *_walk_words(more.walks), NOT_FOLLOWED,
        )  # fmt: skip
        return Section(title=title, paragraphs=words)
    names = names_of_axes(scene_file)
    words = (
        (
            f"Left as it was last aimed the evening before ({names[0]} {found.setting.tilt:.1f} deg, {names[1]} "
            f"{found.setting.swivel:.1f} deg) and not touched on {date}; an instant each {found.step:g} min."
        ),
        _fire_words(found),
        *_walk_words(more.walks),
        COVER,
        NOT_FOLLOWED,
        COARSE,
    )
    lit = [each for each in found.faces if each.worst is not None]
    dark = [each.face.name for each in found.faces if each.worst is None]
    rows = tuple(
        (
            each.face.name,
            each.face.surrounding.material,
            f"{each.worst.flux / 1e3:.1f}",
            f"{each.worst.flux_error / 1e3:.1f}",
            f"{each.worst.time_local:%H:%M}",
            band(each.worst.flux),
        )
        for each in lit
        if each.worst is not None
    )
    tables = (
        Table(
            caption="Highest flux on each surface around [kW/m2]",
            heading=("Surface", "Material", "Peak", "+-", "At", "Reaches"),
            rows=rows,
        ),
    )
    return Section(
        title=title,
        paragraphs=words,
        bullets=(*([f"No light from the lens falls on: {'; '.join(dark)}."] if dark else []), *_thresholds()),
        tables=tables if rows else (),
        pictures=pictures,
        warning=True,
    )


def _thresholds() -> tuple[str, ...]:
    return tuple(
        f"From {each.flux / 1e3:g} kW/m2: {each.name}; exposure {each.exposure}. Source: {each.source}."
        for each in THRESHOLDS
    )


def _fire_words(found: IdlePath) -> str:
    spot = found.first_fire(DEFAULT_THRESHOLD)
    if spot is None:
        return (
            f"At none of these instants does a listed thing that burns see {DEFAULT_THRESHOLD / 1e3:g} kW/m2: "
            f"{LOWER_RISK}. Cover the lens all the same."
        )
    return (
        f"FIRE: {found.faces[spot.face].face.name} sees {spot.flux / 1e3:.1f} kW/m2 first at "
        f"{spot.time_local:%H:%M}; wood can ignite from {DEFAULT_THRESHOLD / 1e3:g} kW/m2 on."
    )


def _walk_words(walks: tuple[WalkOff, ...]) -> tuple[str, ...]:
    if not walks:
        return ()
    first, hours = shortest(walks), WATCHED.total_seconds() / 3600.0
    if first is None or first.fire is None:
        return (
            (
                f"If nobody comes after one of {len(walks)} settings of the day's plan, nothing listed that burns sees "
                f"{DEFAULT_THRESHOLD / 1e3:g} kW/m2 within {hours:g} h: {LOWER_RISK}. Cover the lens all the same."
            ),
        )
    return (
        (
            f"FIRE: if nobody comes after the setting that ends at {first.row.until:%H:%M}, "
            f"{first.path.faces[first.fire.face].face.name} sees {DEFAULT_THRESHOLD / 1e3:g} kW/m2 or more after "
            f"{first.minutes or 0.0:.0f} min: the shortest such time after {len(walks)} settings "
            f"spread over the day's plan, in steps of {WALK_STEP.total_seconds() / 60.0:g} min. "
            "focalrow stray --walk-off follows all settings."
        ),
    )
