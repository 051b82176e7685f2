"""A curve light enough for a page that keeps what a reader would look for."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
# A pass through the view is drawn with at least about this many points, or not at all.
_POINTS_A_PASS = 20


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
    kept = _kept(x, y, at_most)
    if kept is None:
        good = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
        among = _kept(x[good], y[good], at_most)
        kept = good if among is None else good[among]
    marked = np.array([row for row in also if 0 <= row < x.size], dtype=np.int64)
    return np.unique(np.concatenate([kept, marked])).astype(np.int64)


def _kept(x: Floats, y: Floats, at_most: int) -> npt.NDArray[np.int64] | None:
    """The rows of a curve that stay; None where it is not all numbers.

    Large arrays are looked at where they lie and once: copies and a look of its own for what is
    not a number would cost more than the runs do. An extreme of a run with such a row is one.
    """
    if x.size <= at_most:
        return np.arange(x.size) if np.isfinite(x).all() and np.isfinite(y).all() else None
    edges = np.linspace(0, x.size, max(2, at_most // 5) + 1).astype(np.int64)
    picks = []
    for values in (x, y):
        rows = _extreme_rows(values, edges)
        if not np.isfinite(values[rows]).all():
            return None
        picks.append(rows)
    return np.concatenate([edges[:-1], edges[-1:] - 1, *picks])


def _extreme_rows(values: Floats, edges: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Rows of the largest and of the smallest value, the first of equals, in each run.

    Args:
        values: numbers; the first NaN of a run counts as its largest and its smallest.
        edges: where the runs begin and the last one ends.
    """
    found: list[np.int64 | int] = []
    for start, end in itertools.pairwise(edges.tolist()):
        run = values[start:end]
        found += (start + run.argmax(), start + run.argmin())
    return np.array(found, dtype=np.int64)


@dataclass(frozen=True)
class Window:
    """A part of the plane, in the units of the curve; a limit that is None is open."""

    x_from: float | None = None
    x_to: float | None = None
    y_from: float | None = None
    y_to: float | None = None


@dataclass(frozen=True)
class View:
    """What of a curve is drawn within a window.

    Attributes:
        rows: row numbers, strictly rising, shape (m,).
        starts: places in ``rows`` at which the curve comes back into the window, shape (p - 1,).
        rows_in_view: rows that lie in the window or next to it.
        passes: how often the curve goes through the window.
        passes_drawn: how many of them are drawn: all, or evenly chosen ones, the first and the
            last among them.
    """

    rows: Ints
    starts: Ints
    rows_in_view: int
    passes: int
    passes_drawn: int


def view_of(x: Floats, y: Floats, window: Window, *, at_most: int = 2000) -> View:
    """The part of a curve in a window: every row of it, or as many as a drawing can show.

    A row is in view when the line from it to one of its neighbours may touch the window, so that
    the drawn line leaves the window where the curve does. A loop that is run through many times is
    drawn by whole passes.

    Args:
        x, y: the curve, shape (n,); rows in which either is not a number are left out.
        window: what is looked at.
        at_most: about how many rows may stay, at least 100.
    """
    good = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    touched = _touched(x[good], window.x_from, window.x_to)
    touched &= _touched(y[good], window.y_from, window.y_to)
    near = np.zeros(good.size, dtype=np.bool_)
    near[:-1] |= touched
    near[1:] |= touched
    places = np.flatnonzero(near)
    if places.size == 0:
        none = np.zeros(0, dtype=np.int64)
        return View(none, none, 0, 0, 0)
    firsts = np.concatenate([[0], np.flatnonzero(~touched[places[:-1]]) + 1])
    ends = np.append(firsts[1:], places.size)
    drawn = _passes_drawn(firsts.size, places.size, at_most)
    share = at_most if places.size <= at_most else at_most // drawn.size
    kept = [_thinned(x, y, good[places[firsts[k] : ends[k]]], share) for k in drawn]
    starts = np.cumsum([part.size for part in kept], dtype=np.int64)[:-1]
    return View(np.concatenate(kept), starts, places.size, firsts.size, drawn.size)


def _touched(values: Floats, low: float | None, high: float | None) -> npt.NDArray[np.bool_]:
    """For each step from one row to the next, whether it may touch the range."""
    touched = np.ones(max(values.size - 1, 0), dtype=np.bool_)
    if low is not None:
        touched &= np.maximum(values[:-1], values[1:]) >= low
    if high is not None:
        touched &= np.minimum(values[:-1], values[1:]) <= high
    return touched


def _passes_drawn(passes: int, rows: int, at_most: int) -> Ints:
    room = max(1, at_most // _POINTS_A_PASS)
    if rows <= at_most or passes <= room:
        return np.arange(passes, dtype=np.int64)
    return np.unique(np.linspace(0, passes - 1, room).astype(np.int64))


def _thinned(x: Floats, y: Floats, rows: Ints, at_most: int) -> Ints:
    kept: Ints = rows[kept_rows(x[rows], y[rows], at_most=max(10, at_most))]
    return kept
