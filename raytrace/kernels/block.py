"""The rays of a replicate in blocks, stage by stage, as vector code; the general path finishes the few that stray.

A plain ray meets one facet and the flat face, no riser, and then at most one tube's absorber. For such rays every stage
is one loop without branches or calls over arrays of a block, which LLVM turns into vector instructions. Each stage
checks what it takes for granted; a ray that fails is left out of the sums and noted, and `path.finish_leftovers` traces
it from its start or from the sheet on. The two paths share their formulas and random numbers, so they book the same ray
alike but for rounding. They are two entries, so that a first run can compile them at the same time.
"""

import numpy as np

from raytrace.kernels import path
from raytrace.kernels.gather import fill_gathered
from raytrace.kernels.grooves import (
    enter_flat_face,
    into_pieces,
    out_of_pieces,
    through_facets_above,
    through_facets_below,
    turn_at_risers,
)
from raytrace.kernels.jit import Flag, entry, kernel
from raytrace.kernels.landing import COLUMNS, absorb, fill_profile_bins, fill_spots, meet_row, slip_beside
from raytrace.kernels.path import DONE, FROM_START, Leftovers, Window, profile_bin
from raytrace.kernels.sheet import Sheet
from raytrace.kernels.starts import fill_directions, fill_starts
from raytrace.kernels.sun import Sun
from raytrace.kernels.tube import Row

BLOCK = 256
"""Rays of a block: its arrays stay in the processor's nearer caches."""

APART = 4
"""Sums of each tube kept apart, so that one addition need not wait for the one before."""


@kernel
def book_plain(
    window: Window, count: int, weight: np.ndarray, crossing: np.ndarray, bins: np.ndarray,
    tube: np.ndarray, arrived: np.ndarray, taken: np.ndarray, tubes_apart: np.ndarray, profile: np.ndarray,
) -> None:
    """Add a block's plain rays to the profile and the tubes. Unsigned places cannot be negative: none is counted from
    an array's end, so none is looked at.
    """
    for k in range(np.uint32(count)):
        if bins[k] >= 0:
            profile[np.uint32(bins[k])] += weight[k]
        elif weight[k] > 0.0:
            profile[profile_bin(window, crossing[k])] += weight[k]
    for k in range(np.uint32(count)):
        here = np.uint32(tube[k])
        tubes_apart[k & np.uint32(APART - 1), 0, here] += arrived[k]
        tubes_apart[k & np.uint32(APART - 1), 1, here] += taken[k]


@kernel
def note_leftovers(
    leftovers: Leftovers, noted: int, base: int, count: int, todo: np.ndarray, stray: np.ndarray,
    line: np.ndarray, turn: np.ndarray, weight: np.ndarray,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray,
    px1: np.ndarray, pz1: np.ndarray, x1: np.ndarray, y1: np.ndarray, z1: np.ndarray,
) -> int:
    """Note a block's rays that strayed, after the `noted` ones before; returns how many are noted then."""
    any_left = DONE
    for k in range(count):
        any_left |= todo[k] | stray[k]
    if any_left == DONE:
        return noted
    for k in range(count):
        again = todo[k] == FROM_START
        kind = todo[k] if again else stray[k]
        if kind == DONE:
            continue
        leftovers.kind[noted], leftovers.ray[noted], leftovers.line[noted] = kind, base + k, line[k]
        numbers = leftovers.numbers[noted]
        numbers[0] = turn[k] if again else weight[k]
        numbers[1], numbers[2] = (x[k], y[k]) if again else (x1[k], y1[k])
        numbers[3] = 0.0 if again else z1[k]
        numbers[4] = px[k] if again else px1[k]
        numbers[5] = py[k]
        numbers[6] = pz[k] if again else pz1[k]
        noted += 1
    return noted


@entry
def trace_plain(
    sheet: Sheet, row: Row, sun: Sun, window: Window, first: int, rays: int, vector: np.ndarray, shift: np.ndarray,
    sums: np.ndarray, tubes: np.ndarray, profile: np.ndarray, flux: np.ndarray, leftovers: Leftovers,
    flipped: Flag, enveloped: Flag, sagging: Flag,
) -> int:
    """Trace `rays` rays of a replicate, from number `first` on; add those that go the plain way to the arrays given.

    The others are noted in `leftovers`, which must have room for `rays` of them; returns how many there are.

    `flipped` (grooves toward the sun), `enveloped` and `sagging` say True or None what `sheet` and `row` are: as None
    is a type of its own, only the stages that a scene needs are compiled for it.
    """
    px, py, pz = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    x, y, px1, pz1 = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    x1, y1, z1 = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    index, absorption, turn = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    weight, arrived, taken, crossing = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    glass_index, glass_absorption, cosine = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    line, todo, stray = np.empty(BLOCK, np.int32), np.empty(BLOCK, np.int32), np.empty(BLOCK, np.int32)
    bins, tube, spot = np.empty(BLOCK, np.int32), np.empty(BLOCK, np.int32), np.empty(BLOCK, np.int32)
    place, room = np.empty(BLOCK, np.int32), np.empty((COLUMNS, BLOCK))
    hit_u, hit_v, hit_w = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    # Where a stage is done with its arrays, later ones work in them under other names.
    leaning, falling, per_fall, level, path_so_far, share = arrived, taken, crossing, cosine, hit_u, hit_v
    cell, part = np.empty(BLOCK, np.int32), np.empty(BLOCK)
    tubes_apart = np.zeros((APART, 2, row.tubes))
    # Without sag the frames of the grooves are the lens frame, and its arrays serve for both.
    px0, pz0, x0, y0, xs, zs, pxs, pzs = px, pz, x, y, x1, z1, px1, pz1
    groove = np.empty(BLOCK, np.int32)
    if sagging is not None:
        px0, pz0, x0, y0 = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
        xs, zs, pxs, pzs = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    spots = flux.reshape(-1)
    noted = int(np.int64(0))  # typed: for a literal `note_leftovers` would be compiled a second time
    for base in range(first, first + rays, BLOCK):
        count = min(BLOCK, first + rays - base)
        fill_directions(sun, base, count, vector, shift, cell, part, arrived, taken, crossing, px, py, pz)
        fill_starts(sheet, sun, base, count, vector, shift, cell, part, x, y, index, absorption, turn, line)
        if sagging is not None:
            into_pieces(sheet, count, px, py, pz, x, y, px0, pz0, x0, y0, groove)
        if flipped is not None:
            started, reflected, absorbed, left = through_facets_above(
                sheet, count, pz, px0, py, pz0, x0, y0, index, absorption, turn, cell, part,
                xs, y1, zs, pxs, pzs, weight, todo)
        else:
            enter_flat_face(
                sheet, count, px0, pz0, x0, index, cell, part, leaning, falling, per_fall, level, path_so_far, share)
            turn_at_risers(
                sheet, count, index, cell, part, leaning, falling, per_fall, level, path_so_far, spot, place, room)
            started, reflected, absorbed, left = through_facets_below(
                sheet, count, pz, py, pz0, x0, y0, index, absorption, turn,
                cell, part, leaning, falling, per_fall, level, path_so_far, share,
                xs, y1, zs, pxs, pzs, weight, todo)
        if sagging is not None:
            out_of_pieces(sheet, count, x, groove, pxs, pzs, xs, zs, px1, pz1, x1, z1, weight)
        sums[path.STARTED] += started
        sums[path.REFLECTED_LENS] += reflected
        sums[path.ABSORBED_LENS] += absorbed
        sums[path.LEFT_DOWN] += left
        fill_profile_bins(window, row.height, count, px1, pz1, x1, z1, crossing, bins)
        if enveloped is not None:
            fill_gathered(sun.glass_index, line, count, glass_index)
            fill_gathered(sun.glass_absorption, line, count, glass_absorption)
        missed, lost = meet_row(
            row, enveloped, count, px1, py, pz1, x1, y1, z1, glass_index, glass_absorption, weight,
            tube, arrived, cosine, stray, hit_u, hit_v, hit_w)
        if enveloped is not None:
            slipped, clouded = slip_beside(
                row, enveloped, count, px1, py, pz1, x1, y1, z1, glass_index, glass_absorption, weight,
                tube, arrived, cosine, stray, hit_u, hit_v, hit_w, place, room)
            missed += slipped
            lost += clouded
        taken_up, turned_back = absorb(row.absorptance, count, arrived, cosine, taken)
        sums[path.MISSED_ROW] += missed
        sums[path.ENVELOPE] += lost
        sums[path.INTERCEPTED] += taken_up + turned_back
        sums[path.ABSORBED] += taken_up
        sums[path.REFLECTED_ABSORBER] += turned_back
        book_plain(window, count, weight, crossing, bins, tube, arrived, taken, tubes_apart, profile)
        if flux.shape[0] > 0:
            fill_spots(row, count, tube, hit_u, hit_v, hit_w, spot)
            for k in range(count):
                spots[np.uint32(spot[k])] += arrived[k]
        noted = note_leftovers(
            leftovers, noted, base, count, todo, stray, line, turn, weight,
            px, py, pz, x, y, px1, pz1, x1, y1, z1)
    for lane in range(APART):
        for kind in range(2):
            for number in range(row.tubes):
                tubes[kind, number] += tubes_apart[lane, kind, number]
    return noted
