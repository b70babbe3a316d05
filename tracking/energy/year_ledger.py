"""Where the year's light goes: coarse direct traces, each for a cell of angles that the sun comes through."""

from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats, Ints
from raytrace.result import LEDGER_ENTRIES
from raytrace.trace import Progress, prepare, trace_prepared
from tracking.mount import row_pose
from tracking.scenefile import SceneFile

LEDGER_RAYS = 1 << 14
LEDGER_CELLS = (2.0, 5.0, 10.0)
"""Widths of the cells of transversal angle, longitudinal angle and tilt whose light one trace stands for [deg]."""
MOST_LEDGER_TRACES = 240


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LedgerOfSteps:
    """Ledger fractions (cells, entries), and which cell each step belongs to, -1 where nothing is aimed."""

    fractions: Floats
    cell: Ints

    def energies(self, energy: Floats) -> dict[str, float]:
        """Energies (n,) [J] of the steps, shared out to the entries."""
        lit = self.cell >= 0
        weights = np.bincount(self.cell[lit], energy[lit], minlength=len(self.fractions))
        return dict(zip(LEDGER_ENTRIES, (weights @ self.fractions).tolist(), strict=True))


def ledger_of_steps(
    scene_file: SceneFile, places: Floats, chosen: Ints, aperture: Floats, rays: int, progress: Progress | None = None
) -> tuple[LedgerOfSteps, int]:
    """Ledgers of coarse direct traces, one for each cell of angles that the year's sun comes through; how many.

    Parameters
    ----------
    scene_file
        The scene.
    places
        Transversal angle, longitudinal angle and tilt (m, 3) [deg] of the steps in which the lens is aimed.
    chosen
        Numbers (m,) of these steps among all.
    aperture
        Power on the aperture in all steps (n,) [W].
    rays
        Rays of each trace.
    progress
        Told the share of the traces that is done.
    """
    cell = np.full(len(aperture), -1, dtype=np.int64)
    if not len(chosen):
        return LedgerOfSteps(fractions=np.zeros((1, len(LEDGER_ENTRIES))), cell=cell), 0
    power = np.maximum(aperture[chosen], 1e-9)
    varies = scene_file.mount.row_turns_with == "base"
    widths = np.array(LEDGER_CELLS)
    while True:
        coarse = np.round(places / widths).astype(np.int64)
        if not varies:
            coarse[:, 2] = 0
        cells, inverse = np.unique(coarse, axis=0, return_inverse=True)
        if len(cells) <= MOST_LEDGER_TRACES:
            break
        widths *= 1.3
    inverse = inverse.reshape(-1)
    weight = np.bincount(inverse, power)
    centres = np.stack([np.bincount(inverse, power * places[:, k]) / weight for k in range(3)], axis=1)
    prepared = prepare(scene_file.scene)
    turn = scene_file.scene.tubes.angle_to_grooves
    fractions = np.zeros((len(cells), len(LEDGER_ENTRIES)))
    for k, (transversal, longitudinal, tilt) in enumerate(centres):
        trace = trace_prepared(
            prepared,
            transversal_angle=float(transversal),
            longitudinal_angle=float(longitudinal),
            rays=rays,
            seed=0,
            row=row_pose(scene_file.mount, float(tilt), turn),
        )
        fractions[k] = [getattr(trace.ledger, name) for name in LEDGER_ENTRIES]
        if progress is not None:
            progress((k + 1) / len(cells))
    cell[chosen] = inverse
    return LedgerOfSteps(fractions=fractions, cell=cell), len(cells)
