"""Response tables kept in a folder: named by scene and code, safe when two processes write, rebuilt when damaged."""

import hashlib
import io
import os
import tempfile
import zipfile
from pathlib import Path

import numpy as np

from raytrace.response.build import build_response
from raytrace.response.table import WIDTHS, Domain, ResponseTable, RowAt, TableError, TubePlaces
from raytrace.scene import RowPose, Scene
from raytrace.trace import Progress

PACKAGE = Path(__file__).parents[1]
"""The tracer: a table depends on all of it."""


def _sources_digest() -> bytes:
    digest = hashlib.sha256()
    for source in sorted(PACKAGE.rglob("*.py")) + sorted(PACKAGE.rglob("data/*.txt")):
        digest.update(source.read_bytes())
    return digest.digest()


def response_key(scene: Scene, poses: tuple[RowPose, ...], tilts: tuple[float, float] | None, seed: int) -> str:
    """Name of a table: hash of all that it depends on, the code included."""
    digest = hashlib.sha256(_sources_digest())
    digest.update(repr((scene, poses, tilts, seed)).encode())
    return digest.hexdigest()[:32]


def _packed(table: ResponseTable) -> bytes:
    buffer = io.BytesIO()
    np.savez(
        buffer,
        transversal=table.transversal,
        longitudinal=table.longitudinal,
        tilt=table.tilt,
        values=table.values,
        domain=np.array([table.domain.transversal, table.domain.longitudinal]),
        error=np.array([table.error.worst, table.error.typical, table.error.where_lit, table.error.checks]),
        mirrored=np.array(table.mirrored),
        swaps=np.array(table.swaps),
        places_tilt=table.places.tilt,
        places_tangent=table.places.tangent,
    )
    return buffer.getvalue()


def _unpacked(path: Path) -> ResponseTable | None:
    """The table in a file; None where the file is missing, damaged or holds something else."""
    try:
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as kept:
            t, g, h, values = (kept[name] for name in ("transversal", "longitudinal", "tilt", "values"))
            tangent = kept["places_tangent"]
            tubes = tangent.shape[1]
            if values.shape != (len(t), len(g), len(h), 2 * tubes + len(WIDTHS)) or not np.isfinite(values).all():
                return None
            domain, error = kept["domain"], kept["error"]
            return ResponseTable(
                transversal=t,
                longitudinal=g,
                tilt=h,
                values=values,
                domain=Domain(
                    transversal=(float(domain[0, 0]), float(domain[0, 1])),
                    longitudinal=(float(domain[1, 0]), float(domain[1, 1])),
                ),
                error=TableError(
                    worst=float(error[0]), typical=float(error[1]), where_lit=float(error[2]), checks=int(error[3])
                ),
                mirrored=(bool(kept["mirrored"][0]), bool(kept["mirrored"][1])),
                swaps=(bool(kept["swaps"][0]), bool(kept["swaps"][1])),
                places=TubePlaces(tilt=kept["places_tilt"], tangent=tangent),
            )
    except (OSError, ValueError, KeyError, IndexError, EOFError, zipfile.BadZipFile):
        return None


def _keep(table: ResponseTable, path: Path) -> None:
    """Write aside, then rename: two processes that build the same table cannot harm each other. No folder, no cache."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, aside = tempfile.mkstemp(dir=path.parent, suffix=".part")
    except OSError:
        return
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(_packed(table))
        Path(aside).replace(path)
    except OSError:
        Path(aside).unlink(missing_ok=True)


def load_or_build(
    scene: Scene,
    *,
    row_at: RowAt,
    tilts: tuple[float, float] | None = None,
    folder: Path | None,
    seed: int = 0,
    threads: int | None = None,
    progress: Progress | None = None,
) -> ResponseTable:
    """The table kept in `folder`, or a new one that is then kept there; arguments as for `build_response`."""
    kept = load(scene, row_at=row_at, tilts=tilts, folder=folder, seed=seed)
    if kept is not None:
        return kept
    table = build_response(scene, row_at=row_at, tilts=tilts, seed=seed, threads=threads, progress=progress)
    if folder is not None:
        _keep(table, _place(scene, row_at, tilts, folder, seed))
    return table


def load(
    scene: Scene,
    *,
    row_at: RowAt,
    tilts: tuple[float, float] | None = None,
    folder: Path | None,
    seed: int = 0,
) -> ResponseTable | None:
    """The table kept in `folder`; None where there is none or it is damaged."""
    return None if folder is None else _unpacked(_place(scene, row_at, tilts, folder, seed))


def _place(scene: Scene, row_at: RowAt, tilts: tuple[float, float] | None, folder: Path, seed: int) -> Path:
    largest = 0.0 if tilts is None else max(abs(tilts[0]), abs(tilts[1]))
    poses = (row_at(0.0), row_at(0.5 * largest), row_at(largest))
    return folder / f"response-{response_key(scene, poses, tilts, seed)}.npz"
