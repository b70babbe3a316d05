"""What `focalrow stray` prints: as a table for people, as numbers for programs."""

from collections.abc import Iterator, Sequence
from typing import Any

from tracking.cli.scene_words import closing_sections, dni_source
from tracking.cli.tables import Column, bullets, number, paragraph, section, table
from tracking.scenefile import SceneFile
from tracking.stray.idle import FINE_STEP, FacePath, IdlePath, Spot
from tracking.stray.stretch import DAYS_APART
from tracking.stray.thresholds import BANDS, LOWER_RISK, THRESHOLDS, Band, band, band_of, skin_seconds

COVER = (
    "'lower risk' is no promise: these figures come from a model that does not know your lens, your surroundings, or "
    "who walks by. Cover the lens whenever nobody attends it."
)

PLACES = (
    "Places are counted from the middle of a surface along its own two sides; --json tells them to the east, north and "
    "up from the middle of the row too. The sides of a box are named by its own directions a, b, c and whether they "
    "lie towards (+) or against (-) them."
)

COARSE = (
    "With so long a step the focal line jumps over spots between two instants: the peaks are those of the instants, "
    "but times above a threshold, and maps, are coarse. A --step of 2 min joins them up."
)

EACH_DAY = (
    f"Each day traced stands for {DAYS_APART}: through the whole year a spot sees so much about {DAYS_APART} times as "
    "long."
)

REFINED = (
    f"The year is traced on every {DAYS_APART}th day; then the peak of each surface that sees 1 kW/m2 or more is "
    "looked for on the days and minutes around its worst instant. A peak that lasts some minutes on a few days of the "
    "year, far from all days traced, may be missed."
)

NOT_FOLLOWED = (
    "Followed is light that passes the lens, from its front or from behind, to the first thing that it meets: a lens "
    "with its back to the sun makes a focus too, on its other side. Not followed: direct sun beside the lens, light "
    "thrown back upward, reflections from tubes, tiles and metal. Things cast no shadow: what stands between lens and "
    "tubes is shown with all the light that it meets, and the tubes get it all the same."
)


def table_text(
    scene_file: SceneFile, found: IdlePath, days: str, missing_tube: int | None, more: Sequence[str], *, width: int
) -> str:
    """The table, with the sections `more` before the thresholds."""
    broken = "" if missing_tube is None else f" Tube {missing_tube} is taken out of the row."
    head = (
        f"A lens that nobody moves, at tilt {found.setting.tilt:.2f} deg and swivel {found.setting.swivel:.2f} deg, "
        f"through {days}, an instant each {found.step:g} min, local clock time of {scene_file.site.timezone}; "
        f"{found.lit} instants have the sun on the lens, before or behind it.{broken} DNI {dni_source(scene_file)}. "
        f"{found.rays} rays each instant; flux is the mean over patches of at most 10 mm by 10 mm."
    )
    lit = [each for each in found.faces if each.worst is not None]
    dark = [each.face.name for each in found.faces if each.worst is None]
    parts = [
        section("Where the focus goes", paragraph(head, width=width), "", _first_fire(found, width)),
        section("Highest flux on each surface", _faces(lit, width) if lit else "The focus meets none."),
    ]
    if dark:
        parts.append(paragraph(f"No light from the lens falls on: {'; '.join(dark)}.", width=width))
    if lit:
        words = [paragraph(EACH_DAY, width=width), ""] if found.refined else []
        parts.append(
            section(
                "Longest time that one spot sees more than a threshold, over all instants traced",
                *words, _minutes(lit, width),
            )
        )  # fmt: skip
    parts += more
    parts.append(section("Bands of flux", bullets(band_words(), width=width)))
    remarks = [COVER, PLACES, NOT_FOLLOWED, *([COARSE] if found.step > FINE_STEP else [])]
    if found.refined:
        remarks.append(REFINED)
    return "\n\n".join([*parts, *closing_sections(scene_file, remarks, width=width)])


def band_words() -> Iterator[str]:
    """The bands in sentences, with the exposure for which each holds and where that is written."""
    lowest = BANDS[0]
    yield f"below {(lowest.high or 0.0) / 1e3:g} kW/m2: {lowest.name}, never no risk. Cover the lens all the same."
    for each, threshold in zip(BANDS[1:], THRESHOLDS, strict=True):
        yield (f"{band_range(each)} kW/m2: {each.name}; exposure {threshold.exposure}. Source: {threshold.source}.")


def band_range(each: Band) -> str:
    """A band's ends [kW/m2]."""
    if each.high is None:
        return f"from {each.low / 1e3:g}"
    return f"{each.low / 1e3:g} to {each.high / 1e3:g}"


def _first_fire(found: IdlePath, width: int) -> str:
    least = next(each for each in THRESHOLDS if each.harms == "burns")
    spot = found.first_fire(least.flux)
    if spot is None:
        text = (
            f"At none of these instants does a listed thing that burns see {least.flux / 1e3:g} kW/m2: {LOWER_RISK}. "
            "Cover the lens all the same."
        )
    else:
        text = (
            f"FIRE: {found.faces[spot.face].face.name} sees {spot.flux / 1e3:.1f} kW/m2 first at "
            f"{spot.time_local:%Y-%m-%d %H:%M}; wood can ignite from {least.flux / 1e3:g} kW/m2 on."
        )
    return paragraph(text, width=width)


def _faces(lit: list[FacePath], width: int) -> str:
    worst = [each.worst for each in lit if each.worst is not None]
    return table(
        Column(heading=("surface",), cells=tuple(each.face.name for each in lit), left=True),
        [
            [Column(heading=("material",), cells=tuple(each.face.surrounding.material for each in lit), left=True)],
            [
                Column(heading=("peak", "kW/m2"), cells=tuple(number(each.flux / 1e3, 1) for each in worst)),
                Column(heading=("+-", "kW/m2"), cells=tuple(number(each.flux_error / 1e3, 1) for each in worst)),
            ],
            [Column(heading=("when", ""), cells=tuple(f"{each.time_local:%d %b %H:%M}" for each in worst), left=True)],
            [
                Column(heading=(*words, "m"), cells=tuple(number(each.place[k], 2) for each in worst))
                for k, words in enumerate((("along", "side a"), ("along", "side b")))
            ],
            [Column(heading=("most", "W"), cells=tuple(number(each.power, 0) for each in lit))],
            [
                Column(heading=("band", "kW/m2"), cells=tuple(band_range(band_of(each.flux)) for each in worst)),
                Column(heading=("which reads",), cells=tuple(band(each.flux) for each in worst), left=True),
            ],
        ],
        width=width,
    )  # fmt: skip


def _minutes(lit: list[FacePath], width: int) -> str:
    return table(
        Column(heading=("surface",), cells=tuple(each.face.name for each in lit), left=True),
        [
            [
                Column(heading=(f">{each.flux / 1e3:g}", "min"), cells=tuple(number(f.minutes[k], 0) for f in lit))
                for k, each in enumerate(THRESHOLDS)
            ]
        ],
        width=width,
    )


def json_object(scene_file: SceneFile, found: IdlePath, days: str, missing_tube: int | None) -> dict[str, Any]:
    """The same numbers for programs."""
    return {
        "scene": str(scene_file.path),
        "days": days,
        "tilt_deg": found.setting.tilt,
        "swivel_deg": found.setting.swivel,
        "step_min": found.step,
        "rays_per_instant": found.rays,
        "instants_lit": found.lit,
        "peaks_refined": found.refined,
        "each_day_stands_for_days": DAYS_APART if found.refined else 1,
        "missing_tube": missing_tube,
        "caution": COVER,
        "thresholds": [
            {"name": t.name, "flux_w_m2": t.flux, "exposure": t.exposure, "harms": t.harms, "source": t.source}
            for t in THRESHOLDS
        ],
        "surfaces": [
            {
                "name": each.face.surrounding.name,
                "side": each.face.side,
                "material": each.face.surrounding.material,
                "burns": each.face.surrounding.burns,
                "most_power_w": each.power,
                "minutes_above": list(each.minutes),
                "worst": None if each.worst is None else _spot(each.worst),
                "track": [_spot(spot) for spot in each.spots],
            }
            for each in found.faces
        ],
    }


def _spot(spot: Spot) -> dict[str, Any]:
    seconds = skin_seconds(spot.flux)
    return {
        "time_local": spot.time_local.isoformat(),
        "peak_flux_w_m2": spot.flux,
        "peak_flux_standard_error_w_m2": spot.flux_error,
        "east_north_up_from_row_m": list(spot.point),
        "place_from_middle_of_side_m": list(spot.place),
        "centre_of_light_from_middle_of_side_m": list(spot.centre),
        "reaches": band(spot.flux),
        "band_w_m2": [band_of(spot.flux).low, band_of(spot.flux).high],
        "skin_pain_s": None if seconds is None else seconds[0],
        "skin_burn_s": None if seconds is None else seconds[1],
    }
