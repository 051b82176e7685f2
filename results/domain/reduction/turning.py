"""Turning points: the reversals of a history that exceed a noise band.

A sample is a reversal when the history afterwards moves away from it by more than the band. Of
equal neighbours the first counts. The history starts at its lowest (or highest) sample before the
first move beyond the band, and ends at its last extreme.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.reduction.compiled import loop_for
from results.domain.reduction.outcome import Floats, Ints

# Phases of the scan, kept in ``state_i[0]``.
EMPTY, UNDECIDED, RISING, FALLING = 0, 1, 2, 3
PEAK, VALLEY = 1, -1
NO_LIMIT = 2**62


@dataclass(frozen=True, slots=True)
class TurningPoints:
    """Reversals in order, with both ends of the history.

    Attributes:
        index: their positions in the history, shape (n,).
        value: their values, shape (n,), in the unit of the history.
        kind: +1 for a peak, −1 for a valley, shape (n,).
    """

    index: Ints
    value: Floats
    kind: Ints


def new_state() -> tuple[Floats, Ints]:
    """State of a scan that has seen nothing: (low, high) and (phase, low, high, last reversal)."""
    return np.zeros(2), np.zeros(4, dtype=np.int64)


def scan_kernel(  # noqa: C901, PLR0912, PLR0915, PLR0917 - one loop, compiled as it stands
    values: Floats,
    offset: int,
    band: float,
    limit: int,
    state_f: Floats,
    state_i: Ints,
    out_index: Ints,
    out_kind: Ints,
) -> tuple[int, int]:
    """Feeds samples to a scan; the state carries on from call to call.

    Args:
        values: the samples, finite, shape (n,).
        offset: position of the first of them in the whole history.
        band: a move counts from beyond this on, in the unit of the samples.
        limit: the scan stops where no reversal came for more samples than this.
        state_f, state_i: from ``new_state``, changed in place.
        out_index, out_kind: receive the reversals; as long as values, plus one.

    Returns:
        How many reversals were found, and how many samples were consumed (n unless stopped).
    """
    low, high = state_f[0], state_f[1]
    phase, low_at, high_at, last = state_i[0], state_i[1], state_i[2], state_i[3]
    found = 0
    consumed = len(values)
    for k in range(len(values)):
        v = values[k]
        at = offset + k
        if phase == 2:  # RISING
            if v > high:
                high = v
                high_at = at
            elif high - v > band:
                out_index[found] = high_at
                out_kind[found] = 1
                found += 1
                last = high_at
                phase = 3
                low = v
                low_at = at
        elif phase == 3:  # FALLING
            if v < low:
                low = v
                low_at = at
            elif v - low > band:
                out_index[found] = low_at
                out_kind[found] = -1
                found += 1
                last = low_at
                phase = 2
                high = v
                high_at = at
        elif phase == 1:  # UNDECIDED
            if v < low:
                low = v
                low_at = at
            elif v > high:
                high = v
                high_at = at
            if high - low > band:
                if high_at > low_at:
                    out_index[found] = low_at
                    out_kind[found] = -1
                    last = low_at
                    phase = 2
                else:
                    out_index[found] = high_at
                    out_kind[found] = 1
                    last = high_at
                    phase = 3
                found += 1
        else:  # EMPTY
            low = v
            high = v
            low_at = at
            high_at = at
            last = at
            phase = 1
        if at - last > limit:
            consumed = k + 1
            break
    state_f[0], state_f[1] = low, high
    state_i[0], state_i[1], state_i[2], state_i[3] = phase, low_at, high_at, last
    return found, consumed


def reversal_kernel(values: Floats, out_index: Ints) -> int:
    """Reversals of a history without a noise band, with both of its ends, as ``scan_kernel`` finds
    them; no sample decides a branch, so that a rough history is not slower than a smooth one.

    Args:
        values: finite, shape (n,), n at least 1.
        out_index: receives positions; as long as values.

    Returns:
        How many reversals were found.
    """
    out_index[0] = 0
    found = 0
    at = 0
    up = False
    last = values[0]
    for k in range(1, len(values)):
        v = values[k]
        moves = v != last
        rises = v > last
        turned = moves & ((rises != up) | (found == 0))
        out_index[found] = at
        found += turned
        up = rises if moves else up
        at = k if moves else at
        last = v
    out_index[found] = at
    return found + 1


def reversals(history: Floats) -> Ints:
    """Positions of the reversals without a noise band, with both ends; shape (m,).

    Args:
        history: from ``checked_history``.
    """
    index = np.empty(len(history), dtype=np.int64)
    if len(history):
        find = loop_for(reversal_kernel, len(history))
        index = index[: find(history, index)]
    return index


def checked_history(values: npt.ArrayLike) -> Floats:
    """A history as one contiguous row of finite floats.

    Raises:
        ShapeError: ``reduction.history-shape`` or ``reduction.history-finite``.
    """
    history = np.ascontiguousarray(values, dtype=np.float64)
    if history.ndim != 1:
        raise ShapeError(
            "reduction.history-shape",
            f"A history of shape {history.shape} was given; allowed is one row of samples.",
        )
    if not np.isfinite(history).all():
        raise ShapeError(
            "reduction.history-finite",
            f"The history has {int((~np.isfinite(history)).sum())} samples that are not numbers; "
            "allowed are finite samples only.",
        )
    return history


def turning_points(values: npt.ArrayLike, band: float = 0.0) -> TurningPoints:
    """The reversals of a history, with both of its ends.

    Args:
        values: the history, shape (n,), any unit.
        band: moves up to this size are noise, in the unit of the history, at least 0.

    Returns:
        Positions, values and kinds. A history that never leaves the band gives its first sample.

    Raises:
        ShapeError: not one row of finite numbers.
        RangeError: ``band`` below 0.
    """
    history = checked_history(values)
    if not band >= 0.0:
        raise RangeError("band", band, "0 or more")
    if band == 0.0:
        index = reversals(history).copy()
        return TurningPoints(index, history[index], _kinds(history, index))
    state_f, state_i = new_state()
    index = np.empty(len(history) + 1, dtype=np.int64)
    kind = np.empty(len(history) + 1, dtype=np.int64)
    scan = loop_for(scan_kernel, len(history))
    found, _ = scan(history, 0, band, NO_LIMIT, state_f, state_i, index, kind)
    phase = int(state_i[0])
    if phase == UNDECIDED:
        index[0], kind[0], found = 0, VALLEY, 1
    elif phase in (RISING, FALLING):
        index[found] = state_i[2] if phase == RISING else state_i[1]
        kind[found] = PEAK if phase == RISING else VALLEY
        found += 1
    index, kind = index[:found].copy(), kind[:found].copy()
    return TurningPoints(index, history[index], kind)


def _kinds(history: Floats, index: Ints) -> Ints:
    """Peak and valley in turn; a history that never moves is a valley."""
    kind = np.full(len(index), VALLEY, dtype=np.int64)
    falls = len(index) > 1 and history[index[0]] > history[index[1]]
    kind[0 if falls else 1 :: 2] = PEAK
    return kind
