"""Whether each stage of raytrace/kernels/block.py came out as vector code, and how many rays leave its plain way.

Each stage is compiled by itself while LLVM's remarks are read: the loops that it vectorised, the width of each, and the
instructions with 256-bit registers (ymm, of x86) or 512-bit ones (zmm) in the assembly. `book_plain` adds to places
that depend on the ray, which no vector code does.
"""

import os
import re
import sys
import tempfile
from collections.abc import Callable
from typing import Any

import llvmlite.binding as llvm
import numpy as np
from measuring import SEED, is_quick, print_heading, print_table

# Before anything is compiled.
llvm.set_option("", "-pass-remarks=loop-vectorize")

from measuring.scenes import all_scenes, inputs_of  # noqa: E402

from raytrace.kernels import block, gather, grooves, landing, path, starts  # noqa: E402
from raytrace.kernels.jit import callable_twin  # noqa: E402
from raytrace.points import lattice_vector, shifts_and_key  # noqa: E402
from raytrace.trace import KernelInputs  # noqa: E402

RAYS = 1 << 16
REMARK = re.compile(r"vectorized loop \(vectorization width: (\d+)")
FLOATS = (
    "px py pz x y index absorption turn px0 pz0 x0 y0 xs ys zs pxs pzs px1 pz1 x1 z1 weight arrived taken crossing "
    "glass_index glass_absorption cosine hit_u hit_v hit_w part leaning falling per_fall level path share"
)
INTS = "line todo stray bins tube spot groove place cell"
WIDE = re.compile(r"%[yz]mm")


def with_remarks(call: Callable[[], object]) -> str:
    """What the compiler wrote to the process's standard error while something was called."""
    sys.stderr.flush()
    kept = os.dup(2)
    with tempfile.TemporaryFile() as aside:
        os.dup2(aside.fileno(), 2)
        try:
            call()
        finally:
            os.dup2(kept, 2)
            os.close(kept)
        aside.seek(0)
        return aside.read().decode(errors="replace")


class Stages:
    """The arrays of a block and the calls of its stages, in order, as `trace_plain` has them."""

    def __init__(self, inputs: KernelInputs, twins: dict[Any, Any]) -> None:
        self.twins = twins
        self.inputs = inputs
        self.floats = {name: np.empty(block.BLOCK) for name in FLOATS.split()}
        self.ints = {name: np.empty(block.BLOCK, np.int32) for name in INTS.split()}
        row, window = inputs.row, inputs.window
        self.room = np.empty((landing.COLUMNS, block.BLOCK))
        self.apart = np.zeros((block.APART, 2, row.tubes))
        self.profile = np.zeros(window.fine_bins + 2 * window.outer_bins)
        self.flux = np.zeros((row.tubes, row.patches_along * row.patches_around))
        self.vector = lattice_vector(RAYS)
        self.shift, self.key = shifts_and_key(SEED, 0)
        self.sums = np.zeros(path.SUMS)

    def calls(self, base: int) -> list[tuple[Any, Callable[[], object]]]:
        """Stages and how they are called for the block of rays that begins at `base`."""
        (sheet, row, sun, window), f, i = self.inputs, self.floats, self.ints
        count, vector, shift = block.BLOCK, self.vector, self.shift
        sagging, flipped = sheet.sag != 0.0, sheet.flipped
        enveloped = True if row.enveloped else None
        below = "s" if sagging else "1"
        before = "0" if sagging else ""
        x1, z1, px1, pz1 = (f[name + below] for name in ("x", "z", "px", "pz"))
        px0, pz0, x0, y0 = (f[name + before] for name in ("px", "pz", "x", "y"))
        cells = (i["cell"], f["part"])
        piece = (*cells, f["leaning"], f["falling"], f["per_fall"], f["level"], f["path"])
        out: list[tuple[Any, tuple[Any, ...]]] = [
            (
                starts.fill_directions,
                (sun, base, count, vector, shift, *cells, f["arrived"], f["taken"], f["crossing"], f["px"], f["py"],
                 f["pz"]),
            ),
            (
                starts.fill_starts,
                (sheet, sun, base, count, vector, shift, *cells, f["x"], f["y"], f["index"], f["absorption"], f["turn"],
                 i["line"]),
            ),
        ]  # fmt: skip
        if sagging:
            out.append((
                grooves.into_pieces,
                (sheet, count, f["px"], f["py"], f["pz"], f["x"], f["y"], px0, pz0, x0, y0, i["groove"]),
            ))  # fmt: skip
        after = (x1, f["ys"], z1, px1, pz1, f["weight"], i["todo"])
        if flipped:
            out.append((
                grooves.through_facets_above,
                (sheet, count, f["pz"], px0, f["py"], pz0, x0, y0, f["index"], f["absorption"], f["turn"], *cells,
                 *after),
            ))  # fmt: skip
        else:
            out += [
                (grooves.enter_flat_face, (sheet, count, px0, pz0, x0, f["index"], *piece, f["share"])),
                (grooves.turn_at_risers, (sheet, count, f["index"], *piece, i["spot"], i["place"], self.room)),
                (
                    grooves.through_facets_below,
                    (sheet, count, f["pz"], f["py"], pz0, x0, y0, f["index"], f["absorption"], f["turn"], *piece,
                     f["share"], *after),
                ),
            ]  # fmt: skip
        if sagging:
            x1, z1, px1, pz1 = f["x1"], f["z1"], f["px1"], f["pz1"]
            out.append((
                grooves.out_of_pieces,
                (sheet, count, f["x"], i["groove"], f["pxs"], f["pzs"], f["xs"], f["zs"], px1, pz1, x1, z1,
                 f["weight"]),
            ))  # fmt: skip
        out.append((landing.fill_profile_bins, (window, row.height, count, px1, pz1, x1, z1, f["crossing"], i["bins"])))
        if enveloped:
            out.append((gather.fill_gathered, (sun.glass_index, i["line"], count, f["glass_index"])))
            out.append((gather.fill_gathered, (sun.glass_absorption, i["line"], count, f["glass_absorption"])))
        landed = (i["tube"], f["arrived"], f["cosine"], i["stray"], f["hit_u"], f["hit_v"], f["hit_w"])
        out.append((
            landing.meet_row,
            (row, enveloped, count, px1, f["py"], pz1, x1, f["ys"], z1, f["glass_index"], f["glass_absorption"],
             f["weight"], *landed),
        ))  # fmt: skip
        if enveloped:
            out.append((
                landing.slip_beside,
                (row, enveloped, count, px1, f["py"], pz1, x1, f["ys"], z1, f["glass_index"], f["glass_absorption"],
                 f["weight"], *landed, i["place"], self.room),
            ))  # fmt: skip
        out += [
            (landing.absorb, (row.absorptance, count, f["arrived"], f["cosine"], f["taken"])),
            (
                block.book_plain,
                (window, count, f["weight"], f["crossing"], i["bins"], i["tube"], f["arrived"], f["taken"], self.apart,
                 self.profile),
            ),
            (landing.fill_spots, (row, count, i["tube"], f["hit_u"], f["hit_v"], f["hit_w"], i["spot"])),
        ]  # fmt: skip
        # Compiled once each: those of an earlier call, and of an earlier scene, are used again.
        twins = [(self.twins.setdefault(stage, callable_twin(stage)), given) for stage, given in out]
        return [(stage, lambda stage=stage, given=given: stage(*given)) for stage, given in twins]  # type: ignore[misc]


def main() -> None:
    """Compile, look and print."""
    quick = is_quick(__doc__ or "")
    scenes = all_scenes()
    if quick:
        scenes = {name: scenes[name] for name in ("bare tubes", "north")}
    print_heading("Vector code of each stage", threads="1", scene="each row", runs=1)
    rows, shares = [], []
    twins: dict[Any, Any] = {}
    for name, scene in scenes.items():
        stages = Stages(inputs_of(scene), twins)
        for stage, call in stages.calls(0):
            known = len(stage.signatures)
            remarks = with_remarks(call)
            if len(stage.signatures) == known:
                continue
            assembly = stage.inspect_asm(stage.signatures[-1])
            widths = REMARK.findall(remarks)
            wide = sum(1 for line in assembly.splitlines() if WIDE.search(line))
            words = ", ".join(widths) or "none"
            rows.append([stage.__name__, name, "yes" if widths and wide else "no", words, str(wide)])
        counted = np.zeros(2)
        for base in range(0, RAYS, block.BLOCK):
            for _, call in stages.calls(base):
                call()
            todo, stray = stages.ints["todo"], stages.ints["stray"]
            from_start = todo == path.FROM_START
            counted += [from_start.sum(), (~from_start & (stray == path.FROM_SHEET)).sum()]
        shares.append([name, *(f"{100.0 * count / RAYS:.2f}" for count in counted)])
    print_table(["stage", "first met in scene", "vector code", "loops' widths", "ymm or zmm instructions"], rows)
    print("\nRays that leave the plain way, per cent:\n")
    print_table(["scene", "general path from the start", "general path from the sheet"], shares)


if __name__ == "__main__":
    main()
