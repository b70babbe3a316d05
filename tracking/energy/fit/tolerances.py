"""What errors a design bears before a share of its energy is gone: one at a time, and all together by sampling."""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from raytrace.arrays import Floats
from raytrace.result import Estimate
from raytrace.scene import Scene
from tracking.energy.fit.error_kinds import ErrorKind, Machine, error_kinds
from tracking.energy.fit.height import LOSSES, Progress
from tracking.energy.fit.moving import Moved
from tracking.energy.fit.sample import Effort, absorbed_energies, absorbed_fractions, drawn, energies_of, jackknife

LIMIT = max(LOSSES)
"""Share of the energy that all errors together may take."""

MACHINES = 40
"""Machines that are drawn with errors of all kinds; of them, 38 in 40 are 19 in 20."""

KEPT_SHARE = 0.95
"""Share of the machines that must keep the energy."""

SCALES = (0.2, 0.4, 0.6, 0.8, 1.0)
"""Parts of its own limit up to which each error is drawn."""

GROWTH = 2.0
CHORDS = 5
CLOSE = 0.1
"""Steps of the search: outward by this factor, then so many points between the last two by the chord, until one of them
has a loss that is so close to the wanted one, as a share of it."""

FEWER_DRAWS, FEWER_RAYS = 4, 2
"""Hours and rays are cut to such a part for the machines that are drawn: their own differences are far larger."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sensitivity:
    """Sizes of one error at which 1, 2 and 5 % of the energy are gone; None where more than `most` would be needed."""

    key: str
    unit: str
    own: float
    most: float
    sizes: tuple[Estimate | None, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Together:
    """Machines with every error drawn evenly up to `scale` times its own 5 % size: losses as shares.

    `median` and `worst_of_20`, the loss that 19 of 20 machines do not exceed.
    """

    scale: float
    median: float
    worst_of_20: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Tolerances:
    """What the design bears. `scale` is the part of their own 5 % sizes that all errors may have at once, so that 19 of
    20 machines lose no more than 5 %; None where even small errors are too much together, or the sampling was stopped.
    """

    height: float
    sensitivities: tuple[Sensitivity, ...]
    together: tuple[Together, ...]
    scale: float | None
    machines: int
    interrupted: bool


def tolerances_of(
    scene: Scene, moved: Moved, *, effort: Effort | None = None, progress: Progress | None = None
) -> Tolerances:
    """What errors the design bears over a span.

    Parameters
    ----------
    scene
        The design, at the lens height that is built.
    moved
        The span as the mount is moved.
    effort
        Rays for each size of an error, of which half of the hours suffice: losses are more exact than energies.
    progress
        Called now and then with the share done. Ctrl-C keeps what is done.

    Raises
    ------
    ValueError
        If the lens cannot be built.
    """
    effort = effort or Effort()
    kinds = error_kinds(scene, moved.mount)
    trial = _Trial(scene, moved, replace(effort, draws=max(4, effort.draws // 2)))
    found: list[Sensitivity] = []
    together: tuple[Together, ...] = ()
    interrupted = False
    try:
        for k, kind in enumerate(kinds):
            found.append(_sensitivity(trial, kind))
            if progress is not None:
                progress(ALONE * (k + 1) / len(kinds))
        few = replace(effort, draws=max(4, effort.draws // FEWER_DRAWS), rays=max(256, effort.rays // FEWER_RAYS))
        together = _together(_Trial(scene, moved, few), kinds, found, effort.seed, progress)
    except KeyboardInterrupt:
        if not found:
            raise
        interrupted = True
    return Tolerances(
        height=scene.lens_height,
        sensitivities=tuple(found),
        together=together,
        scale=_scale(together),
        machines=MACHINES,
        interrupted=interrupted,
    )


ALONE = 0.5
"""Share of the work that the errors one at a time are."""


class _Trial:
    """Losses of a changed design against the unchanged one, with the same hours and lattices."""

    def __init__(self, scene: Scene, moved: Moved, effort: Effort) -> None:
        self.scene, self.mount, self.effort = scene, moved.mount, effort
        self.draws = drawn(moved.light, scene, effort, moved.guess)
        self.unchanged = absorbed_energies(scene, self.mount, self.draws, effort)

    def energies(self, *errors: tuple[ErrorKind, float]) -> Floats:
        """Energy with errors of these sizes (replicates,) [J]."""
        machine = Machine(scene=self.scene, draws=self.draws)
        for kind, size in errors:
            machine = kind.changed(machine, size)
        fractions = absorbed_fractions(machine.scene, self.mount, machine.draws, self.effort, offset=machine.offset)
        return energies_of(machine.draws, fractions)

    def loss(self, *errors: tuple[ErrorKind, float]) -> float:
        """Share of the energy lost."""
        whole = float(self.unchanged.sum())
        return 1.0 - float(self.energies(*errors).sum()) / whole if whole > 0.0 else 0.0


def _sensitivity(trial: _Trial, kind: ErrorKind) -> Sensitivity:
    """Sizes of an error at which each of the losses is reached."""
    start = kind.own if kind.key in RMS else 0.0
    energies: dict[float, Floats] = {start: trial.unchanged}

    def at(size: float) -> Floats:
        if size not in energies:
            found = trial.energies((kind, size))
            if kind.either_way:
                other = trial.energies((kind, -size))
                found = other if other.sum() < found.sum() else found
            energies[size] = found
        return energies[size]

    whole = float(trial.unchanged.sum())
    if whole <= 0.0 or kind.most <= start:
        nothing = tuple(None for _ in LOSSES)
        return Sensitivity(key=kind.key, unit=kind.unit, own=kind.own, most=kind.most, sizes=nothing)
    size = min(max(kind.first, start), kind.most)
    while 1.0 - float(at(size).sum()) / whole < LIMIT and size < kind.most:
        size = min(kind.most, GROWTH * size)
    for loss in LOSSES:
        for _ in range(CHORDS):
            ends = _bracket(energies, loss)
            if ends is None or min(abs(1.0 - float(at(end).sum()) / whole - loss) for end in ends) < CLOSE * loss:
                break
            at(_chord(energies, ends, loss))
    sizes = tuple(_size(energies, loss) for loss in LOSSES)
    return Sensitivity(key=kind.key, unit=kind.unit, own=kind.own, most=kind.most, sizes=sizes)


def _size(energies: dict[float, Floats], loss: float) -> Estimate | None:
    """Size of an error at which a loss is reached; None where none of those tried reaches it."""
    if _bracket(energies, loss) is None:
        return None
    sizes = np.array(sorted(energies))
    table = np.array([energies[size] for size in sizes.tolist()]).T
    return jackknife(table, lambda mean: _crossing(sizes, 1.0 - mean / mean[0], loss))


RMS = frozenset({"slope_error", "aiming_error"})
"""Errors whose size is the new whole, not what comes on top."""


def _bracket(energies: dict[float, Floats], loss: float) -> tuple[float, float] | None:
    """The first two neighbouring sizes between which a loss is reached."""
    sizes = sorted(energies)
    whole = float(energies[sizes[0]].sum())
    for before, after in pairwise(sizes):
        if 1.0 - float(energies[before].sum()) / whole < loss <= 1.0 - float(energies[after].sum()) / whole:
            return before, after
    return None


def _chord(energies: dict[float, Floats], ends: tuple[float, float], loss: float) -> float:
    """A size between two others where the chord of the losses says; kept off both ends."""
    whole = float(energies[min(energies)].sum())
    low, high = (1.0 - float(energies[end].sum()) / whole for end in ends)
    share = min(0.9, max(0.1, (loss - low) / (high - low)))
    return ends[0] + share * (ends[1] - ends[0])


def _crossing(sizes: Floats, losses: Floats, loss: float) -> float:
    """Where losses over sizes first reach a loss, linear between them; the last size where they do not."""
    for k in range(len(sizes) - 1):
        if losses[k] < loss <= losses[k + 1]:
            share = (loss - losses[k]) / (losses[k + 1] - losses[k])
            return float(sizes[k] + share * (sizes[k + 1] - sizes[k]))
    return float(sizes[-1])


def _together(
    trial: _Trial, kinds: tuple[ErrorKind, ...], alone: list[Sensitivity], seed: int, progress: Progress | None
) -> tuple[Together, ...]:
    """Losses of machines with errors of all kinds, drawn evenly up to parts of their own limits."""
    limits = {each.key: each.sizes[-1] for each in alone}
    used = [kind for kind in kinds if limits.get(kind.key) is not None]
    if not used:
        return ()
    rng = np.random.default_rng(np.random.SeedSequence(entropy=seed, spawn_key=(3,)))
    # One number for each pair of opposite errors: a lens is too high or too low, not both.
    shares = {name: rng.random(MACHINES) for name in sorted({PAIRS.get(kind.key, kind.key) for kind in used})}
    signs = {kind.key: rng.integers(0, 2, MACHINES) * 2 - 1 for kind in used}
    found = []
    for step, scale in enumerate(SCALES):
        losses = []
        for machine in range(MACHINES):
            errors = []
            for kind in used:
                limit = limits[kind.key]
                size = _drawn_size(kind, limit.value if limit else 0.0, scale, float(shares[_name(kind)][machine]))
                errors.append((kind, size * (int(signs[kind.key][machine]) if kind.either_way else 1)))
            losses.append(trial.loss(*errors))
            if progress is not None:
                done = (step + (machine + 1) / MACHINES) / len(SCALES)
                progress(ALONE + (1.0 - ALONE) * done)
        ordered = sorted(losses)
        worst = ordered[math.ceil(KEPT_SHARE * MACHINES) - 1]
        found.append(Together(scale=scale, median=float(np.median(losses)), worst_of_20=worst))
        if worst > LIMIT:
            break
    return tuple(found)


PAIRS = {"too_high": "height", "too_low": "height", "sag_down": "sag", "sag_up": "sag"}
"""Errors that exclude each other share one random number: its upper half is one of them, its lower half the other."""

LOWER_HALF = frozenset({"too_low", "sag_up"})


def _name(kind: ErrorKind) -> str:
    return PAIRS.get(kind.key, kind.key)


def _drawn_size(kind: ErrorKind, limit: float, scale: float, share: float) -> float:
    """Size of an error on one machine, from an even random number in [0, 1)."""
    if kind.key in PAIRS:
        away = 1.0 - 2.0 * share if kind.key in LOWER_HALF else 2.0 * share - 1.0
        return scale * limit * max(0.0, away)
    if kind.key in RMS:
        return kind.own + scale * (limit - kind.own) * share
    return scale * limit * share


def _scale(together: tuple[Together, ...]) -> float | None:
    """Part of their own limits that all errors may have together, linear between those tried."""
    before = (0.0, 0.0)
    for each in together:
        if each.worst_of_20 > LIMIT:
            return before[0] + (each.scale - before[0]) * (LIMIT - before[1]) / (each.worst_of_20 - before[1])
        before = (each.scale, max(0.0, each.worst_of_20))
    return before[0] if len(together) == len(SCALES) else None
