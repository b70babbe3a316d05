"""The packed table for firmware: 16-bit integers, a look-up by integers alone, and its error against the schedule.

Rows stand for chosen days, slots for equal shares of the time from the first to the last aimed second of a day. Both
ends of a day and all counts run evenly between rows, and counts between slots, so that a winter day and a summer day
have slots alike. Days for rows are chosen one by one where the error is largest, until the byte budget is used up.

The look-up below is the twin of the one in the exported C, to the last bit.
"""

import heapq
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from raytrace.arrays import Floats, Ints
from tracking.actuator import AxisName
from tracking.errors import InputError
from tracking.motors.schedule import DAY_SECONDS, GRID_SECONDS, DaySchedule, Drive
from tracking.motors.track import Track, power_share
from tracking.mount import lens_axes

Words = npt.NDArray[np.uint16]

TICK_SECONDS = 2
"""Unit of the times in the table [s]: a day has 43,200 of them."""
NO_SUN = 0xFFFF
"""Start and end of a day on which nothing is aimed."""
LARGEST_WORD = 0xFFFF
SLOT_BITS, KEPT_BITS = 12, 8
"""Bits of a fraction between slots, and bits of the interpolated value that are kept."""
MOST_GAP = 120
"""Days between two rows, at most: more would overflow 32 bits."""
SLOT_CHOICES = (5, 7, 9, 13, 17, 25, 33, 49, 65, 97, 145)
FINE_SHARES = 145
"""Instants of a day at which an error is looked for while days are chosen."""
HEAD_WORDS = 2
LARGEST_ARRAY = 32767
"""Bytes of an array that small controllers can address."""
LARGEST_SCALE = 32767


@dataclass(frozen=True, kw_only=True, slots=True)
class AxisScale:
    """counts = offset + word * scale."""

    axis: AxisName
    offset: int
    scale: int


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PackedTable:
    """The table. `start` in seconds since 1970 UTC; `node_days` counted from the first day; `rows` (nodes, words).

    `spans` (n, 4) holds where an aimed lens is not in the state "tracking": the day, the first and the last tick, and
    the code of the state.
    """

    start: int
    days: int
    slots: int
    axes: tuple[AxisScale, ...]
    node_days: Words
    rows: Words
    spans: Words
    wait_seconds: int
    stow_counts: tuple[int, ...]

    @property
    def size(self) -> int:
        """Bytes of the table's arrays."""
        return 2 * (self.node_days.size + self.rows.size + self.spans.size)

    def packed(self) -> bytes:
        """All words in order, low byte first: what the CRC runs over."""
        return b"".join(part.astype("<u2").tobytes() for part in (self.node_days, self.rows, self.spans))

    @property
    def crc(self) -> int:
        """CRC-32 (ISO-HDLC, as in zlib and Ethernet) of `packed`."""
        return zlib.crc32(self.packed())


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Found:
    """What a look-up finds at instants (n,): the state's code and counts (n, axes)."""

    state: Ints
    counts: Ints


TRACKING, WAITING, STOWED, OVER_ZENITH, OUT_OF_PERIOD = 0, 1, 2, 3, 4
STATE_NAMES = ("tracking", "waiting", "stowed", "over zenith", "out of period")


def look_up(table: PackedTable, seconds: Ints | Sequence[int]) -> Found:
    """State and counts at instants (n,) [s since 1970 UTC], by the integer arithmetic of the exported C."""
    since = np.asarray(seconds, dtype=np.int64) - table.start
    inside = (since >= 0) & (since < table.days * DAY_SECONDS)
    day, second = np.divmod(np.where(inside, since, 0), DAY_SECONDS)
    node_days = table.node_days.astype(np.int64)
    rows = table.rows.astype(np.int64)
    node = np.clip(np.searchsorted(node_days, day, side="right") - 1, 0, len(node_days) - 1)
    after = np.minimum(node + 1, len(node_days) - 1)
    gap = np.maximum(node_days[after] - node_days[node], 1)
    way = day - node_days[node]

    def between(a: Ints, b: Ints) -> Ints:
        return np.asarray((a * (gap - way) + b * way + gap // 2) // gap)

    dark = (rows[node, 0] == NO_SUN) | ((way > 0) & (rows[after, 0] == NO_SUN))
    first = TICK_SECONDS * between(rows[node, 0], np.where(way > 0, rows[after, 0], rows[node, 0]))
    last = TICK_SECONDS * between(rows[node, 1], np.where(way > 0, rows[after, 1], rows[node, 1]))
    span = np.maximum(last - first, 1)
    gone = np.clip(second - first, 0, span) * (table.slots - 1)
    slot = np.minimum(gone // span, table.slots - 2)
    fraction = ((gone - slot * span) << SLOT_BITS) // span
    counts = np.empty((len(since), len(table.axes)), dtype=np.int64)
    stowed = dark | (second < first - table.wait_seconds) | (second > last) | ~inside
    for k, axis in enumerate(table.axes):
        column = HEAD_WORDS + k * table.slots + slot

        def at(row: Ints, column: Ints = column) -> Ints:
            low, high = rows[row, column], rows[row, column + 1]
            return np.asarray(((low << SLOT_BITS) + (high - low) * fraction) >> (SLOT_BITS - KEPT_BITS))

        value = between(at(node), np.where(way > 0, at(after), at(node)))
        whole, part = value >> KEPT_BITS, value & ((1 << KEPT_BITS) - 1)
        rounded = (part * axis.scale + (1 << (KEPT_BITS - 1))) >> KEPT_BITS
        counts[:, k] = np.where(stowed, table.stow_counts[k], axis.offset + whole * axis.scale + rounded)
    tick = second // TICK_SECONDS
    state = np.full(len(since), TRACKING)
    for span_day, begins, ends, code in table.spans.astype(np.int64):
        state[(day == span_day) & (tick >= begins) & (tick <= ends)] = code
    state = np.where(stowed, STOWED, np.where(second < first, WAITING, state))
    return Found(state=np.where(inside, state, OUT_OF_PERIOD), counts=counts)


NEAR_SLOTS = 2
"""Slots of the table within which the end of a range is felt: one of its own, one as it moves from day to day."""
AT_END = 0.05
"""Angle [deg] from the end of its range within which an axis stands at that end."""


@dataclass(frozen=True, kw_only=True, slots=True)
class TableError:
    """How far the table is from the schedule, over every minute that both are aimed in.

    `counts` for each axis, `mrad` between the lens normals, at most, `worst_at` when that is [s since 1970 UTC] and
    `mrad_elsewhere` the most two slots or more away from any minute at which an axis stands at an end of its range: a
    path bends sharply there, and a table that is straight between its slots cuts the corner. `power` is the largest
    share of DNI times the aperture that is lost against the schedule's path, `energy` the share of the period's energy,
    `edge_seconds` how far the table's first and last aimed seconds are from the schedule's.
    """

    counts: tuple[int, ...]
    mrad: float
    worst_at: int
    mrad_elsewhere: float
    power: float
    energy: float
    edge_seconds: int
    minutes: int


def pack(drive: Drive, days: Sequence[DaySchedule], *, budget: int, reserved: int = 0) -> PackedTable:
    """The table with the least error that fits into a budget of bytes, of which some are `reserved` for other arrays.

    Raises
    ------
    InputError
        If not even the smallest table fits.
    """
    axes = [axis for axis, _ in drive.actuators.axes()]
    ends, counts = _sampled(drive, days)
    spans = _spans(days)
    lit = ends[:, 0] != NO_SUN
    scales = _scales(axes, counts[lit]) if lit.any() else tuple(AxisScale(axis=a, offset=0, scale=1) for a in axes)
    weights = _weights(drive, counts)
    must = _needed_nodes(lit)
    best: tuple[float, int, list[int]] | None = None
    least = 0
    for slots in SLOT_CHOICES:
        row_bytes = 2 * (1 + HEAD_WORDS + len(axes) * slots)
        room = (budget - reserved - 2 * spans.size) // row_bytes
        least = least or reserved + 2 * spans.size + len(must) * row_bytes
        if room < len(must):
            break
        worst, nodes = _chosen_days(counts, weights, lit, must, min(room, len(days)), slots)
        if best is None or worst < best[0]:
            best = worst, slots, nodes
    if best is None:
        raise InputError(
            key="--bytes",
            problem=f"{budget} bytes hold no table of this period",
            allowed=f"Allowed: {least} bytes or more, or a shorter period.",
        )
    _, slots, nodes = best
    shares = np.linspace(0.0, 1.0, slots)
    rows = np.zeros((len(nodes), HEAD_WORDS + len(axes) * slots), dtype=np.uint16)
    for at, node in enumerate(nodes):
        rows[at, :HEAD_WORDS] = ends[node]
        if not lit[node]:
            continue
        track = days[node].track
        assert track is not None  # noqa: S101  lit says so
        own = days[node].start + TICK_SECONDS * ends[node].astype(np.float64)
        times = own[0] + shares * (own[1] - own[0])
        for k, (scale, (axis, each)) in enumerate(zip(scales, drive.actuators.axes(), strict=True)):
            path = each.counts(track.tilt if axis == "tilt" else track.swivel)
            words = np.round((np.interp(times, track.seconds, path) - scale.offset) / scale.scale)
            rows[at, HEAD_WORDS + k * slots : HEAD_WORDS + (k + 1) * slots] = np.clip(words, 0, LARGEST_WORD)
    stow = {"tilt": drive.stow.tilt, "swivel": drive.stow.swivel}
    wait = max((day.track.seconds[0] - day.wait_from for day in days if day.track is not None), default=0.0)
    return PackedTable(
        start=days[0].start,
        days=len(days),
        slots=slots,
        axes=scales,
        node_days=np.array(nodes, dtype=np.uint16),
        rows=rows,
        spans=spans,
        wait_seconds=int(np.ceil(wait)),
        stow_counts=tuple(round(float(each.counts(stow[axis]))) for axis, each in drive.actuators.axes()),
    )


def _sampled(drive: Drive, days: Sequence[DaySchedule]) -> tuple[Words, Floats]:
    """Ends of each day in ticks (n, 2), and counts at even shares of it (n, axes, FINE_SHARES)."""
    ends = np.full((len(days), 2), NO_SUN, dtype=np.uint16)
    counts = np.zeros((len(days), len(drive.actuators.axes()), FINE_SHARES))
    shares = np.linspace(0.0, 1.0, FINE_SHARES)
    for at, day in enumerate(days):
        track = day.track
        if track is None or len(track) < 2:
            continue
        ends[at] = (track.seconds[0] - day.start) // TICK_SECONDS, (track.seconds[-1] - day.start) // TICK_SECONDS
        times = track.seconds[0] + shares * (track.seconds[-1] - track.seconds[0])
        for k, (axis, each) in enumerate(drive.actuators.axes()):
            counts[at, k] = np.interp(times, track.seconds, each.counts(track.tilt if axis == "tilt" else track.swivel))
    return ends, counts


def _spans(days: Sequence[DaySchedule]) -> Words:
    """Spans of other states than tracking."""
    found = []
    for at, day in enumerate(days):
        if day.track is None:
            continue
        state = np.where(day.dim, WAITING, np.where(day.track.over_zenith, OVER_ZENITH, TRACKING))
        edges = [0, *(np.flatnonzero(np.diff(state)) + 1).tolist(), len(state)]
        for low, high in pairwise(edges):
            if state[low] != TRACKING:
                # A state lasts until the next instant of the path.
                ends = day.track.seconds[low] - day.start, day.track.seconds[high - 1] - day.start + GRID_SECONDS - 1
                found.append((at, *(int(end) // TICK_SECONDS for end in ends), int(state[low])))
    return np.array(found, dtype=np.uint16).reshape(-1, 4)


def _scales(axes: Sequence[AxisName], counts: Floats) -> tuple[AxisScale, ...]:
    scales = []
    for k, axis in enumerate(axes):
        low, high = int(np.floor(counts[:, k].min())), int(np.ceil(counts[:, k].max()))
        scale = max(1, -(-(high - low) // LARGEST_WORD))
        if scale > LARGEST_SCALE:
            raise InputError(
                key=f"actuators.{axis}",
                problem=f"its {high - low} counts are too many for 16-bit tables",
                allowed=f"Allowed: fewer counts, up to {LARGEST_SCALE * LARGEST_WORD} over the way of a day.",
            )
        scales.append(AxisScale(axis=axis, offset=low, scale=scale))
    return tuple(scales)


def _weights(drive: Drive, counts: Floats) -> Floats:
    """About how many mrad the lens normal turns for one count (n, axes, shares)."""
    weights = np.ones_like(counts)
    lean: Floats | None = None
    for k, (axis, each) in enumerate(drive.actuators.axes()):
        angle = each.angle(counts[:, k])
        weights[:, k] = np.radians(1e3) / np.maximum(np.abs(each.counts_per_angle(angle)), 1e-9)
        if axis == "tilt":
            lean = np.radians(angle)
        elif lean is not None:
            arm = np.sin(lean) if drive.mount.kind == "swivel-tilt" else np.cos(lean)
            weights[:, k] *= np.maximum(np.abs(arm), 0.02)
    return np.nan_to_num(weights, nan=0.0, posinf=0.0)


def _needed_nodes(lit: npt.NDArray[np.bool_]) -> list[int]:
    """Days that need a row: the first, the last, both sides of a change between light and dark, and no gap too wide."""
    changes = np.flatnonzero(np.diff(lit.astype(np.int8)))
    nodes = sorted({0, len(lit) - 1, *changes.tolist(), *(changes + 1).tolist()})
    filled = [nodes[0]]
    for node in nodes[1:]:
        pieces = -(-(node - filled[-1]) // MOST_GAP)
        start = filled[-1]
        filled += [start + (node - start) * k // pieces for k in range(1, pieces + 1)]
    return filled


def _chosen_days(
    counts: Floats, weights: Floats, lit: npt.NDArray[np.bool_], must: list[int], room: int, slots: int
) -> tuple[float, list[int]]:
    """Days for rows, and the largest error that is left [mrad, about]."""
    shares, coarse = np.linspace(0.0, 1.0, FINE_SHARES), np.linspace(0.0, 1.0, slots)
    place = np.clip(np.searchsorted(coarse, shares, side="right") - 1, 0, slots - 2)
    part = (shares - coarse[place]) * (slots - 1)
    held = np.stack([np.stack([np.interp(coarse, shares, row) for row in day]) for day in counts])
    drawn = held[..., place] * (1.0 - part) + held[..., place + 1] * part

    def worst(low: int, high: int) -> tuple[float, int]:
        inner = np.arange(low, high + 1)
        if not lit[low] or not lit[high]:
            return (0.0, -1)
        way = ((inner - low) / max(1, high - low))[:, np.newaxis, np.newaxis]
        guess = drawn[low] * (1.0 - way) + drawn[high] * way
        error = np.linalg.norm((guess - counts[inner]) * weights[inner], axis=1).max(axis=1)
        if high - low < 2:
            return float(error.max()), -1
        at = 1 + int(np.argmax(error[1:-1]))
        return float(error.max()), low + at

    nodes = set(must)
    queue: list[tuple[float, int, int, int]] = []
    for low, high in pairwise(must):
        error, at = worst(low, high)
        heapq.heappush(queue, (-error, low, high, at))
    done = [worst(must[0], must[0])[0]] if len(must) == 1 else []
    while queue and len(nodes) < room:
        negative, low, high, at = heapq.heappop(queue)
        if at < 0:
            done.append(-negative)
            continue
        nodes.add(at)
        for ends in ((low, at), (at, high)):
            error, split = worst(*ends)
            heapq.heappush(queue, (-error, *ends, split))
    return max([*done, *(-each[0] for each in queue)], default=0.0), sorted(nodes)


def measured_error(drive: Drive, days: Sequence[DaySchedule], table: PackedTable) -> TableError:
    """The table's error at every minute of every day's path, found by looking it up."""
    lens = drive.scene_file.scene.lens
    worst_counts = np.zeros(len(table.axes), dtype=np.int64)
    mrad, worst_at, elsewhere, power, edge, minutes = 0.0, table.start, 0.0, 0.0, 0, 0
    energy, lost = 0.0, 0.0
    for at, day in enumerate(days):
        track = day.track
        if track is None:
            continue
        seconds = track.seconds.astype(np.int64)
        found = look_up(table, seconds)
        aimed = (found.state == TRACKING) | (found.state == OVER_ZENITH)
        edge = max(edge, *_edges(table, at, day))
        if not aimed.any():
            continue
        angles = {"tilt": track.tilt[aimed], "swivel": track.swivel[aimed]}
        for k, (axis, each) in enumerate(drive.actuators.axes()):
            missed = np.abs(found.counts[aimed, k] - each.counts(angles[axis]))
            worst_counts[k] = max(worst_counts[k], int(np.ceil(np.max(missed))))
            angles[axis] = np.asarray(each.angle(found.counts[aimed, k]))
        told = lens_axes(drive.mount, angles["tilt"], angles["swivel"]).n
        meant = lens_axes(drive.mount, track.tilt[aimed], track.swivel[aimed]).n
        off = 1e3 * np.linalg.norm(told - meant, axis=-1)
        if off.max() > mrad:
            mrad, worst_at = float(off.max()), int(seconds[aimed][int(np.argmax(off))])
        away = ~_near_ends(drive, track, table.slots)[aimed]
        elsewhere = max(elsewhere, float(off.max(initial=0.0, where=away)))
        share = power_share(
            drive.mount, drive.absorbed, angles["tilt"], angles["swivel"], track.azimuth[aimed], track.elevation[aimed]
        )
        power = max(power, float(np.max(day.power[aimed] - share)))
        watts = day.dni[aimed] * lens.width * lens.length
        energy += float(np.sum(day.power[aimed] * watts))
        lost += float(np.sum((day.power[aimed] - share) * watts))
        minutes += int(aimed.sum())
    return TableError(
        counts=tuple(int(each) for each in worst_counts),
        mrad=mrad,
        worst_at=worst_at,
        mrad_elsewhere=elsewhere,
        power=max(0.0, power),
        energy=0.0 if energy <= 0.0 else lost / energy,
        edge_seconds=edge,
        minutes=minutes,
    )


def _near_ends(drive: Drive, track: Track, slots: int) -> npt.NDArray[np.bool_]:
    """Instants (n,) of a path within NEAR_SLOTS slots of one at which an axis stands at an end of its range."""
    at_end = np.zeros(len(track), dtype=np.bool_)
    for axis, each in drive.actuators.axes():
        angles = track.tilt if axis == "tilt" else track.swivel
        for limit in each.limits or ():
            at_end |= np.abs(angles - limit) < AT_END
    reach = int(np.ceil(NEAR_SLOTS * (len(track) - 1) / (slots - 1)))
    return np.asarray(np.convolve(at_end, np.ones(2 * reach + 1), mode="full")[reach : reach + len(track)] > 0.0)


def _edges(table: PackedTable, at: int, day: DaySchedule) -> tuple[int, int]:
    """How far the table's first and last aimed second of a day are from the schedule's [s]."""
    assert day.track is not None  # noqa: S101  asked for days with a path only
    node = int(np.clip(np.searchsorted(table.node_days, at, side="right") - 1, 0, len(table.node_days) - 1))
    after = min(node + 1, len(table.node_days) - 1)
    gap = max(1, int(table.node_days[after]) - int(table.node_days[node]))
    way = at - int(table.node_days[node])
    ends = []
    for k, second in enumerate((day.track.seconds[0], day.track.seconds[-1])):
        a, b = int(table.rows[node, k]), int(table.rows[after, k])
        told = TICK_SECONDS * ((a * (gap - way) + (b if way else a) * way + gap // 2) // gap)
        ends.append(abs(int(second) - day.start - told))
    return ends[0], ends[1]
