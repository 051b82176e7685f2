"""A curve light enough for a page that keeps what a reader would look for."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def kept_rows(
    x: Floats, y: Floats, *, at_most: int = 2000, also: tuple[int, ...] = ()
) -> npt.NDArray[np.int64]:
    """Rows that a drawing keeps, in order.

    The rows are cut into equal runs; of each run the first, and the rows of the smallest and
    largest x and y stay. So every extreme of the whole curve is kept, and a loop stays a loop.

    Args:
        x, y: the curve, shape (n,); rows in which either is not a number are left out.
        at_most: about how many rows may stay, at least 10.
        also: rows that stay in any case (marked points).

    Returns:
        Row numbers, strictly rising, shape (m,).
    """
    good = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if good.size <= at_most:
        kept = good
    else:
        runs = max(2, at_most // 5)
        edges = np.linspace(0, good.size, runs + 1).astype(np.int64)
        starts = edges[:-1]
        picks = [good[starts], good[-1:]]
        for values in (x[good], y[good]):
            picks += [good[_extreme_rows(values, starts, sign)] for sign in (1.0, -1.0)]
        kept = np.concatenate(picks)
    marked = np.array([row for row in also if 0 <= row < x.size], dtype=np.int64)
    return np.unique(np.concatenate([kept, marked])).astype(np.int64)


def _extreme_rows(
    values: Floats, starts: npt.NDArray[np.int64], sign: float
) -> npt.NDArray[np.int64]:
    """Row of the largest ``sign * value`` in each run that begins at ``starts``."""
    signed = sign * values
    tops = np.maximum.reduceat(signed, starts)
    run_of = np.repeat(np.arange(starts.size), np.diff(np.append(starts, values.size)))
    hits = np.flatnonzero(signed == tops[run_of])
    _, first = np.unique(run_of[hits], return_index=True)
    return hits[first].astype(np.int64)
