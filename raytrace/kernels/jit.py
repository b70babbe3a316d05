"""The one compile policy of the project, and the cache of compiled code."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numba
import platformdirs

Function = TypeVar("Function", bound=Callable[..., Any])

# contract: fused multiply-add. reassoc, arcp, nsz: reductions and divisions in vector registers. None of them lets the
# compiler assume that there is no infinity or NaN, so `inf`, our miss, still compares equal to itself.
FLAGS = {"contract", "reassoc", "arcp", "nsz"}


def _cache_folder() -> str:
    """Folder named after the kernels' sources: numba does not see a change in an imported file, this name does."""
    digest = hashlib.sha256(numba.__version__.encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return str(platformdirs.user_cache_path("focalrow") / f"kernels-{digest.hexdigest()[:16]}")


_CACHE_FOLDER = _cache_folder()


def kernel(function: Function) -> Function:
    """Compile on the first call, keep the machine code on disk, release the interpreter's lock while it runs.

    Where no cache folder can be written, the function is compiled anew in each process.
    """
    own_folder = numba.config.CACHE_DIR == ""
    if own_folder:
        numba.config.CACHE_DIR = _CACHE_FOLDER
    options: dict[str, Any] = {"error_model": "numpy", "nogil": True, "fastmath": FLAGS}
    try:
        return numba.njit(cache=True, **options)(function)  # type: ignore[no-any-return]
    except (RuntimeError, OSError):
        return numba.njit(**options)(function)  # type: ignore[no-any-return]
    finally:
        if own_folder:
            numba.config.CACHE_DIR = ""
