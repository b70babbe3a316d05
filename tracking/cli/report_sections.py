"""What `focalrow report` says: the sections of its page, from the numbers of trace, day and pictures."""

import hashlib
from dataclasses import dataclass
from typing import Any

from raytrace.response import ResponseTable
from raytrace.result import LEDGER_ENTRIES, Estimate
from tracking.cli.cautions import CAUTIONS
from tracking.cli.day_numbers import slope_of
from tracking.cli.day_table import remarks, sun_words
from tracking.cli.light_numbers import Light
from tracking.cli.report_gather import More
from tracking.cli.report_more import (
    height_section,
    held,
    moves_section,
    names_of_axes,
    surely_worse,
    wrong_way_section,
    year_section,
)
from tracking.cli.report_stray import stray_section
from tracking.cli.scene_words import dni_source, lens_words, tubes_words
from tracking.energy.boiler import LIMITS
from tracking.energy.fit.result import Fit
from tracking.paper.light_figures import ENTRY_WORDS
from tracking.paper.report import Section, Table
from tracking.paper.style import Picture
from tracking.paper.sun_figures import band_words
from tracking.plans.day import JOULES_PER_KWH, Day
from tracking.plans.moves import MovesPlan
from tracking.scenefile import SceneFile


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """All that the page is made from."""

    light: Light
    table: ResponseTable
    plan: Day
    moves: MovesPlan | None
    more: More
    pictures: tuple[Picture, ...]
    machine: dict[str, Any]
    command: str
    version: str
    seed: int

    @property
    def scene_file(self) -> SceneFile:
        """The scene that the page is about."""
        return self.light.scene_file


def sections(told: Told) -> tuple[Section, ...]:
    """The page from top to bottom."""
    return (
        Section(title="Cautions", bullets=CAUTIONS, warning=True),
        _job(told),
        _light(told),
        height_section(told.scene_file, told.more.fit, _heights_of_days(told), _named(told, "heights")),
        wrong_way_section(told.scene_file, told.more.year.year, told.more.wrong_way),
        _day(told),
        moves_section(told.scene_file, told.moves, told.more),
        year_section(told.scene_file, told.more.year, _starting(told, "year_")),
        stray_section(told.scene_file, told.more, told.plan.date.isoformat(), _starting(told, "stray")),
        _machine(told),
        _uncertainty(told),
        _scene(told),
        _again(told),
    )


def _named(told: Told, *names: str) -> tuple[Picture, ...]:
    return tuple(picture for name in names for picture in told.pictures if picture.name == name)


def _starting(told: Told, start: str) -> tuple[Picture, ...]:
    return tuple(picture for picture in told.pictures if picture.name.startswith(start))


def _job(told: Told) -> Section:
    scene_file, trace = told.scene_file, told.light.trace
    site = scene_file.site
    return Section(
        title="The job",
        paragraphs=(
            (
                f"At {site.name or 'the site'} ({_degrees(site.latitude, 'north', 'south')}, "
                f"{_degrees(site.longitude, 'east', 'west')}) a flat linear Fresnel lens on a {scene_file.mount.kind} "
                f"mount draws sunlight onto {'one tube' if scene_file.scene.tubes.count == 1 else 'a row of tubes'}. "
                f"{lens_words(scene_file)} {tubes_words(scene_file)}"
            ),
            (
                f"Of the aperture power {100 * trace.absorbed_fraction.value:.1f} % is absorbed in the light described "
                f"below; on {told.plan.date.isoformat()} the lens can bring "
                f"{told.plan.totals.absorbed / JOULES_PER_KWH:.2f} kWh into the tubes, {held(scene_file)} all day."
            ),
        ),
    )


def _degrees(angle: float, positive: str, negative: str) -> str:
    return f"{abs(angle):g} deg {positive if angle >= 0.0 else negative}"


def _light(told: Told) -> Section:
    light, trace = told.light, told.light.trace
    power = light.aperture_power

    def line(words: str, found: Estimate) -> tuple[str, ...]:
        share, error = found.value, found.standard_error
        return (words, f"{100 * share:.3f}", f"{100 * error:.3f}", f"{power * share:.2f}", f"{power * error:.2f}")

    tubes = tuple(
        (
            str(k),
            f"{100 * tube.intercepted_fraction.value:.2f}",
            f"{power * tube.absorbed_fraction.value:.1f}",
            f"{power * tube.absorbed_fraction.standard_error:.2f}",
            f"{tube.peak_flux_ratio * light.sunlight.dni / 1e3:.1f}",
        )
        for k, tube in enumerate(trace.tubes, start=1)
    )
    ledger = tuple((ENTRY_WORDS[name], f"{100 * getattr(trace.ledger, name):.2f}") for name in LEDGER_ENTRIES)
    return Section(
        title="One trace: power and focal line",
        paragraphs=(
            (
                f"Sun {trace.transversal_angle:.2f} deg across the grooves and {trace.longitudinal_angle:.2f} deg "
                f"along them; {trace.rays:,} rays, seed {trace.seed}. {light.sunlight.pose_words} "
                f"{light.sunlight.dni_words} Aperture power: {power:.1f} W."
            ),
        ),
        tables=(
            Table(
                caption="Shares of the aperture power, with one standard error",
                heading=("Share", "%", "+- %", "W", "+- W"),
                rows=(
                    line("reaches the absorbers", trace.intercepted_fraction),
                    line("absorbed", trace.absorbed_fraction),
                ),
            ),
            Table(
                caption="Each tube, in order along the row",
                heading=("Tube", "Reached by %", "Absorbed W", "+- W", "Peak kW/m2"),
                rows=tubes,
            ),
            Table(caption="Where the aperture power goes", heading=("Entry", "%"), rows=ledger),
        ),
        pictures=_named(told, "section", "focal-line", "flux-maps", "flux-rings", "ledger", "efficiency"),
    )


def _heights_of_days(told: Told) -> Table:
    found = next(picture for picture in told.pictures if picture.name == "heights").numbers
    here = told.scene_file.scene.lens_height
    bands = [band_words(band, found["lens_height_m"]).removeprefix("best ") for band in found["band_m"]]
    nearest = min(range(len(found["lens_height_m"])), key=lambda k: abs(found["lens_height_m"][k] - here))
    return Table(
        caption="Lens height for the most energy of a day, from sums over full hours, coarser than the day below",
        heading=("Day", "Within 1 % of the most", "Most [kWh]", f"At {1e3 * here:.0f} mm [kWh]"),
        rows=tuple(
            (date, band, f"{max(energy):.2f}", f"{energy[nearest]:.2f}")
            for date, band, energy in zip(found["dates"], bands, found["absorbed_kwh"], strict=True)
        ),
    )


def _day(told: Told) -> Section:
    plan = told.plan
    rows = []
    for entry in plan.instants:
        aim = entry.instant.aim
        if aim is None:
            continue
        slope = slope_of(entry)
        rows.append(
            (
                f"{entry.instant.time_local:%H:%M}",
                f"{entry.instant.solar_azimuth:.0f}",
                f"{entry.instant.solar_elevation:.0f}",
                f"{aim.setting.tilt:.1f}",
                f"{aim.setting.swivel:.1f}",
                "-" if slope is None else f"{slope:.1f}",
                f"{entry.powers.absorbed:.0f}",
                f"{entry.powers.absorbed_standard_error:.2f}",
            )
        )
    offsets = sorted({f"UTC{e.instant.time_local:%z}" for e in plan.instants})
    totals = plan.totals
    axes = tuple(name.capitalize() for name in names_of_axes(told.scene_file))
    return Section(
        title=f"The day, {held(told.scene_file)}: {plan.date.isoformat()}",
        paragraphs=(
            f"Local wall clock, {' and '.join(offsets)}." if offsets else "Local wall clock.",
            (
                f"Sums of the day: aperture {totals.aperture / JOULES_PER_KWH:.2f} kWh, absorbed "
                f"{totals.absorbed / JOULES_PER_KWH:.2f} kWh, aimed for {totals.hours_aimed:.1f} h."
            ),
            *sun_words(told.scene_file, plan),
        ),
        bullets=tuple(remarks(plan)),
        tables=(
            Table(
                caption="Azimuth and height of the sun, settings that aim at it, tube slope [deg]; power absorbed",
                heading=("Time", "Azimuth", "Height", *axes, "Tube slope", "Power W", "+- W"),
                rows=tuple(rows),
            ),
        )
        if rows
        else (),
        pictures=_named(told, "sun-and-reach"),
    )


def _machine(told: Told) -> Section:
    rows = tuple(
        (
            solid["name"],
            f"{1e3 * solid['volume_m3']:.3f}",
            "not known" if solid["mass_kg"] is None else f"{solid['mass_kg']:.2f}",
        )
        for solid in told.machine["solids"]
    )
    return Section(
        title="Volumes and masses",
        paragraphs=(
            "Arms and base are stand-ins of a drawing, absorbers are full rods: a scene does not describe their walls.",
        ),
        tables=(Table(caption="Bodies", heading=("Body", "Volume [litres]", "Mass [kg]"), rows=rows),),
    )


def _uncertainty(told: Told) -> Section:
    trace, more = told.light.trace, told.more
    line, fit, year = trace.focal_line, told.more.fit, told.more.year
    width = (
        "no light"
        if line.standard_error_w90 is None or line.w90 is None
        else f"{1e3 * line.standard_error_w90:.2f} mm of {1e3 * line.w90:.1f} mm"
    )
    heights = next(picture for picture in told.pictures if picture.name == "heights").numbers
    by_table = f"{100.0 * told.table.error.where_lit:.2g} % of the aperture power, rms against traces at random angles"
    return Section(
        title="How sure each number is",
        paragraphs=(
            (
                "These are the errors of the calculation alone. What the scene says about lens, focal length, dirt, "
                "sag and sky is not known that well: change a value by what you doubt of it, and run again."
            ),
            "The boiler's model has limits of its own:",
        ),
        bullets=LIMITS,
        tables=(
            Table(
                caption="One standard error, from independent replicates where nothing else is said",
                heading=("Number", "Error"),
                rows=(
                    ("share that reaches the absorbers", _of_aperture(trace.intercepted_fraction)),
                    ("share absorbed", _of_aperture(trace.absorbed_fraction)),
                    ("power of each tube in the one trace", "beside it in its table"),
                    ("entries of the one trace's ledger", f"about that of the share absorbed; {trace.rays:,} rays"),
                    (
                        "peak flux on a tube",
                        "not estimated; one half of the rays picks the patch, the other tells its flux",
                    ),
                    ("w90 of the focal line", width),
                    ("power at an instant, energy of the day", f"from the response table: {by_table}"),
                    ("energy of the plan of moves", "the same; its differences from perfect aiming are smaller"),
                    ("best lens height over the year", "no light" if fit is None else _height_error(fit)),
                    ("energy absorbed at each of these heights, on either side of the sheet", "beside it in its table"),
                    ("energy over height on single days", f"not estimated; {heights['rays_each']} rays each full hour"),
                    ("absorbed energy of the year", f"from the response table: {by_table}"),
                    ("ledger of the year", f"not estimated; coarse traces: {year.ledger_traces}"),
                    ("distillate, temperatures, times to fill", "not estimated: see the limits above"),
                    ("flux of stray light", _stray_error(more)),
                    ("volumes and masses", "none: from the drawn shapes alone"),
                    ("DNI", f"{dni_source(told.scene_file)}; no error is known"),
                ),
            ),
        ),
    )


def _height_error(fit: Fit) -> str:
    return f"{1e3 * fit.height.height.standard_error:.1f} mm. {surely_worse(fit.height)}"


def _stray_error(more: More) -> str:
    return "left out" if isinstance(more.idle, str) else "beside it in its table, for a patch of 10 mm by 10 mm"


def _of_aperture(found: Estimate) -> str:
    return f"{100 * found.standard_error:.3f} % of the aperture power"


def _scene(told: Told) -> Section:
    scene_file = told.scene_file
    values = {value.key: value for value in (*scene_file.values, *scene_file.boiler_values)}.values()
    return Section(
        title="The scene as understood",
        paragraphs=(f"Read from {scene_file.path}.",),
        bullets=scene_file.notes,
        tables=(
            Table(
                caption="Every value, and whether it stands in the file or was taken as default",
                heading=("Key", "Value with its unit", "From"),
                rows=tuple((v.key, v.text, "default" if v.from_default else "file") for v in values),
            ),
        ),
    )


def _again(told: Told) -> Section:
    digest = hashlib.sha256(told.scene_file.path.read_bytes()).hexdigest()
    return Section(
        title="How to run it again",
        paragraphs=(
            (
                f"focalrow {told.version}, seed {told.seed}; SHA-256 of the scene file: {digest}. The same version, "
                "scene, seed and command give the same numbers."
            ),
        ),
        typed=told.command,
    )
