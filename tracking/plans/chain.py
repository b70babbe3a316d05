"""The best chain of stretches through a day: each a setting from one minute to a later one, so many of them in all.

A chain is found stage by stage (R. Bellman, Dynamic Programming, 1957): the most energy up to each minute with one more
stretch follows from the most with one fewer.
"""

from collections.abc import Iterator

import numpy as np

from raytrace.arrays import AnyArray, Floats
from tracking.plans.marks import DaySettings

SET, REST = -1, -2
"""How the best way to a minute came there: by a stretch, or by a minute of rest. Any other number is the minute since
which the lens is covered."""


class Chain:
    """Best energies of single stretches between any two minutes, and of chains of them.

    Parameters
    ----------
    day
        The day's settings and their powers.
    serves : (settings, n - 1) bool
        Minutes in which a stretch of a setting may lie.
    rest : (n - 1,) bool
        Minutes that need no stretch.
    cover_from
        Least number of minutes in a row during which the lens may be covered, and serve nothing, in the middle of the
        day; at its two ends any number is allowed. None: it is not covered.
    """

    def __init__(self, day: DaySettings, serves: AnyArray, rest: AnyArray, cover_from: int | None = None) -> None:
        nodes = len(day.times)
        self.rest, self.cover_from = rest, cover_from
        self.stretch = np.full((nodes, nodes), -np.inf)
        self.setting = np.full((nodes, nodes), -1, dtype=np.int32)
        sums = np.concatenate([np.zeros((len(day.settings), 1)), np.cumsum(day.energies(day.power), 1)], axis=1)
        for k in range(len(day.settings)):
            for first, last in runs_of(serves[k]):
                cut = slice(first, last + 1)
                energy = sums[k, cut][np.newaxis, :] - sums[k, cut][:, np.newaxis]
                energy[np.tri(len(energy), dtype=bool)] = -np.inf
                here = self.stretch[cut, cut]
                better = energy > here
                here[better] = energy[better]
                self.setting[cut, cut][better] = k
        self.before: list[AnyArray] = []
        self.rested: list[AnyArray] = []

    def stages(self) -> Iterator[Floats]:
        """Most energy up to each minute (n,) with 0, 1, 2, ... stretches; -inf where there is no such chain."""
        nodes = len(self.stretch)
        energies = np.full(nodes, -np.inf)
        energies[0] = 0.0
        self.before, self.rested = [np.full(nodes, -1)], []
        while True:
            energies = self._with_rests(energies)
            yield energies
            ways = energies[:, np.newaxis] + self.stretch
            came = np.argmax(ways, axis=0)
            self.before.append(came)
            energies = ways[came, np.arange(nodes)]

    def _with_rests(self, energies: Floats) -> Floats:
        """Best energies where the last minutes may pass without a stretch."""
        nodes, found = len(energies), energies.copy()
        way = np.full(nodes, SET)
        # Most energy up to each minute or before it, and the minute that has it: there a cover may have been put on.
        best = np.maximum.accumulate(energies)
        there = np.maximum.accumulate(np.where(energies >= best, np.arange(nodes), 0))
        for node in range(1, nodes):
            if self.rest[node - 1] and found[node - 1] > found[node]:
                found[node], way[node] = found[node - 1], REST
            if self.cover_from is None:
                continue
            latest = node - 1 if node == nodes - 1 else node - self.cover_from
            since = int(there[latest]) if latest >= 0 else 0
            if latest < 0 or best[latest] < energies[0]:
                since = 0  # covered since the day began
            if energies[since] > found[node]:
                found[node], way[node] = energies[since], since
        self.rested.append(way)
        return found

    def path(self, count: int) -> list[tuple[int, int, int]]:
        """First minute, last minute and setting of each stretch of the best chain with `count` stretches."""
        node, found = len(self.stretch) - 1, []
        while node > 0:
            way = int(self.rested[count][node])
            if way == SET:
                first = int(self.before[count][node])
                found.append((first, node, int(self.setting[first, node])))
                node, count = first, count - 1
            else:
                node = node - 1 if way == REST else way
        return found[::-1]


def runs_of(flags: AnyArray) -> Iterator[tuple[int, int]]:
    """First and last minute of each run of steps between minutes (n - 1,) that are set."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
