"""A light curve of a record that goes by in chunks: every extreme of it stays."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from results.domain.reduction.compiled import loop_for

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
# The first sample of a run, and those of smallest and largest x and y.
_PICKS = 5
_MOST = 100_000


@dataclass(frozen=True, eq=False)
class KeptCurve:
    """Samples of a curve in the order of the record, shape (m,) each."""

    rows: Ints
    x: Floats
    y: Floats


def keep_kernel(  # noqa: C901, PLR0917 - one loop, compiled as it stands
    x: Floats, y: Floats, first_row: int, place: Ints, rows: Ints, xs: Floats, ys: Floats
) -> int:
    """Files samples into runs of equal length, of which each keeps its picks.

    Args:
        x, y: samples, shape (n,); those in which either is not a number are passed over.
        first_row: row of the first of them in the record.
        place: samples filed so far and samples in a run; changed in place.
        rows, xs, ys: the picks of each run, shape (runs, 5); changed in place.

    Returns:
        How many samples were filed: all, or fewer where the runs are full.
    """
    filed = place[0]
    length = place[1]
    runs = rows.shape[0]
    run = filed // length
    left = length - filed % length  # in the present run
    low_x = high_x = low_y = high_y = 0.0
    if left < length and run < runs:
        low_x, high_x, low_y, high_y = xs[run, 1], xs[run, 2], ys[run, 3], ys[run, 4]
    for k in range(len(x)):
        u = x[k]
        v = y[k]
        if not (np.isfinite(u) and np.isfinite(v)):
            continue
        if left == length:
            if run >= runs:
                place[0] = filed
                return k
            for pick in range(5):
                rows[run, pick], xs[run, pick], ys[run, pick] = first_row + k, u, v
            low_x = high_x = u
            low_y = high_y = v
        if u < low_x:
            rows[run, 1], xs[run, 1], ys[run, 1] = first_row + k, u, v
            low_x = u
        if u > high_x:
            rows[run, 2], xs[run, 2], ys[run, 2] = first_row + k, u, v
            high_x = u
        if v < low_y:
            rows[run, 3], xs[run, 3], ys[run, 3] = first_row + k, u, v
            low_y = v
        if v > high_y:
            rows[run, 4], xs[run, 4], ys[run, 4] = first_row + k, u, v
            high_y = v
        filed += 1
        left -= 1
        if left == 0:
            run += 1
            left = length
    place[0] = filed
    return len(x)


class CurveKeeper:
    """Keeps a curve light in bounded memory; what is kept does not depend on the chunks.

    A curve of up to ``at_most`` samples is kept whole (None keeps every curve whole). A longer one
    is cut into runs of equal length, twice as long each time they are full; of each run the first
    sample and those of the smallest and largest x and y stay, and the last sample of all.

    Args:
        at_most: samples that are kept, at least 20; None for all.
    """

    def __init__(self, at_most: int | None = 2000) -> None:
        at_most = sys.maxsize if at_most is None else at_most
        runs = min(at_most, _MOST) // _PICKS // 2 * 2
        self._at_most = at_most
        self._row = 0
        self._whole: list[tuple[Ints, Floats, Floats]] | None = []
        self._place = np.array([0, max(1, -(-at_most // runs))], dtype=np.int64)
        self._rows = np.zeros((runs, _PICKS), dtype=np.int64)
        self._xs, self._ys = np.zeros((runs, _PICKS)), np.zeros((runs, _PICKS))
        self._last: tuple[int, float, float] | None = None

    def feed(self, x: Floats, y: Floats) -> None:
        """Takes the next samples, shape (n,) each."""
        first, self._row = self._row, self._row + len(x)
        sound = len(x) > 0 and bool(np.isfinite(x[-1]) and np.isfinite(y[-1]))
        good = None
        if self._whole is not None or not sound:
            good = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
        if sound or (good is not None and len(good)):
            last = len(x) - 1 if good is None else int(good[-1])
            self._last = (first + last, float(x[last]), float(y[last]))
        if self._whole is not None and good is not None:
            few = good[: self._at_most + 1]
            self._whole.append((first + few, x[few], y[few]))
            if sum(len(rows) for rows, _, _ in self._whole) > self._at_most:
                self._whole = None
        if self._at_most <= _MOST:
            self._file(x, y, first)

    def _file(self, x: Floats, y: Floats, first: int) -> None:
        done = 0
        while done < len(x):
            file = loop_for(keep_kernel, self._row)
            done += int(
                file(x[done:], y[done:], first + done, self._place, self._rows, self._xs, self._ys)
            )
            if done < len(x):
                self._double()

    def _double(self) -> None:
        """Joins each run with its neighbour, so that half of the runs are free again."""
        left, right = slice(0, None, 2), slice(1, None, 2)
        better = np.stack(
            [
                np.zeros(len(self._xs) // 2, dtype=np.bool_),
                self._xs[right, 1] < self._xs[left, 1],
                self._xs[right, 2] > self._xs[left, 2],
                self._ys[right, 3] < self._ys[left, 3],
                self._ys[right, 4] > self._ys[left, 4],
            ],
            axis=1,
        )
        half = len(better)
        for kept in (self._rows, self._xs, self._ys):
            kept[:half] = np.where(better, kept[right], kept[left])
        self._place[1] *= 2

    @property
    def of_rows(self) -> int:
        """Rows of the record that went by."""
        return self._row

    def kept(self) -> KeptCurve:
        """What is kept, in the order of the record."""
        if self._whole is not None:
            parts = [*zip(*self._whole, strict=True)] or [(), (), ()]
            return KeptCurve(
                np.concatenate([np.empty(0, dtype=np.int64), *parts[0]]),
                np.concatenate([np.empty(0), *parts[1]]),
                np.concatenate([np.empty(0), *parts[2]]),
            )
        runs = -(-int(self._place[0]) // int(self._place[1]))
        rows = self._rows[:runs].ravel()
        xs, ys = self._xs[:runs].ravel(), self._ys[:runs].ravel()
        if self._last is not None:
            row, x, y = self._last
            rows, xs, ys = np.append(rows, row), np.append(xs, x), np.append(ys, y)
        kept, where = np.unique(rows, return_index=True)
        return KeptCurve(kept.astype(np.int64), xs[where], ys[where])

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``from_state`` reads it."""
        whole = self._whole
        return {
            "at_most": self._at_most,
            "row": self._row,
            "whole": whole and [[a.tolist() for a in part] for part in whole],
            "is_whole": whole is not None,
            "place": self._place.tolist(),
            "picks": [self._rows.tolist(), self._xs.tolist(), self._ys.tolist()],
            "last": self._last,
        }

    @classmethod
    def from_state(cls, state: Mapping[str, Any]) -> CurveKeeper:
        """The keeper of a ``state``."""
        keeper = cls(int(state["at_most"]))
        keeper._row = int(state["row"])
        keeper._whole = None
        if state["is_whole"]:
            keeper._whole = [
                (np.array(rows, dtype=np.int64), np.array(x), np.array(y))
                for rows, x, y in state["whole"] or []
            ]
        keeper._place = np.array(state["place"], dtype=np.int64)
        rows, xs, ys = state["picks"]
        keeper._rows = np.array(rows, dtype=np.int64)
        keeper._xs, keeper._ys = np.array(xs), np.array(ys)
        last = state["last"]
        keeper._last = None if last is None else (int(last[0]), float(last[1]), float(last[2]))
        return keeper
