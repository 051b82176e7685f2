"""Numbers for the load cycles of one record: files in order, restarts, copies and gaps resolved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from labmatrix.evidence.domain.run_order import RunBlock, RunOrder, RunRemark, order_blocks
from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.outcome import Floats, Ints, Note

# A counter that is off by more than this from counting on has jumped.
_OFF = 2.0
_REMARKS_OF_A_KIND = 6
COUNTER_RULE = (
    "The counter at the peak of a cycle is the number of that cycle; a counter that reads 0 at the "
    "first recorded cycle counts finished cycles, and one is added. With a cycle offset the first "
    "recorded cycle follows the offset, and the counter tells the rest relative to it."
)


@dataclass(frozen=True, eq=False)
class FileCycles:
    """The complete cycles of one file, in the order of its rows.

    Attributes:
        name: of the file.
        peaks: their peak loads in kN, shape (n,).
        parts: which part of the file each begins in, counted from 0 at every restart, shape (n,).
        counts: the counter of load cycles at their peaks, NaN where it is missing, shape (n,);
            None without a counter.
        started_at: when the file begins, s on the calendar; None where it has no date.
    """

    name: str
    peaks: Floats
    parts: Ints
    counts: Floats | None = None
    started_at: float | None = None


@dataclass(frozen=True, eq=False)
class Numbering:
    """The numbers of a record's cycles.

    Attributes:
        numbers: for each file, one number for each of its cycles, 0 for a copy that does not
            count; shape (n,) each.
        blocks: what counts of each block, in order of its load cycles; JSON-ready.
        notes: everything that was resolved or assumed.
    """

    numbers: tuple[Ints, ...]
    blocks: tuple[dict[str, Any], ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True, eq=False)
class _Piece:
    """Cycles of one file that were counted without interruption."""

    file: int
    name: str
    start: int
    stop: int
    count: float | None


def number_cycles(files: Sequence[FileCycles], cycle_offset: int) -> Numbering:
    """Numbers for the cycles of the files of one record.

    Several files are put in order by their dates where all have one, else by their counters.

    Args:
        files: at least one; those without a complete cycle stay without a number.
        cycle_offset: load cycles before the record.

    Raises:
        ShapeError: ``run.order-unclear`` or ``run.contradiction``.
    """
    notes: list[Note] = []
    pieces = []
    for place, file in enumerate(files):
        found, note = _pieces_of(place, file)
        pieces += found
        notes += note
    none = tuple(np.zeros(len(file.peaks), dtype=np.int64) for file in files)
    if not pieces:
        return Numbering(none, (), tuple(notes))
    order, counted = _order(files, pieces, cycle_offset)
    notes += counted
    notes += _told(order.remarks)
    by_name = {piece.name: piece for piece in pieces}
    for placed in order.blocks:
        piece = by_name[placed.name]
        numbers = np.arange(placed.first_cycle, placed.last_cycle + 1, dtype=np.int64)
        none[piece.file][piece.start + placed.skipped : piece.stop] = numbers
    blocks = tuple(
        {
            "name": placed.name,
            "file": files[by_name[placed.name].file].name,
            "first_cycle": placed.first_cycle,
            "last_cycle": placed.last_cycle,
            "skipped": placed.skipped,
            "moved_by": placed.moved_by,
        }
        for placed in order.blocks
    )
    return Numbering(none, blocks, tuple(notes))


def _pieces_of(place: int, file: FileCycles) -> tuple[list[_Piece], list[Note]]:
    """The blocks of one file: cut where it starts again and where its counter jumps."""
    size = len(file.peaks)
    if not size:
        return [], []
    cuts = [0, *(1 + np.flatnonzero(np.diff(file.parts))).tolist(), size]
    spans = list(pairwise(cuts))
    notes: list[Note] = []
    counted = file.counts is not None and bool(np.isfinite(file.counts).any())
    if counted:
        jumps = [span for start, stop in spans for span in _jumps(file, start, stop)]
        if len(jumps) - len(spans) > max(20, size // 20):
            counted = False
            notes.append(
                Note(
                    "cyclic.counter-ignored",
                    f"The counter in {file.name} does not go up by one with each load cycle; it is "
                    "not used to number them.",
                )
            )
        else:
            spans = jumps
    several = len(spans) > 1
    return [
        _Piece(
            place,
            f"{file.name}, part {number}" if several else file.name,
            start,
            stop,
            _counter_at(file, start, stop) if counted else None,
        )
        for number, (start, stop) in enumerate(spans, start=1)
    ], notes


def _ahead(file: FileCycles, start: int, stop: int) -> Floats:
    """Counter less the number of cycles since ``start``: constant while it counts on."""
    counts = np.empty(0) if file.counts is None else file.counts
    return counts[start:stop] - np.arange(stop - start)


def _jumps(file: FileCycles, start: int, stop: int) -> list[tuple[int, int]]:
    """Spans of a part within which the counter counts on; one wrong reading is no jump."""
    ahead = _ahead(file, start, stop)
    there = np.flatnonzero(np.isfinite(ahead))
    values = ahead[there]
    lasts = np.append(np.abs(np.diff(values)) <= 1.0, False)
    cuts, at = [0], 0
    while len(values) - at > 1 and len(cuts) < len(values):
        off = lasts[at:] & (np.abs(values[at:] - values[at]) > _OFF)
        if not off.any():
            break
        at += int(np.argmax(off))
        cuts.append(int(there[at]))
    edges = [start + cut for cut in cuts] + [stop]
    return list(pairwise(edges))


def _counter_at(file: FileCycles, start: int, stop: int) -> float | None:
    """What the counter says of the first cycle of a block, by most of its cycles."""
    ahead = _ahead(file, start, stop)
    there = ahead[np.isfinite(ahead)]
    return float(np.round(np.median(there))) if len(there) else None


def _order(
    files: Sequence[FileCycles], pieces: Sequence[_Piece], cycle_offset: int
) -> tuple[RunOrder, list[Note]]:
    counters = [piece.count for piece in pieces if piece.count is not None]
    least = min(counters, default=0.0)
    shift = 1 if least <= 0.0 else 0
    notes = []
    if cycle_offset and counters:
        shift = cycle_offset + 1 - int(least)
        if shift not in (0, 1):
            notes.append(
                Note(
                    "cyclic.counter",
                    f"The counter reads {least:g} at the first recorded cycle, which is number "
                    f"{cycle_offset + 1} by the cycle offset. {COUNTER_RULE}",
                )
            )

    def block(piece: _Piece) -> RunBlock:
        claim = None if piece.count is None else max(1, int(piece.count) + shift)
        return RunBlock(piece.name, claim, files[piece.file].peaks[piece.start : piece.stop])

    blocks = [block(piece) for piece in pieces]
    rank = _ranks(files, pieces, blocks)
    first = min(range(len(pieces)), key=lambda k: rank[k])
    if blocks[first].first_cycle is None:
        blocks[first] = replace(blocks[first], first_cycle=cycle_offset + 1)
    timed = [replace(b, started_at=float(rank[k])) for k, b in enumerate(blocks)]
    return order_blocks(timed), notes


def _ranks(
    files: Sequence[FileCycles], pieces: Sequence[_Piece], blocks: Sequence[RunBlock]
) -> list[int]:
    """In which order the blocks were recorded: files by date or counter, within them by rows."""
    used = list(dict.fromkeys(piece.file for piece in pieces))
    dated = [files[file].started_at for file in used]
    if len(used) == 1:
        order = used
    elif None not in dated:
        order = sorted(used, key=lambda file: files[file].started_at or 0.0)
    else:
        order = _by_counter(pieces, blocks)
    return [order.index(piece.file) * len(pieces) + place for place, piece in enumerate(pieces)]


def _by_counter(pieces: Sequence[_Piece], blocks: Sequence[RunBlock]) -> list[int]:
    """Files in the order of what their counters say at their beginning.

    Raises:
        ShapeError: ``run.order-unclear`` or ``run.contradiction``.
    """
    firsts: dict[int, RunBlock] = {}
    for piece, block in zip(pieces, blocks, strict=True):
        firsts.setdefault(piece.file, block)
    order_blocks(list(firsts.values()))
    if any(block.first_cycle is None for block in firsts.values()):
        raise ShapeError(
            "run.order-unclear",
            "Nothing says in which order the files were recorded; send files with date and time.",
        )
    return sorted(firsts, key=lambda file: firsts[file].first_cycle or 0)


def _told(remarks: Sequence[RunRemark]) -> list[Note]:
    """Remarks as notes; of many of one kind the first few and how many more there are."""
    notes: list[Note] = []
    kinds: dict[str, list[RunRemark]] = {}
    for remark in remarks:
        kinds.setdefault(remark.code, []).append(remark)
    for code, told in kinds.items():
        notes += [Note(f"cyclic.{code}", r.message) for r in told[:_REMARKS_OF_A_KIND]]
        more = len(told) - _REMARKS_OF_A_KIND
        if more > 0:
            notes.append(Note(f"cyclic.{code}", f"The same happens {more} more times."))
    return notes
