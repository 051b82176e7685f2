"""The parts of one file laid on another file that ran through: each with its clock offset."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from labmatrix.evidence.domain.clock_offset import ClockOffset
from labmatrix.evidence.domain.long_trace import KeptLoad, long_offset
from labmatrix.kernel.errors import ShapeError

# A part with fewer samples than this is too short to be laid on anything.
SHORTEST = 64


@dataclass(frozen=True)
class Laid:
    """The parts of a file on another.

    Attributes:
        offsets: for each part, or None where it was not laid.
        refused: why, for the parts that were tried and refused.
    """

    offsets: list[ClockOffset | None]
    refused: dict[int, ShapeError]


def lay_parts(
    parts: Sequence[KeptLoad],
    through: KeptLoad,
    search_s: tuple[float, float] | None,
    told: Callable[[], None],
) -> Laid:
    """Clock offsets of ``through`` against each part (time in the part = time there + offset).

    Parts follow each other. One whose load agrees with several stretches (as parts of equal length
    do) is tried again between its neighbours once these are laid.

    Args:
        parts: of a file, in the order of its rows.
        through: a file whose clock never falls back.
        search_s: smallest and largest offset to try, s.
        told: called before each comparison, which may take long.
    """
    laid = Laid([None] * len(parts), {})
    tried: dict[int, tuple[float, float] | None] = {}
    moving = True
    while moving:
        moving = False
        for place, part in enumerate(parts):
            if laid.offsets[place] is not None or part.samples < SHORTEST:
                continue
            window = search_s or _between(laid.offsets, parts, through, place)
            if place in tried and tried[place] == window:
                continue
            tried[place] = window
            told()
            try:
                laid.offsets[place] = long_offset(part, through, search_s=window)
            except ShapeError as error:
                laid.refused[place] = error
                continue
            laid.refused.pop(place, None)
            moving = True
    return laid


def _between(
    offsets: Sequence[ClockOffset | None],
    parts: Sequence[KeptLoad],
    through: KeptLoad,
    place: int,
) -> tuple[float, float] | None:
    """Offsets under which a part lies behind the part laid before it and before the one behind.

    Where none is laid on a side, the part may reach out there by half of its length. None while no
    part is laid at all.
    """
    own = parts[place].trace.time
    first, last = float(own[0]), float(own[-1])
    low = float(through.trace.time[0]) - 0.5 * (last - first)
    high = float(through.trace.time[-1]) + 0.5 * (last - first)
    laid = False
    for other, offset in enumerate(offsets):
        if offset is None:
            continue
        laid = True
        time = parts[other].trace.time
        if other < place:
            low = max(low, float(time[-1]) - offset.offset_s)
        else:
            high = min(high, float(time[0]) - offset.offset_s)
    if not laid or high - low < last - first:
        return None
    return (last - high, first - low)
