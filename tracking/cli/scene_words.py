"""What every command says about a scene: its file, its place, the values that were taken as default, its notes."""

import contextlib
from collections.abc import Iterator
from pathlib import Path

from tracking.cli.cautions import CAUTIONS
from tracking.cli.tables import bullets, paragraph, section
from tracking.errors import InputError
from tracking.scenefile import SceneFile


def closing_sections(scene_file: SceneFile, remarks: list[str], *, width: int) -> list[str]:
    """The sections at the end of every printed table: remarks, defaults, cautions."""
    sections = []
    notes = [*remarks, *scene_file.notes]
    if notes:
        sections.append(section("Remarks", bullets(notes, width=width)))
    defaults = [f"{value.key} = {value.text}" for value in scene_file.values if value.from_default]
    if defaults:
        sections.append(
            section("Taken as default, as the scene does not name them", paragraph("; ".join(defaults), width=width))
        )
    sections.append(section("Cautions", bullets(CAUTIONS, width=width)))
    return sections


def dni_source(scene_file: SceneFile) -> str:
    """Where the DNI of an instant comes from, in words."""
    source = scene_file.sky.source
    if source == "clear":
        return "from a model of the clear sky, not a forecast: clouds and haze take from it"
    if source == "constant":
        return "the same at every instant, as the scene says"
    return f"from the weather file {scene_file.sky.file}"


def lens_words(scene_file: SceneFile) -> str:
    """The sheet in a sentence, with the groove pitch that is really used."""
    from raytrace.lens import groove_pitch_used

    lens = scene_file.scene.lens
    used = groove_pitch_used(lens)
    pitch = f"groove pitch {used * 1e3:.4g} mm"
    if abs(used - lens.groove_pitch) > PITCH_TOLERANCE * lens.groove_pitch:
        pitch += f" ({lens.groove_pitch * 1e3:.4g} mm in the scene; a whole number of grooves has to fill each half)"
    wrong_way = "" if lens.cut_for == lens.grooves_toward else f", though cut for grooves toward the {lens.cut_for}"
    return (
        f"Lens: {lens.width * 1e3:g} mm across the grooves, {lens.length * 1e3:g} mm along them, focal length "
        f"{lens.focal_length * 1e3:g} mm, {lens.material.name}, grooves toward the {lens.grooves_toward}{wrong_way}, "
        f"{pitch}; {scene_file.scene.lens_height * 1e3:g} mm above the tubes' axes."
    )


PITCH_TOLERANCE = 1e-9
"""Relative difference of two groove pitches that is rounding alone."""


def tubes_words(scene_file: SceneFile) -> str:
    """The row of tubes in a sentence."""
    tubes = scene_file.scene.tubes
    row = "1 tube" if tubes.count == 1 else f"{tubes.count} tubes, {tubes.spacing * 1e3:g} mm from axis to axis"
    glass = (
        "bare"
        if tubes.envelope is None
        else f"in glass of {tubes.envelope.outer_diameter * 1e3:g} mm with a vacuum between"
    )
    return (
        f"Tubes: {row}, {tubes.length * 1e3:g} mm long, at {tubes.angle_to_grooves:g} deg to the grooves, absorber "
        f"{tubes.absorber_diameter * 1e3:g} mm across, {glass}."
    )


@contextlib.contextmanager
def scene_errors(path: Path) -> Iterator[None]:
    """Turn what the optics refuse about a scene into the one message of wrong input."""
    try:
        yield
    except ValueError as error:
        problem, dot, allowed = str(error).partition(" Allowed: ")
        raise InputError(file=str(path), problem=problem, allowed=dot.strip() + " " + allowed) from error
