"""Inner loops: plain Python functions, compiled to machine code where the record is long.

Each loop is one self-contained function over numpy arrays. Short records run it as it stands;
long ones run the same function compiled. Both do the same operations in the same order, without
any liberty of arithmetic, so the results agree to the last bit (and are tested to).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, TypeVar

Kernel = TypeVar("Kernel", bound=Callable[..., Any])

# Below this many samples, loading the compiler costs more than it saves.
COMPILE_FROM = 20_000


@lru_cache(maxsize=64)
def _compiled(kernel: Callable[..., Any]) -> Any:
    import numba  # heavy: only where a long record needs it

    try:
        return numba.njit(cache=True, nogil=True)(kernel)
    except RuntimeError:
        # No folder to keep the machine code in: it is made for this process alone.
        return numba.njit(nogil=True)(kernel)


def compiled(kernel: Kernel) -> Kernel:
    """The loop as machine code; kept on disk between runs where there is a folder for it."""
    loop: Kernel = _compiled(kernel)
    return loop


def loop_for(kernel: Kernel, samples: int) -> Kernel:
    """The loop itself for short work, its compiled twin from ``COMPILE_FROM`` samples on."""
    return compiled(kernel) if samples >= COMPILE_FROM else kernel
