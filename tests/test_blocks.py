"""Rays in blocks against the straightforward loop over the same rays, over lenses, rows and suns drawn at random."""

import math
from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from raytrace.kernels import path
from raytrace.kernels.path import trace_one_by_one
from raytrace.optics.materials import material_named
from raytrace.points import Replicates, lattice_vector, shifts_and_key
from raytrace.profile import profile_window
from raytrace.scene import Envelope, Lens, RowPose, Scene, SunOptics, Tubes
from raytrace.trace import prepare, run_replicates

RAYS = 4096
LENS = Lens(width=0.6, length=0.9, focal_length=0.8, grooves_toward="tubes", cut_for="tubes")
TUBES = Tubes(count=3, spacing=0.06, length=1.0, absorber_diameter=0.047)
GLASS = Envelope(outer_diameter=0.058, wall=0.0016, material=material_named("borosilicate"))


@pytest.mark.long
@pytest.mark.parametrize("glass", [None, GLASS], ids=["bare", "in glass"])
@pytest.mark.parametrize("toward", ["sun", "tubes"])
def test_blocks_book_what_the_loop_books(toward: Literal["sun", "tubes"], glass: Envelope | None) -> None:
    """To rounding: the largest difference of 100 draws of each kind is far below one ray in 4096."""
    rng = np.random.default_rng(7)
    sag = 0.003 if glass is not None else 0.0
    lens = replace(LENS, grooves_toward=toward, sag=sag)
    arrived = 0
    for number in range(100):
        scene = Scene(
            lens=replace(
                lens, draft_angle=float(rng.choice([0.0, 2.0, 8.0])), slope_error=float(rng.choice([0.0, 4.0]))
            ),
            tubes=replace(
                TUBES,
                count=int(rng.choice([1, 2, 6])),
                spacing=float(rng.choice([0.059, 0.07, 0.12])),
                angle_to_grooves=float(rng.choice([0.0, 30.0, 90.0])),
                envelope=glass,
            ),
            sun=SunOptics(circumsolar_ratio=0.05),
            lens_height=0.8,
            aiming_error=float(rng.choice([0.0, 4.0])),
        )
        tangents = [
            math.tan(math.radians(float(np.clip(angle, -80.0, 80.0)))) for angle in rng.normal(0.0, [6.0, 30.0])
        ]
        pose = RowPose.level(scene.tubes.angle_to_grooves)
        inputs = prepare(scene).inputs(*tangents, pose, profile_window(scene, tangents[0]))
        blocks = run_replicates(inputs, plan=Replicates(count=1, rays_each=RAYS, groups=1), seed=number, threads=1)
        shift, key = shifts_and_key(number, 0)
        totals, tubes, profile, flux = (
            np.zeros_like(a[0]) for a in (blocks.totals, blocks.tubes, blocks.profile, blocks.flux)
        )
        trace_one_by_one(*inputs, RAYS, lattice_vector(RAYS), shift, key, totals, tubes, profile, flux)
        started = totals[path.STARTED]
        assert blocks.totals[0] == pytest.approx(totals, abs=1e-9 * started), scene
        assert blocks.tubes[0] == pytest.approx(tubes, abs=1e-9 * started), scene
        assert blocks.profile[0] == pytest.approx(profile, abs=1e-9 * started), scene
        assert blocks.flux[0].sum() == pytest.approx(flux.sum(), abs=1e-9 * started), scene
        arrived += bool(totals[path.INTERCEPTED] > 0.01 * started)
    assert arrived > 30
