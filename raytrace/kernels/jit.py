"""The one compile policy of the project, and the cache of compiled code."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal, TypeVar

import numba
import platformdirs
from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic
from numba.np.arrayobj import make_array

Function = TypeVar("Function", bound=Callable[..., Any])

Flag = Literal[True] | None
"""A choice made when a function is compiled: None is a type of its own, so only what a scene needs is compiled."""

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


POLICY: dict[str, Any] = {"error_model": "numpy", "nogil": True, "fastmath": FLAGS, "no_cfunc_wrapper": True}
"""Zero divides as in IEEE arithmetic; the interpreter's lock is released while compiled code runs."""

INNER = POLICY | {"no_cpython_wrapper": True}
"""What only compiled code calls needs no code that takes Python objects apart, a third of the compiler's time."""


def entry(function: Function) -> Function:
    """A compiled function that Python calls: compiled on the first call, its machine code kept on disk.

    Where no cache folder can be written, it is compiled anew in each process.
    """
    own_folder = numba.config.CACHE_DIR == ""
    if own_folder:
        numba.config.CACHE_DIR = _CACHE_FOLDER
    try:
        return numba.njit(cache=True, **POLICY)(function)  # type: ignore[no-any-return]
    except (RuntimeError, OSError):
        return numba.njit(**POLICY)(function)  # type: ignore[no-any-return]
    finally:
        if own_folder:
            numba.config.CACHE_DIR = ""


def kernel(function: Function) -> Function:
    """A compiled function that compiled functions call. Their machine code holds its own: it is not kept by itself.

    Python cannot call it; see `callable_twin`.
    """
    return numba.njit(**INNER)(function)  # type: ignore[no-any-return]


def inlined(function: Function) -> Function:
    """A compiled function that becomes a part of each compiled function that calls it.

    For what is called once for each ray: a call would pass every number of the sheet and the row on the stack.
    """
    return numba.njit(forceinline=True, **INNER)(function)  # type: ignore[no-any-return]


def callable_twin(function: Function) -> Function:
    """A `kernel` or `inlined` function compiled anew so that Python can call it: for tests and benchmarks."""
    return numba.njit(**POLICY)(getattr(function, "py_func", function))  # type: ignore[no-any-return]


def _alias_scope(module: Any) -> Any:
    """The one alias scope of a module: stores by `put` lie in it, loads by `look` do not."""
    scope = getattr(module, "focalrow_scope", None)
    if scope is None:
        domain = module.add_metadata([ir.MetaDataString(module, "focalrow")])
        scope = module.add_metadata([module.add_metadata([ir.MetaDataString(module, "put"), domain])])
        module.focalrow_scope = scope
    return scope


@intrinsic
def _look(_context: Any, array: Any, index: Any) -> Any:
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        data = make_array(signature.args[0])(context, builder, arguments[0]).data
        place = context.cast(builder, arguments[1], signature.args[1], types.intp)
        load = builder.load(builder.gep(data, [place]))
        load.set_metadata("noalias", _alias_scope(builder.module))
        return load

    return array.dtype(array, index), generate


@intrinsic
def _put(_context: Any, array: Any, index: Any, value: Any) -> Any:
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        data = make_array(signature.args[0])(context, builder, arguments[0]).data
        place = context.cast(builder, arguments[1], signature.args[1], types.intp)
        cast = context.cast(builder, arguments[2], signature.args[2], signature.args[0].dtype)
        store = builder.store(cast, builder.gep(data, [place]))
        store.set_metadata("alias.scope", _alias_scope(builder.module))
        return context.get_dummy_value()

    return types.void(array, index, value), generate


def _look_plainly(array: Any, index: Any) -> Any:
    return array[index]


def _put_plainly(array: Any, index: Any, value: Any) -> None:
    array[index] = value


# `look(array, index)` and `put(array, index, value)` read and write a contiguous one-dimensional array without bounds
# or negative indices, and promise the compiler that within one loop no array is both looked at and put to. With that
# promise LLVM turns loops with table look-ups into vector code; without it, it must assume that any store may change
# any table, and does not.
look = _look_plainly if numba.config.DISABLE_JIT else _look
put = _put_plainly if numba.config.DISABLE_JIT else _put


def _low_32_bits_plainly(number: int) -> int:
    return ((number + 0x80000000) & 0xFFFFFFFF) - 0x80000000


@intrinsic
def _low_32_bits(_context: Any, number: Any) -> Any:
    def generate(_target: Any, builder: Any, _signature: Any, arguments: Any) -> Any:
        return builder.trunc(arguments[0], ir.IntType(32))

    return types.int32(types.int64), generate


# The low 32 bits of a whole number as a signed one.
low_32_bits = _low_32_bits_plainly if numba.config.DISABLE_JIT else _low_32_bits
