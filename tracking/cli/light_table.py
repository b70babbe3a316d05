"""What `focalrow light` found, as a text for people."""

import math

from raytrace.result import Estimate
from tracking.cli.light_numbers import Light
from tracking.cli.scene_words import closing_sections, lens_words, tubes_words
from tracking.cli.tables import Column, bullets, number, paragraph, section, table

STRAY_LIGHT_RATIO = 3.0
"""A width that is more than this many times the full width at half maximum lies in stray light."""

LEDGER_WORDS = {
    "reflected_lens": "reflected by the lens",
    "absorbed_lens": "absorbed in the lens, and by dirt or haze on it",
    "upward_lens": "sent back upward by the lens",
    "edge_lens": "out through the edge of the lens",
    "trapped_lens": "trapped in the lens",
    "missed": "missed every tube",
    "envelope": "lost in the glass around the tubes",
    "reflected_absorber": "reflected by the absorbers",
    "absorbed": "absorbed: heat in the tubes",
}


def table_text(answer: Light, *, width: int) -> str:
    """The numbers for people."""
    sunlight, trace, scene_file = answer.sunlight, answer.trace, answer.scene_file
    incidence = math.degrees(math.acos(min(1.0, sunlight.cosine)))
    opening = [
        (
            f"Sun {sunlight.transversal:.2f} deg across the grooves and {sunlight.longitudinal:.2f} deg along them, "
            f"{incidence:.2f} deg off the lens normal. {sunlight.pose_words}"
        ),
        sunlight.dni_words,
        f"Aperture power: {answer.aperture_power:.1f} W, which is DNI x width x length x cos(incidence angle).",
        lens_words(scene_file),
        tubes_words(scene_file),
        f"{trace.rays:,} rays ran, seed {trace.seed}; +- is one standard error, from independent replicates.",
    ]
    sections = [
        section(f"One trace through {scene_file.path}", *(paragraph(text, width=width) for text in opening)),
        section(
            f"Power on the tubes, at a DNI of {sunlight.dni:.0f} W/m2",
            _tube_table(answer, width),
            _factors(answer, width),
        ),
        section(
            "The focal line, in the plane of the tubes' axes with the tubes taken away", _focal_line(answer, width)
        ),
        section("Where the light on the aperture goes", _ledger(answer, width)),
    ]
    return "\n\n".join([*sections, *closing_sections(scene_file, _remarks(answer), width=width)])


def _tube_table(answer: Light, width: int) -> str:
    power, trace = answer.aperture_power, answer.trace
    rows = list(trace.tubes)
    whole = len(rows) > 1

    def column(heading: tuple[str, ...], cells: list[str], total: str) -> Column:
        return Column(heading=heading, cells=(*cells, total) if whole else tuple(cells))

    return table(
        column(("tube",), [str(k + 1) for k in range(len(rows))], "all"),
        [
            [
                column(
                    ("absorbed", "W"),
                    [number(power * tube.absorbed_fraction.value, 1) for tube in rows],
                    number(power * trace.absorbed_fraction.value, 1),
                ),
                column(
                    ("+-", "W"),
                    [number(power * tube.absorbed_fraction.standard_error, 2) for tube in rows],
                    number(power * trace.absorbed_fraction.standard_error, 2),
                ),
                column(
                    ("of aperture", "power, %"),
                    [number(100.0 * tube.absorbed_fraction.value, 2) for tube in rows],
                    number(100.0 * trace.absorbed_fraction.value, 2),
                ),
            ],
            [
                column(
                    ("reaching the", "absorber, W"),
                    [number(power * tube.intercepted_fraction.value, 1) for tube in rows],
                    number(power * trace.intercepted_fraction.value, 1),
                ),
                column(
                    ("peak flux", "kW/m2"),
                    [number(answer.sunlight.dni * tube.peak_flux_ratio / 1e3, 1) for tube in rows],
                    number(answer.sunlight.dni * max(tube.peak_flux_ratio for tube in rows) / 1e3, 1),
                ),
            ],
        ],
        width=width,
    )


def _factors(answer: Light, width: int) -> str:
    trace = answer.trace

    def percent(estimate: Estimate) -> str:
        return f"{100.0 * estimate.value:.2f} % (+- {100.0 * estimate.standard_error:.3f})"

    return "\n" + paragraph(
        f"Of the aperture power {percent(trace.intercepted_fraction)} reaches the absorbers and "
        f"{percent(trace.absorbed_fraction)} is absorbed; of the light that leaves the lens downward "
        f"{percent(trace.intercept_factor)} reaches the absorbers. Tubes are counted along the row. Peak flux: highest "
        f"mean over a patch of 5 deg by 10 mm of an absorber.",
        width=width,
    )


def _focal_line(answer: Light, width: int) -> str:
    line = answer.trace.focal_line
    if line.w50 is None or line.w90 is None or line.w95 is None or line.centroid is None:
        return "No light arrives there."
    diameter = answer.scene_file.scene.tubes.absorber_diameter
    error = "" if line.standard_error_w90 is None else f" (+- {line.standard_error_w90 * 1e3:.2f})"
    half = "" if line.fwhm is None else f"{line.fwhm * 1e3:.1f} mm full width at half maximum; "
    facts = [
        (
            f"Widths: {half}50 % of the light within {line.w50 * 1e3:.1f} mm, 90 % within "
            f"{line.w90 * 1e3:.1f} mm{error}, 95 % within {line.w95 * 1e3:.1f} mm."
        ),
        f"Centre of the light: {number(line.centroid * 1e3, 1)} mm from the middle, across the grooves.",
    ]
    if line.share_within_absorber_diameter is not None:
        facts.append(
            f"Share of the light within one absorber diameter ({diameter * 1e3:g} mm) either side of the centre: "
            f"{100.0 * line.share_within_absorber_diameter:.1f} %."
        )
    stray = [
        f"{name} %"
        for name, value in (("90", line.w90), ("95", line.w95))
        if line.fwhm is not None and value > STRAY_LIGHT_RATIO * line.fwhm
    ]
    if stray:
        facts.append(
            f"The width for {' and '.join(stray)} is more than {STRAY_LIGHT_RATIO:g} times the full width at half "
            f"maximum: it lies in stray light, far outside the bright line, and says little about the line itself."
        )
    return bullets(facts, width=width) if len(facts) > 1 else paragraph(facts[0], width=width)


def _ledger(answer: Light, width: int) -> str:
    shares = {words: getattr(answer.trace.ledger, name) for name, words in LEDGER_WORDS.items()}
    shares["in all"] = answer.trace.ledger.total()
    return table(
        Column(heading=("fate",), cells=tuple(shares), left=True),
        [
            [
                Column(heading=("%",), cells=tuple(number(100.0 * share, 2) for share in shares.values())),
                Column(
                    heading=("W",), cells=tuple(number(answer.aperture_power * share, 1) for share in shares.values())
                ),
            ]
        ],
        width=width,
    )


def _remarks(answer: Light) -> list[str]:
    if answer.trace.target_reached is False:
        return [
            (
                f"The target error was not reached: after {answer.trace.rays:,} rays, the most there are, the standard "
                f"error of the intercepted fraction is {answer.trace.intercepted_fraction.standard_error:.2g}."
            )
        ]
    return []
