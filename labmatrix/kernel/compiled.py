"""Inner loops: plain Python functions, compiled to machine code where there is much to do.

Each loop is one self-contained function over numpy arrays. Short work runs it as it stands; long
work runs the same function compiled. Both do the same operations in the same order, without any
liberty of arithmetic, so the results agree to the last bit (and are tested to).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from types import FunctionType
from typing import Any, TypeVar

Kernel = TypeVar("Kernel", bound=Callable[..., Any])

# Below this many samples, loading the compiler costs more than it saves.
COMPILE_FROM = 20_000


@lru_cache(maxsize=128)
def _compiled(kernel: Callable[..., Any], parts: tuple[Callable[..., Any], ...]) -> Any:
    import numba  # heavy: only where long work needs it

    if parts and isinstance(kernel, FunctionType):
        kernel = _with(kernel, {part.__name__: _compiled(part, ()) for part in parts})
    try:
        return numba.njit(cache=True, nogil=True)(kernel)
    except RuntimeError:
        # No folder to keep the machine code in: it is made for this process alone.
        return numba.njit(nogil=True)(kernel)


def _with(kernel: FunctionType, replaced: dict[str, Any]) -> FunctionType:
    """The same function, with other things behind some of the names that it uses."""
    twin = FunctionType(kernel.__code__, {**kernel.__globals__, **replaced}, kernel.__name__)
    twin.__module__, twin.__qualname__ = kernel.__module__, kernel.__qualname__
    return twin


def compiled(kernel: Kernel, *parts: Callable[..., Any]) -> Kernel:
    """The loop as machine code; kept on disk between runs where there is a folder for it.

    Args:
        kernel: the loop.
        parts: functions of the same module that it calls by their names; compiled into it.
    """
    loop: Kernel = _compiled(kernel, parts)
    return loop


def loop_for(kernel: Kernel, samples: int) -> Kernel:
    """The loop itself for short work, its compiled twin from ``COMPILE_FROM`` samples on."""
    return compiled(kernel) if samples >= COMPILE_FROM else kernel
