"""Inner loops of the reductions; see ``labmatrix.kernel.compiled``."""

from __future__ import annotations

from labmatrix.kernel.compiled import COMPILE_FROM, compiled, loop_for

__all__ = ["COMPILE_FROM", "compiled", "loop_for"]
