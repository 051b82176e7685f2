"""Where the loss of stiffness settles."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.reduction.outcome import Bound

_FEWEST = 3


def settles_at(
    cycles: Sequence[int],
    ratios: Sequence[float],
    *,
    loss_per_decade: float,
    span_decades: float,
) -> tuple[int, Bound | None] | None:
    """First checkpoint from which on the stiffness ratio loses little for each tenfold of cycles.

    From each start the loss is the negative slope of the least-squares line of ratio against the
    common logarithm of the cycle number, over the start and all later checkpoints. A start is
    judged where at least three checkpoints, spread over ``span_decades``, are left. The settling
    point is the first start at which this loss is at most ``loss_per_decade`` and stays so from
    every later start that is judged.

    Args:
        cycles: cycle numbers of the checkpoints, rising, 1 or more.
        ratios: stiffness ratios there.
        loss_per_decade: limit, ratio lost for each tenfold of cycles, above 0.
        span_decades: see above, above 0.

    Returns:
        The cycle number; with ``lower`` where it had not settled by the last checkpoint; None
        where no start could be judged.

    Raises:
        ShapeError: different lengths.
        RangeError: cycle numbers that do not rise from 1 or more.
    """
    if len(cycles) != len(ratios):
        raise ShapeError(
            "reduction.settling-lengths",
            f"{len(cycles)} cycle numbers were given with {len(ratios)} ratios; allowed is one "
            "ratio for each.",
        )
    number, ratio = np.asarray(cycles, dtype=np.float64), np.asarray(ratios, dtype=np.float64)
    if len(number) and (number[0] < 1.0 or (np.diff(number) <= 0.0).any()):
        raise RangeError("cycles", list(cycles), "rising cycle numbers, 1 or more")
    decades = np.log10(number)
    judged = [
        start
        for start in range(len(number) - _FEWEST + 1)
        if decades[-1] - decades[start] >= span_decades * (1.0 - 1e-12)
    ]
    if not judged:
        return None
    settled: int | None = None
    for start in reversed(judged):
        x, y = decades[start:] - decades[start:].mean(), ratio[start:]
        if -float(x @ y) / float(x @ x) > loss_per_decade:
            break
        settled = int(cycles[start])
    return (int(cycles[-1]), "lower") if settled is None else (settled, None)
