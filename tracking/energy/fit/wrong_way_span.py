"""What it costs to mount the sheet the wrong way round, in energy over a span, the lens kept aimed.

`wrong_way` asks the same of the sun on the lens normal, where a row that sees the sun aslant may hardly lose anything.
"""

from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import Floats
from raytrace.result import Estimate
from raytrace.scene import GroovesSide
from tracking.energy.fit.height import Progress, best_height
from tracking.energy.fit.hours import hours_of
from tracking.energy.fit.moving import aimed
from tracking.energy.fit.result import Fit
from tracking.energy.fit.sample import Effort, absorbed_energies, drawn, estimate, jackknife
from tracking.energy.fit.wrong_way import OTHER
from tracking.scenefile import SceneFile


@dataclass(frozen=True, kw_only=True, slots=True)
class Side:
    """A sheet with its grooves on one side: energy absorbed over the span at the scene's own lens height, and at the
    height [m] that is best for it so [J].
    """

    grooves_toward: GroovesSide
    absorbed: Estimate
    best_height: Estimate
    absorbed_at_best: Estimate


@dataclass(frozen=True, kw_only=True, slots=True)
class WrongWaySpan:
    """The sheet the right way round and the wrong way round, at the same hours and with the same random numbers.

    `loss` is the share of the energy absorbed the right way round that is lost at the scene's lens height [m], negative
    where the scene's height suits the wrong side better; `least_loss` the same with each at the height that is best
    for it: what no height brings back.
    """

    height: float
    right: Side
    wrong: Side
    loss: Estimate
    least_loss: Estimate


def wrong_way_span(
    scene_file: SceneFile, fit: Fit, effort: Effort, *, progress: Progress | None = None
) -> WrongWaySpan | None:
    """The cost of the wrong side over the span of a fit.

    Parameters
    ----------
    scene_file
        The sheet, whichever way round the scene has it.
    fit
        The best height of this scene, kept aimed.
    effort
        As it was for the fit: candidates on both sides are judged at the same hours.
    progress
        Called now and then with the share done.

    Returns
    -------
    WrongWaySpan or None
        None where nothing is absorbed the right way round.

    Raises
    ------
    ValueError
        If the lens cannot be built.
    """
    own = scene_file.scene
    way = aimed(scene_file, hours_of(scene_file, fit.span))
    draws = drawn(way.light, own, effort, way.guess)
    turned = replace(own, lens=replace(own.lens, grooves_toward=OTHER[own.lens.grooves_toward]))
    other = best_height(turned, way.mount, way.light, effort=effort, guess=way.guess, progress=progress)

    energies: dict[GroovesSide, Floats] = {}
    sides: dict[GroovesSide, Side] = {}
    for scene, height in ((own, fit.height.height), (turned, other.height)):
        here, best = (
            absorbed_energies(replace(scene, lens_height=at), way.mount, draws, effort)
            for at in (own.lens_height, round(height.value, 6))
        )
        side = scene.lens.grooves_toward
        energies[side] = np.column_stack([here, best])
        sides[side] = Side(
            grooves_toward=side, absorbed=estimate(here), best_height=height, absorbed_at_best=estimate(best)
        )
    right, wrong = own.lens.cut_for, OTHER[own.lens.cut_for]
    both = np.stack([energies[right], energies[wrong]], axis=1)
    if not (both.mean(axis=0)[0] > 0.0).all():
        return None
    loss, least = (jackknife(both[:, :, k], lambda mean: 1.0 - float(mean[1] / mean[0])) for k in (0, 1))
    return WrongWaySpan(height=own.lens_height, right=sides[right], wrong=sides[wrong], loss=loss, least_loss=least)
