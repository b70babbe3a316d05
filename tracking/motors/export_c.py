"""The C99 export: header and source with the packed table, its look-up by integers, its checks and its safe poses."""

import datetime as dt
import hashlib
import math
import struct
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib import resources

import numpy as np

from tracking.actuator import Actuator, ArmLinkage, AxisName, Direction
from tracking.motors.mount_errors import NO_ERRORS
from tracking.motors.safety import BIN_SWIVEL, BIN_TILT, PoseBin, WayOut
from tracking.motors.schedule import DAY_SECONDS, DaySchedule, Drive
from tracking.motors.table import (
    HEAD_WORDS,
    LARGEST_ARRAY,
    NO_SUN,
    AxisScale,
    PackedTable,
    TableError,
    look_up,
)

FORMAT_VERSION = 1
MAGIC = 0x464F434C
"""The letters F, O, C, L."""
SUN_RATE = 0.25
"""How fast the sun turns at most [deg/min]: 15 deg of hour angle in an hour."""
CLOCK_LOSS = 0.02
"""Share of the power that a wrong clock may cost. Chosen for this, no source."""
WORDS_A_LINE = 14
VECTOR_DAYS = 4
"""Days of the period with test vectors, at most."""
VECTOR_BYTES = 16
VALUE_LIMIT = 2**31 - 1
AXIS_CODES: dict[AxisName, int] = {"tilt": 0, "swivel": 1}
NO_AXIS = 2
AXIS_BITS = 2
NO_WORD = 0xFFFF
WAY_WORDS = 4
"""Words of a bin of poses."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PoseTable:
    """The bins of poses as integers, in rising counts.

    For each bin the axis of the shorter way out (0 tilt, 1 swivel, 2 none), plus 4 times the axis of the way for wind;
    and the words of the ways by tilt, by swivel and for wind. Counts of a way = offset + word * scale of its axis;
    NO_WORD stands for none. `turn` is a whole turn in counts where the swivel has no end, else 0.
    """

    tilt_edges: tuple[int, ...]
    swivel_edges: tuple[int, ...]
    turn: int
    scales: tuple[AxisScale, AxisScale]
    words: tuple[tuple[int, int, int, int], ...]

    @property
    def size(self) -> int:
        """Bytes of the arrays."""
        return 4 * (len(self.tilt_edges) + len(self.swivel_edges)) + 2 * WAY_WORDS * len(self.words)

    @property
    def crc(self) -> int:
        """CRC-32 in the order in which the exported check reads the arrays."""
        parts = [struct.pack(f"<{len(edges)}i", *edges) for edges in (self.tilt_edges, self.swivel_edges)]
        parts += [struct.pack(f"<{WAY_WORDS}H", *each) for each in self.words]
        return zlib.crc32(b"".join(parts))


@dataclass(frozen=True, kw_only=True, slots=True)
class CExport:
    """Everything that the two files say."""

    drive: Drive
    days: tuple[DaySchedule, ...]
    table: PackedTable
    error: TableError
    poses: PoseTable
    scene_hash: str
    clock_error: int
    way_excess: float | None = None
    """By how much longer than from one pose the way out of its bin takes at most [s]; None where nothing is aimed."""


def scene_hash(text: bytes) -> str:
    """SHA-256 of a scene file, as a name for it."""
    return hashlib.sha256(text).hexdigest()


def largest_clock_error(drive: Drive) -> int:
    """Seconds by which a clock may be wrong until an aimed lens loses CLOCK_LOSS of its power, whichever way it drifts.

    The sun moves 4.363 mrad (0.25 deg) a minute at most, in the worst case straight across the grooves.
    """
    angles = np.linspace(0.0, 3.0, 301)
    tilt = np.full_like(angles, float(np.mean(drive.mount.tilt_limits)))
    zero = np.zeros_like(angles)
    sides = [drive.absorbed(sign * angles, zero, tilt) for sign in (-1.0, 1.0)]
    along = [drive.absorbed(zero, sign * angles, tilt) for sign in (-1.0, 1.0)]
    lost = np.min(np.array([each / max(float(each[0]), 1e-9) for each in (*sides, *along)]), axis=0)
    bad = np.flatnonzero(lost < 1.0 - CLOCK_LOSS)
    allowed = float(angles[bad[0] - 1] if len(bad) else angles[-1])
    return int(allowed / SUN_RATE * 60.0)


def c_files(export: CExport) -> dict[str, str]:
    """Names and texts of the files."""
    return {
        "focalrow_setpoints.h": _header(export),
        "focalrow_setpoints.c": _source(export),
        "focalrow_sun.h": _kept("focalrow_sun.h"),
        "focalrow_sun.c": _kept("focalrow_sun.c"),
    }


def _kept(name: str) -> str:
    return resources.files("tracking.motors").joinpath("c", name).read_text(encoding="ascii")


def _utc(seconds: float) -> str:
    return f"{dt.datetime.fromtimestamp(seconds, tz=dt.UTC):%Y-%m-%dT%H:%M:%SZ}"


def _plain(text: str) -> str:
    """Text for a comment or a string in C: printable ASCII without what could end either."""
    return "".join(letter if " " <= letter <= "~" and letter not in '\\"*?' else "_" for letter in text)


def _header(export: CExport) -> str:
    table, error, drive = export.table, export.error, export.drive
    site = drive.scene_file.site
    axes = dict(zip((scale.axis for scale in table.axes), error.counts, strict=True))
    end = table.start + table.days * DAY_SECONDS
    lines = [
        *_opening(export),
        "#ifndef FOCALROW_SETPOINTS_H",
        "#define FOCALROW_SETPOINTS_H",
        "",
        "#include <stdint.h>",
        "",
        "#ifdef __cplusplus",
        'extern "C" {',
        "#endif",
        "",
        f"#define FOCALROW_MAGIC {_u32(MAGIC)}",
        f"#define FOCALROW_FORMAT_VERSION {FORMAT_VERSION}",
        f'#define FOCALROW_PLACE "{_plain(site.name or "unnamed")}"',
        f"#define FOCALROW_LATITUDE_UDEG {_i32(round(site.latitude * 1e6))}",
        f"#define FOCALROW_LONGITUDE_UDEG {_i32(round(site.longitude * 1e6))}",
        f'#define FOCALROW_SCENE_SHA256 "{export.scene_hash}"',
        "",
        "/* Times are seconds since 1970-01-01T00:00:00 UTC without leap seconds, as POSIX counts them. */",
        f"#define FOCALROW_VALID_FROM {_u32(table.start)} /* {_utc(table.start)} */",
        f"#define FOCALROW_VALID_UNTIL {_u32(end)} /* {_utc(end)}, not included */",
        f"#define FOCALROW_CLOCK_ERROR_S {export.clock_error} /* largest error of the clock allowed */",
        f"#define FOCALROW_WAIT_S {table.wait_seconds} /* before the first aimed second, on the way and waiting */",
        "",
        "/* Worst errors of the table against the schedule, measured at every aimed minute of the period. */",
        f"#define FOCALROW_ERROR_TILT_COUNTS {axes.get('tilt', 0)}",
        f"#define FOCALROW_ERROR_SWIVEL_COUNTS {axes.get('swivel', 0)}",
        f"#define FOCALROW_ERROR_UMRAD {math.ceil(1e3 * error.mrad)} /* lens normal, in thousandths of a mrad */",
        f"#define FOCALROW_ERROR_WORST_AT {_u32(error.worst_at)} /* when that is: {_utc(error.worst_at)} */",
        f"#define FOCALROW_ERROR_ELSEWHERE_UMRAD {math.ceil(1e3 * error.mrad_elsewhere)} /* away from range ends */",
        f"#define FOCALROW_ERROR_EDGE_S {error.edge_seconds} /* first and last aimed second of a day */",
        f"#define FOCALROW_ERROR_POWER_PPM {math.ceil(1e6 * error.power)} /* worst moment, of DNI times aperture */",
        f"#define FOCALROW_ERROR_ENERGY_PPM {math.ceil(1e6 * max(0.0, error.energy))} /* of the period's energy */",
        "",
        f"#define FOCALROW_TABLE_BYTES {table.size}",
        f"#define FOCALROW_POSES_BYTES {export.poses.size} /* of the bins of poses beside the table */",
        f"#define FOCALROW_VECTORS_BYTES {VECTOR_BYTES * len(vector_times(export))} /* of the test vectors */",
        f"#define FOCALROW_TABLE_CRC32 {_u32(table.crc)} /* CRC-32/ISO-HDLC; its check value is 0xCBF43926 */",
        "",
        "/* HOMING: counts rise (1) or fall (-1) on the way to the home switch; APPROACH: as a setpoint is reached. */",
        *_axis_constants(export),
        *HEADER_BODY.splitlines(),
        "",
        "#ifdef __cplusplus",
        "}",
        "#endif",
        "",
        "#endif",
        "",
    ]
    return "\n".join(lines)


def _opening(export: CExport) -> list[str]:
    table, error, drive = export.table, export.error, export.drive
    site = drive.scene_file.site
    loss = 100.0 * max(0.0, error.energy)
    each = zip(table.axes, error.counts, strict=True)
    worst = ", ".join(f"{scale.axis} {count} counts" for scale, count in each)
    words = [
        "Setpoints for the motors of a solar boiler lens, written by focalrow.",
        "",
        f"Place: {_plain(site.name or 'unnamed')}, latitude {site.latitude:g} deg, longitude {site.longitude:g} deg.",
        f"Valid from {_utc(table.start)} until {_utc(table.start + table.days * DAY_SECONDS)} (not included).",
        f"Table: {table.size} bytes, {len(table.node_days)} days with {table.slots} instants each, both interpolated.",
        f"Worst interpolation error against the schedule, over {error.minutes} minutes:",
        f"{worst}; {error.mrad:.3f} mrad of the lens normal.",
        f"That worst moment is {_utc(error.worst_at)}; {error.mrad_elsewhere:.3f} mrad at most two slots or more away",
        "from minutes at which an axis stands at an end of its range, where the path bends sharply.",
        f"It costs {100.0 * error.power:.3f} % of DNI times aperture at the worst moment, {loss:.4f} % of the energy.",
        f"Largest clock error allowed: {export.clock_error} s; it costs {100.0 * CLOCK_LOSS:g} % of the power at most.",
        *_pose_words(export),
        *_correction_words(drive),
        "",
        "WATCHDOG CONTRACT. Concentrated light burns skin and eyes and starts fires within seconds. The firmware must:",
        "1. call focalrow_check_table() at every start and once a day; if it fails, use no entry of the table: cut the",
        "   motors' following, drive to FOCALROW_STOW counts from the program's own copy, and raise the alarm;",
        "2. follow only while its clock is set and known to FOCALROW_CLOCK_ERROR_S; a clock that is not set, or that",
        "   may have drifted further, means: drive to the stow pose and stay there (FOCALROW_STOW_IS_SAFE says whether",
        "   that pose makes no focus under any sun of the period; if it is 0, the lens must be covered by hand);",
        "3. home both axes at every start, after every loss of power or of counts, and once a day at night;",
        "4. stop the motor at once when a limit switch opens, never drive further into it, and take the other axis out",
        "   by focalrow_emergency_by(); if that says NO_WAY, raise the alarm: somebody must cover the lens;",
        "5. treat every state but TRACKING and OVER_ZENITH as not aimed; never keep an old setpoint when a call says",
        "   OUT_OF_PERIOD or STOWED, and never extrapolate; where WAITING comes between two times of tracking the sun",
        "   has left the ranges and the focus would fall beside the tubes: stay at focalrow_emergency() meanwhile;",
        "6. go to focalrow_emergency() when water, pressure or temperature is out of range, and to focalrow_wind() in",
        "   wind beyond what the mount is built for;",
        "7. run an independent watchdog timer that resets the controller when a setpoint is older than two periods;",
        "8. let no motor run for more than its DUTY_PERMILLE of any DUTY_PERIOD_S: take long ways in pieces.",
        "Screw drives hold without power: when the power fails in the sun the focus walks off. Keep power for one",
        "emergency move, or a cover that falls by itself. Local codes and licensed practice decide what may be built.",
    ]
    return ["/*", *(f" * {word}".rstrip() for word in words), " */"]


def _pose_words(export: CExport) -> list[str]:
    """How coarse the bins of poses are."""
    words = [
        f"Ways out by bins of poses of at most {BIN_TILT:g} deg of tilt by {BIN_SWIVEL:g} deg of swivel: each is safe",
        "from every aimed pose of its bin, so it may be longer than the nearest way from one pose.",
    ]
    if export.way_excess is not None:
        words.append(f"Over the instants planned it takes {export.way_excess:.0f} s of motor time longer at most.")
    return words


def _correction_words(drive: Drive) -> list[str]:
    """Which errors of the mount the counts allow for."""
    if drive.errors == NO_ERRORS:
        return []
    e = drive.errors
    return [
        f"Counts allow for a mount found to be off: azimuth zero {e.azimuth_zero:+.3f} deg, tilt zero",
        f"{e.tilt_zero:+.3f} deg, base leaning {e.base_east:+.3f} deg to the east and {e.base_north:+.3f} deg to the",
        f"north, tilt actuator longer by {1e3 * e.tilt_length:+.2f} mm. Angles are those against that base.",
    ]


def _axis_constants(export: CExport) -> list[str]:
    table, drive = export.table, export.drive
    lines = []
    drives = dict(drive.actuators.axes())
    for k, scale in enumerate(table.axes):
        each, name = drives[scale.axis], scale.axis.upper()
        home = round(float(each.counts(each.home)))
        lines += [
            f"/* {scale.axis}: {_axis_words(each)} */",
            f"#define FOCALROW_{name}_OFFSET {_i32(scale.offset)} /* counts = offset + word * scale */",
            f"#define FOCALROW_{name}_SCALE {_i32(scale.scale)}",
            f"#define FOCALROW_{name}_STOW {_i32(table.stow_counts[k])} /* counts */",
            *_unit_constants(name, each),
            f"#define FOCALROW_{name}_HOME {_i32(home)} /* counts at the switch */",
            f"#define FOCALROW_{name}_HOMING {_side(each, each.homing)}",
            f"#define FOCALROW_{name}_APPROACH {_side(each, each.approach)}",
            f"#define FOCALROW_{name}_BACKLASH {_i32(math.ceil(each.backlash * each.linkage.counts_per_travel))}",
            f"#define FOCALROW_{name}_DEAD_BAND {_i32(_dead_band_counts(each))} /* counts, the least over the range */",
            f"#define FOCALROW_{name}_SPEED {_i32(round(each.speed * each.linkage.counts_per_travel))} /* a second */",
            f"#define FOCALROW_{name}_DUTY_PERMILLE {int(1000.0 * each.duty_cycle)} /* of any DUTY_PERIOD_S */",
            f"#define FOCALROW_{name}_DUTY_PERIOD_S {_i32(int(each.duty_period))}",
        ]
        if each.limits is not None:
            low, high = sorted(float(each.counts(limit)) for limit in each.limits)
            lines += [
                f"#define FOCALROW_{name}_LOWEST {_i32(math.floor(low))} /* soft limits, counts */",
                f"#define FOCALROW_{name}_HIGHEST {_i32(math.ceil(high))}",
            ]
    for name in ("TILT", "SWIVEL"):
        there = any(scale.axis.upper() == name for scale in table.axes)
        lines.append(f"#define FOCALROW_HAS_{name} {int(there)}")
    lines += [f"#define FOCALROW_STOW_IS_SAFE {int(drive.stow.safe)}", ""]
    return lines


def _unit_constants(name: str, each: Actuator) -> list[str]:
    """Units of the counts, in thousandths, and where they are 0, in millionths."""
    per, zero = each.linkage.counts_per_travel, each.linkage.travel_at_zero
    if each.is_linear:
        return [
            f"#define FOCALROW_{name}_MILLICOUNTS_PER_MM {_u32(round(per))}",
            f"#define FOCALROW_{name}_ZERO_UM {_i32(round(1e6 * zero))} /* from eye to eye at counts 0 */",
        ]
    return [
        f"#define FOCALROW_{name}_MILLICOUNTS_PER_DEG {_u32(round(1e3 * per))}",
        f"#define FOCALROW_{name}_ZERO_UDEG {_i32(round(1e6 * zero))} /* angle at counts 0: the mechanical zero */",
    ]


def _side(each: Actuator, direction: Direction) -> str:
    """Whether counts rise or fall while the angle goes that way."""
    linkage = each.linkage
    with_angle = not isinstance(linkage, ArmLinkage) or linkage.extends_with_angle
    return "1" if (direction == "rising") == with_angle else "(-1)"


def _axis_words(each: Actuator) -> str:
    per = each.linkage.counts_per_travel
    if each.is_linear:
        return f"linear, {per / 1e3:g} counts per mm, 0 at {1e3 * each.linkage.travel_at_zero:g} mm from eye to eye"
    zero = each.linkage.travel_at_zero
    return f"rotary, {per:.9g} counts per deg, unwrapped, mechanical zero (counts 0) at {zero:g} deg"


def _dead_band_counts(each: Actuator) -> int:
    low, high = each.limits or (0.0, 1.0)
    slopes = np.abs(each.counts_per_angle(np.linspace(low, high, 91)[1:-1]))
    return max(1, int(each.dead_band * float(np.min(slopes))))


HEADER_BODY = """\
typedef enum {
    FOCALROW_TRACKING = 0,      /* go to the counts, the sun is in the lens */
    FOCALROW_WAITING = 1,       /* the sun comes: go to the counts; between two times of tracking see 5 above */
    FOCALROW_STOWED = 2,        /* go to the counts, they are the stow pose */
    FOCALROW_OVER_ZENITH = 3,   /* as TRACKING; the path leaves the strict aim */
    FOCALROW_OUT_OF_PERIOD = 4, /* the table does not know this time; the counts are the stow pose */
    FOCALROW_EMERGENCY = 5,     /* go to the counts, one axis moves */
    FOCALROW_NO_WAY = 6         /* no safe pose can be reached: the lens must be covered */
} focalrow_state;

typedef struct {
    focalrow_state state;
    int32_t tilt;   /* counts; 0 where the mount has no such motor */
    int32_t swivel;
} focalrow_setpoint;

/* The setpoint at a time. A firmware that moves once a step asks for the middle of it, half a step ahead; where counts
   go against APPROACH it passes them by BACKLASH and comes back, so that the slack always lies on the same side. */
focalrow_setpoint focalrow_lookup(uint32_t utc);

/* The shorter way from a pose to one from which no focus falls on tubes, frame or ground. */
focalrow_setpoint focalrow_emergency(int32_t tilt, int32_t swivel);

/* The way by one axis, 0 tilt or 1 swivel, where the other one must not move. */
focalrow_setpoint focalrow_emergency_by(uint32_t axis, int32_t tilt, int32_t swivel);

/* The pose in which the sheet lies flattest of those that one axis reaches and from which no focus falls, for wind. */
focalrow_setpoint focalrow_wind(int32_t tilt, int32_t swivel);

/* 1 if the table is whole: magic number, format version and CRC-32; else 0. */
int focalrow_check_table(void);

/* 1 if look-ups give what they gave when the table was written; else 0. */
int focalrow_self_test(void);

/* CRC-32/ISO-HDLC of bytes: 0xCBF43926 for the nine characters 123456789. */
uint32_t focalrow_crc32(const uint8_t *bytes, uint32_t count);

/* A position of the swivel as a 16-bit binary angle, 65536 a turn, counted from azimuth 0; 0 for a linear drive. */
uint16_t focalrow_swivel_binary_angle(int32_t counts);"""


def _u32(value: int) -> str:
    return f"UINT32_C({value})"


def _i32(value: int) -> str:
    if abs(value) > VALUE_LIMIT:
        raise ValueError(f"a count of {value} does not fit into 32 bits.")
    return f"INT32_C({value})" if value >= 0 else f"(-INT32_C({-value}))"


def _array(kind: str, name: str, values: Iterable[int]) -> list[str]:
    cells = [str(int(value)) for value in values]
    rows = [", ".join(cells[k : k + WORDS_A_LINE]) for k in range(0, len(cells), WORDS_A_LINE)]
    return [f"static const {kind} {name}[] FOCALROW_FLASH = {{", *(f"    {row}," for row in rows), "};", ""]


def _source(export: CExport) -> str:
    table = export.table
    row_words = HEAD_WORDS + len(table.axes) * table.slots
    rows_a_chunk = max(1, LARGEST_ARRAY // (2 * row_words))
    chunks = [table.rows[k : k + rows_a_chunk] for k in range(0, len(table.rows), rows_a_chunk)]
    names = ", ".join(f"rows_{k}" for k in range(len(chunks)))
    spans = table.spans if len(table.spans) else np.array([[0, 1, 0, 0]], dtype=np.uint16)
    lines = [
        "/* Written by focalrow together with focalrow_setpoints.h, which says what this is and how it is safe. */",
        '#include "focalrow_setpoints.h"',
        "",
        "/* Where constant arrays need a place of their own and a way of their own to be read, as on controllers with",
        "   separate program memory, define these three before, for instance in a header that the command line",
        "   includes: FOCALROW_FLASH stands behind the arrays' names, the other two take the address of a word. */",
        "#ifndef FOCALROW_FLASH",
        "#define FOCALROW_FLASH",
        "#endif",
        "#ifndef FOCALROW_READ16",
        "#define FOCALROW_READ16(place) (*(place))",
        "#endif",
        "#ifndef FOCALROW_READ32",
        "#define FOCALROW_READ32(place) (*(place))",
        "#endif",
        "",
        f"#define NODES {len(table.node_days)}u",
        f"#define SLOTS {table.slots}u",
        f"#define AXES {len(table.axes)}u",
        f"#define HEAD {HEAD_WORDS}u",
        "#define ROW_WORDS (HEAD + AXES * SLOTS)",
        f"#define ROWS_A_CHUNK {rows_a_chunk}u",
        f"#define SPANS {len(table.spans)}u",
        f"#define NO_SUN {NO_SUN}u",
        "#define DAY_SECONDS 86400u",
        "",
        f"static const uint32_t stamp[] FOCALROW_FLASH = {{FOCALROW_MAGIC, {FORMAT_VERSION}u}};",
        "",
        *_array("uint16_t", "node_days", table.node_days),
        *(
            line
            for k, chunk in enumerate(chunks)
            for line in _array("uint16_t", f"rows_{k}", np.asarray(chunk).ravel())
        ),
        "/* Other states than tracking: day, start and end in units of 2 s, code of the state. */",
        *_array("uint16_t", "spans", spans.ravel()),
        f"#define CHUNKS {len(chunks)}u",
        f"static const uint16_t *const chunks[CHUNKS] = {{{names}}};",
        "",
        *_pose_arrays(export.poses),
        *_vectors(export),
        *_binary_angle_constants(export),
        *SOURCE_BODY.splitlines(),
        *_axis_pick(export),
        *SOURCE_END.splitlines(),
        "",
    ]
    return "\n".join(lines)


def _axis_pick(export: CExport) -> list[str]:
    """The function that reads both axes of one instant."""
    names = [scale.axis for scale in export.table.axes]
    lines = [
        "static focalrow_setpoint aimed(const place_t *at)",
        "{",
        "    focalrow_setpoint found = {FOCALROW_TRACKING, 0, 0};",
    ]
    for k, name in enumerate(names):
        upper = name.upper()
        lines.append(
            f"    found.{name} = counts_of(axis_value(at, {k}u), FOCALROW_{upper}_OFFSET, FOCALROW_{upper}_SCALE);"
        )
    return [*lines, "    return found;", "}", ""]


def _edges(each: Actuator | None, edges: Sequence[float]) -> list[int]:
    if each is None:
        return [-VALUE_LIMIT, VALUE_LIMIT]
    return [round(float(each.counts(edge))) for edge in edges]


def pose_table(drive: Drive, bins: Sequence[PoseBin]) -> PoseTable:
    """The bins as integers."""
    drives = dict(drive.actuators.axes())
    tilt_drive, swivel_drive = drives.get("tilt"), drives.get("swivel")
    tilts = sorted({each.tilt for each in bins})
    swivels = sorted({each.swivel for each in bins})
    tilt_edges = _edges(tilt_drive, [tilts[0][0], *(pair[1] for pair in tilts)])
    swivel_edges = _edges(swivel_drive, [swivels[0][0], *(pair[1] for pair in swivels)])
    if tilt_edges[0] > tilt_edges[-1]:
        tilts.reverse()
        tilt_edges.reverse()
    if swivel_edges[0] > swivel_edges[-1]:
        swivels.reverse()
        swivel_edges.reverse()
    by_place = {(each.tilt, each.swivel): each for each in bins}
    ways = [way for each in bins for way in (each.by_tilt, each.by_swivel, each.wind) if way is not None]
    angles = {axis: [way.angle for way in ways if way.axis == axis] for axis in AXIS_CODES}
    scales = {axis: _way_scale(axis, drives.get(axis), angles[axis]) for axis in AXIS_CODES}

    def word(way: WayOut | None) -> int:
        if way is None:
            return NO_WORD
        counts = round(float(drives[way.axis].counts(way.angle)))
        return (counts - scales[way.axis].offset) // scales[way.axis].scale  # never beyond a soft limit

    def entry(each: PoseBin) -> tuple[int, int, int, int]:
        out, wind = (NO_AXIS if way is None else AXIS_CODES[way.axis] for way in (each.way_out, each.wind))
        return out | wind << AXIS_BITS, word(each.by_tilt), word(each.by_swivel), word(each.wind)

    turn = 0
    if swivel_drive is not None and drive.mount.swivel_limits is None:
        turn = round(360.0 * swivel_drive.linkage.counts_per_travel)
    return PoseTable(
        tilt_edges=tuple(tilt_edges),
        swivel_edges=tuple(swivel_edges),
        turn=turn,
        scales=(scales["tilt"], scales["swivel"]),
        words=tuple(entry(by_place[tilt, swivel]) for tilt in tilts for swivel in swivels),
    )


def _way_scale(axis: AxisName, drive: Actuator | None, angles: Sequence[float]) -> AxisScale:
    """Offset and scale of the words for the ways by an axis to these angles [deg]."""
    if drive is None or not angles:
        return AxisScale(axis=axis, offset=0, scale=1)
    counts = [round(float(drive.counts(angle))) for angle in angles]
    return AxisScale(axis=axis, offset=min(counts), scale=max(1, -(-(max(counts) - min(counts)) // (NO_WORD - 1))))


def _pose_arrays(poses: PoseTable) -> list[str]:
    return [
        "/* Bins of poses in counts. Of each the axis of the shorter way out (bits 0 and 1: 0 tilt, 1 swivel, 2 none)",
        "   and of the way for wind (bits 2 and 3); and the words of the ways by tilt, by swivel and for wind. */",
        f"#define TILT_BINS {len(poses.tilt_edges) - 1}u",
        f"#define SWIVEL_BINS {len(poses.swivel_edges) - 1}u",
        f"#define SWIVEL_TURN INT32_C({poses.turn}) /* counts of a whole turn where the swivel has no end; else 0 */",
        *_array("int32_t", "tilt_edges", poses.tilt_edges),
        *_array("int32_t", "swivel_edges", poses.swivel_edges),
        *(
            f"#define {scale.axis.upper()}_WAY_{name} {_i32(value)}"
            for scale in poses.scales
            for name, value in (("OFFSET", scale.offset), ("SCALE", scale.scale))
        ),
        f"#define WAY_WORDS {WAY_WORDS}u",
        f"#define NO_WORD {NO_WORD}u",
        *_array("uint16_t", "ways", (word for each in poses.words for word in each)),
        f"#define POSES_CRC32 {_u32(poses.crc)}",
        "",
    ]


def _vector_days(days: Sequence[DaySchedule]) -> range:
    return range(0, len(days), -(-len(days) // VECTOR_DAYS))


def vector_bytes(days: Sequence[DaySchedule]) -> int:
    """Bytes of the test vectors of a period."""
    return VECTOR_BYTES * (2 + sum(1 if days[day].track is None else 5 for day in _vector_days(days)))


def vector_times(export: CExport) -> list[int]:
    """Instants of the test vectors: nights, edges and noons of the period, and one before and one after it."""
    table = export.table
    times = [table.start - 1]
    for day in _vector_days(export.days):
        track = export.days[day].track
        start = table.start + day * DAY_SECONDS
        times.append(start)
        if track is not None:
            first, last = int(track.seconds[0]), int(track.seconds[-1])
            middle = (first + last) // 2 + 17
            times += [first - table.wait_seconds // 2, first + (last - first) // 3, middle, last + 600]
    return [*times, table.start + table.days * DAY_SECONDS]


def _vectors(export: CExport) -> list[str]:
    times = vector_times(export)
    found = look_up(export.table, np.array(times, dtype=np.int64))
    lines = [
        "/* Test vectors: seconds from the start of the period, the state's code, counts of tilt and swivel. */",
        "static const int32_t vectors[] FOCALROW_FLASH = {",
    ]
    for k, time in enumerate(times):
        counts = dict(zip((scale.axis for scale in export.table.axes), found.counts[k].tolist(), strict=True))
        words = time - export.table.start, int(found.state[k]), counts.get("tilt", 0), counts.get("swivel", 0)
        lines.append(f"    {', '.join(_i32(word) for word in words)}, /* {_utc(time)} */")
    return [*lines, "};", f"#define VECTORS {len(times)}u", ""]


def _binary_angle_constants(export: CExport) -> list[str]:
    each = dict(export.drive.actuators.axes()).get("swivel")
    if each is None or each.is_linear:
        return ["#define BINARY_PER_COUNT INT64_C(0)", "#define BINARY_ZERO UINT32_C(0)", ""]
    per_count = round(2.0**48 / (360.0 * each.linkage.counts_per_travel))
    zero = round(65536.0 * each.linkage.travel_at_zero / 360.0) % 65536
    return [
        f"#define BINARY_PER_COUNT INT64_C({per_count}) /* 2^48 over the counts of a turn */",
        f"#define BINARY_ZERO UINT32_C({zero})",
        "",
    ]


SOURCE_BODY = """\
/* One instant between two rows and two slots. */
typedef struct {
    uint32_t node, after; /* rows */
    uint32_t way, gap;    /* days from the first row, and between both */
    uint32_t slot, fraction; /* fraction in 1/4096 */
} place_t;

static uint16_t row_word(uint32_t row, uint32_t column)
{
    return FOCALROW_READ16(&chunks[row / ROWS_A_CHUNK][(row % ROWS_A_CHUNK) * ROW_WORDS + column]);
}

/* The value a share way / gap from a to b, rounded; both below 2^24 and gap below 128, so nothing overflows. */
static uint32_t between(uint32_t a, uint32_t b, uint32_t way, uint32_t gap)
{
    return (a * (gap - way) + b * way + gap / 2u) / gap;
}

/* A word at the instant's slot in 1/256. */
static uint32_t slot_value(uint32_t row, uint32_t column, uint32_t fraction)
{
    uint32_t low = row_word(row, column);
    uint32_t high = row_word(row, column + 1u);
    return (low * (4096u - fraction) + high * fraction) >> 4;
}

static uint32_t axis_value(const place_t *at, uint32_t axis)
{
    uint32_t column = HEAD + axis * SLOTS + at->slot;
    uint32_t here = slot_value(at->node, column, at->fraction);
    uint32_t there = at->way > 0u ? slot_value(at->after, column, at->fraction) : here;
    return between(here, there, at->way, at->gap);
}

static int32_t counts_of(uint32_t value, int32_t offset, int32_t scale)
{
    int32_t whole = (int32_t)(value >> 8);
    int32_t part = (int32_t)(value & 255u);
    return offset + whole * scale + ((part * scale + 128) >> 8);
}

static focalrow_setpoint stowed(focalrow_state state)
{
    focalrow_setpoint found = {FOCALROW_STOWED, 0, 0};
    found.state = state;
#if FOCALROW_HAS_TILT
    found.tilt = FOCALROW_TILT_STOW;
#endif
#if FOCALROW_HAS_SWIVEL
    found.swivel = FOCALROW_SWIVEL_STOW;
#endif
    return found;
}
"""

SOURCE_END = """\
static focalrow_state state_of(uint32_t day, uint32_t second)
{
    uint32_t k;
    uint32_t tick = second / 2u;
    uint32_t count = SPANS;
    for (k = 0u; k < count; k++) {
        if (FOCALROW_READ16(&spans[4u * k]) == day && tick >= FOCALROW_READ16(&spans[4u * k + 1u])
            && tick <= FOCALROW_READ16(&spans[4u * k + 2u])) {
            return (focalrow_state)FOCALROW_READ16(&spans[4u * k + 3u]);
        }
    }
    return FOCALROW_TRACKING;
}

focalrow_setpoint focalrow_lookup(uint32_t utc)
{
    place_t at;
    focalrow_setpoint found;
    uint32_t day, second, first, last, span, gone, low, high;

    if (utc < FOCALROW_VALID_FROM || utc >= FOCALROW_VALID_UNTIL) {
        return stowed(FOCALROW_OUT_OF_PERIOD);
    }
    day = (utc - FOCALROW_VALID_FROM) / DAY_SECONDS;
    second = (utc - FOCALROW_VALID_FROM) % DAY_SECONDS;

    low = 0u;
    high = NODES;
    while (high - low > 1u) {
        uint32_t middle = low + (high - low) / 2u;
        if (FOCALROW_READ16(&node_days[middle]) <= day) {
            low = middle;
        } else {
            high = middle;
        }
    }
    at.node = low;
    at.after = low + 1u < NODES ? low + 1u : low;
    at.way = day - FOCALROW_READ16(&node_days[at.node]);
    at.gap = (uint32_t)FOCALROW_READ16(&node_days[at.after]) - FOCALROW_READ16(&node_days[at.node]);
    if (at.gap == 0u) {
        at.gap = 1u;
    }
    if (at.way > at.gap) { /* a damaged table */
        return stowed(FOCALROW_STOWED);
    }
    if (row_word(at.node, 0u) == NO_SUN || (at.way > 0u && row_word(at.after, 0u) == NO_SUN)) {
        return stowed(FOCALROW_STOWED);
    }
    first = 2u * between(row_word(at.node, 0u), row_word(at.way > 0u ? at.after : at.node, 0u), at.way, at.gap);
    last = 2u * between(row_word(at.node, 1u), row_word(at.way > 0u ? at.after : at.node, 1u), at.way, at.gap);
    if (second + FOCALROW_WAIT_S < first || second > last) {
        return stowed(FOCALROW_STOWED);
    }
    span = last > first ? last - first : 1u;
    gone = second > first ? second - first : 0u;
    if (gone > span) {
        gone = span;
    }
    gone *= SLOTS - 1u;
    at.slot = gone / span;
    if (at.slot > SLOTS - 2u) {
        at.slot = SLOTS - 2u;
    }
    at.fraction = ((gone - at.slot * span) << 12) / span;
    found = aimed(&at);
    found.state = second < first ? FOCALROW_WAITING : state_of(day, second);
    return found;
}

static uint32_t bin_of(const int32_t *edges, uint32_t bins, int32_t counts)
{
    uint32_t k = 0u;
    while (k + 1u < bins && counts >= (int32_t)FOCALROW_READ32(&edges[k + 1u])) {
        k++;
    }
    return k;
}

/* The swivel within the turn that the bins know; `turns` tells how many counts were taken off. */
static int32_t within_turn(int32_t swivel, int32_t *turns)
{
    int32_t turn = SWIVEL_TURN;
    *turns = 0;
    if (turn > 0) {
        int32_t lowest = (int32_t)FOCALROW_READ32(&swivel_edges[0]);
        while (swivel - *turns < lowest) {
            *turns -= turn;
        }
        while (swivel - *turns >= lowest + turn) {
            *turns += turn;
        }
    }
    return swivel - *turns;
}

static uint32_t pose_bin(int32_t tilt, int32_t swivel, int32_t *turns)
{
    int32_t inside = within_turn(swivel, turns);
    return bin_of(tilt_edges, TILT_BINS, tilt) * SWIVEL_BINS + bin_of(swivel_edges, SWIVEL_BINS, inside);
}

/* One axis goes by the word of a bin's way, the other one stays. */
static focalrow_setpoint one_axis(uint32_t axis, uint32_t word, int32_t turns, int32_t tilt, int32_t swivel)
{
    focalrow_setpoint found = {FOCALROW_EMERGENCY, 0, 0};
    found.tilt = tilt;
    found.swivel = swivel;
    if (axis > 1u || word == NO_WORD) {
        found.state = FOCALROW_NO_WAY;
    } else if (axis == 0u) {
        found.tilt = TILT_WAY_OFFSET + (int32_t)word * TILT_WAY_SCALE;
    } else {
        found.swivel = SWIVEL_WAY_OFFSET + (int32_t)word * SWIVEL_WAY_SCALE + turns;
    }
    return found;
}

static uint32_t way_word(uint32_t bin, uint32_t column)
{
    return FOCALROW_READ16(&ways[bin * WAY_WORDS + column]);
}

focalrow_setpoint focalrow_emergency_by(uint32_t axis, int32_t tilt, int32_t swivel)
{
    int32_t turns = 0;
    uint32_t bin = pose_bin(tilt, swivel, &turns);
    return one_axis(axis, axis > 1u ? NO_WORD : way_word(bin, 1u + axis), turns, tilt, swivel);
}

focalrow_setpoint focalrow_emergency(int32_t tilt, int32_t swivel)
{
    int32_t turns = 0;
    uint32_t bin = pose_bin(tilt, swivel, &turns);
    return focalrow_emergency_by(way_word(bin, 0u) & 3u, tilt, swivel);
}

focalrow_setpoint focalrow_wind(int32_t tilt, int32_t swivel)
{
    int32_t turns = 0;
    uint32_t bin = pose_bin(tilt, swivel, &turns);
    return one_axis((way_word(bin, 0u) >> 2) & 3u, way_word(bin, 3u), turns, tilt, swivel);
}

static uint32_t crc_byte(uint32_t crc, uint32_t byte)
{
    int bit;
    crc ^= byte & 255u;
    for (bit = 0; bit < 8; bit++) {
        crc = (crc & 1u) != 0u ? (crc >> 1) ^ UINT32_C(0xEDB88320) : crc >> 1;
    }
    return crc;
}

uint32_t focalrow_crc32(const uint8_t *bytes, uint32_t count)
{
    uint32_t crc = UINT32_C(0xFFFFFFFF);
    uint32_t k;
    for (k = 0u; k < count; k++) {
        crc = crc_byte(crc, bytes[k]);
    }
    return crc ^ UINT32_C(0xFFFFFFFF);
}

static uint32_t crc_word(uint32_t crc, uint32_t word)
{
    return crc_byte(crc_byte(crc, word & 255u), word >> 8);
}

static uint32_t crc_long(uint32_t crc, uint32_t word)
{
    return crc_word(crc_word(crc, word & 65535u), word >> 16);
}

int focalrow_check_table(void)
{
    uint32_t crc = UINT32_C(0xFFFFFFFF);
    uint32_t k, column;
    uint32_t words = 4u * SPANS;
    if (FOCALROW_READ32(&stamp[0]) != FOCALROW_MAGIC || FOCALROW_READ32(&stamp[1]) != FOCALROW_FORMAT_VERSION) {
        return 0;
    }
    for (k = 0u; k < NODES; k++) {
        crc = crc_word(crc, FOCALROW_READ16(&node_days[k]));
    }
    for (k = 0u; k < NODES; k++) {
        for (column = 0u; column < ROW_WORDS; column++) {
            crc = crc_word(crc, row_word(k, column));
        }
    }
    for (k = 0u; k < words; k++) {
        crc = crc_word(crc, FOCALROW_READ16(&spans[k]));
    }
    if ((crc ^ UINT32_C(0xFFFFFFFF)) != FOCALROW_TABLE_CRC32) {
        return 0;
    }
    crc = UINT32_C(0xFFFFFFFF);
    for (k = 0u; k <= TILT_BINS; k++) {
        crc = crc_long(crc, (uint32_t)FOCALROW_READ32(&tilt_edges[k]));
    }
    for (k = 0u; k <= SWIVEL_BINS; k++) {
        crc = crc_long(crc, (uint32_t)FOCALROW_READ32(&swivel_edges[k]));
    }
    for (k = 0u; k < TILT_BINS * SWIVEL_BINS; k++) {
        for (column = 0u; column < WAY_WORDS; column++) {
            crc = crc_word(crc, way_word(k, column));
        }
    }
    return (crc ^ UINT32_C(0xFFFFFFFF)) == POSES_CRC32;
}

int focalrow_self_test(void)
{
    uint32_t k;
    for (k = 0u; k < VECTORS; k++) {
        /* Before the period this wraps, as it should. */
        focalrow_setpoint found = focalrow_lookup(FOCALROW_VALID_FROM + (uint32_t)FOCALROW_READ32(&vectors[4u * k]));
        if ((int32_t)found.state != (int32_t)FOCALROW_READ32(&vectors[4u * k + 1u])
            || found.tilt != (int32_t)FOCALROW_READ32(&vectors[4u * k + 2u])
            || found.swivel != (int32_t)FOCALROW_READ32(&vectors[4u * k + 3u])) {
            return 0;
        }
    }
    return 1;
}

uint16_t focalrow_swivel_binary_angle(int32_t counts)
{
    int64_t turned = ((int64_t)counts * BINARY_PER_COUNT) / INT64_C(4294967296);
    return (uint16_t)(((uint32_t)(uint64_t)turned + BINARY_ZERO) & 65535u);
}"""
