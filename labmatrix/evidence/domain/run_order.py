"""The blocks of one cycling run put in order by load cycle, overlaps and restarts resolved.

A block is a stretch of a record in which cycles were counted without interruption. It claims the
cycles that its counter says. Three things happen to claims:

* a **gap** between two blocks: cycles that nobody recorded (triggered blocks are such);
* a **copy**: the later block repeats cycles of the earlier one sample for sample, as a file that
  was saved twice does; the repeated cycles count once;
* a **restart**: the later block claims the same cycles with other samples, because the counter
  fell back to its last saved value; the specimen went through both, so the later block moves on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from labmatrix.kernel.errors import ShapeError

# A copy agrees in at least this share of the cycles that both blocks claim.
COPY_SHARE = 0.95


@dataclass(frozen=True, eq=False)
class RunBlock:
    """One stretch of cycles as its file claims it.

    Attributes:
        name: file, or file and part.
        first_cycle: number of its first load cycle, counting from 1; None where nobody says.
        peaks: peak load of each of its cycles in kN, shape (cycles,); the fingerprint that tells
            a copy from a restart.
        started_at: when it began, s on any common clock; None where not known.
    """

    name: str
    first_cycle: int | None
    peaks: NDArray[np.float64]
    started_at: float | None = None

    @property
    def cycles(self) -> int:
        """Number of cycles in the block."""
        return len(self.peaks)


@dataclass(frozen=True)
class PlacedBlock:
    """Where a block's cycles stand in the run.

    Attributes:
        name: the block.
        first_cycle: number of the first cycle that counts.
        cycles: how many of its cycles count.
        skipped: how many cycles at its start are a copy of the block before.
        moved_by: by how much its claim was moved, in cycles.
    """

    name: str
    first_cycle: int
    cycles: int
    skipped: int = 0
    moved_by: int = 0

    @property
    def last_cycle(self) -> int:
        """Number of its last cycle."""
        return self.first_cycle + self.cycles - 1


@dataclass(frozen=True)
class RunRemark:
    """What was resolved, as a stable code and a sentence."""

    code: str
    message: str


@dataclass(frozen=True)
class RunOrder:
    """A run in order.

    Attributes:
        blocks: in order of load cycles; blocks of which nothing counts are left out and said.
        remarks: every gap, copy, restart and assumption.
    """

    blocks: tuple[PlacedBlock, ...]
    remarks: tuple[RunRemark, ...]

    @property
    def last_cycle(self) -> int:
        """Number of the last load cycle of the run."""
        return self.blocks[-1].last_cycle if self.blocks else 0


def order_blocks(blocks: Sequence[RunBlock]) -> RunOrder:
    """Blocks of one cycling run in order of load cycles.

    Where every block says when it began, that is the order; otherwise it is the claimed first
    cycle. A block that does not claim one follows the block before it without a gap.

    Raises:
        ShapeError: ``run.no-blocks``, ``run.empty-block``, ``run.first-cycle`` (below 1),
            ``run.order-unclear`` (neither first cycle nor time), or ``run.contradiction`` (two
            blocks claim the same cycles with other samples, and nothing says which came first).
    """
    _refuse_unusable(blocks)
    timed = all(block.started_at is not None for block in blocks)
    if not timed:
        _refuse_unclear(blocks)
    run = _Run()
    for block in sorted(blocks, key=_began if timed else _claimed):
        run.take(block)
    return RunOrder(tuple(run.placed), tuple(run.remarks))


def _began(block: RunBlock) -> float:
    return 0.0 if block.started_at is None else block.started_at


def _claimed(block: RunBlock) -> int:
    return 0 if block.first_cycle is None else block.first_cycle


class _Run:
    """A run as it grows: the peaks of its cycles so far, and by how much claims are moved."""

    def __init__(self) -> None:
        self.placed: list[PlacedBlock] = []
        self.remarks: list[RunRemark] = []
        self._parts: list[tuple[int, NDArray[np.float64]]] = []
        self._last = 0
        self._shift = 0

    def take(self, block: RunBlock) -> None:
        """Place the next block."""
        last = self._last
        if block.first_cycle is None:
            self._say(
                "run.assumed",
                f"Nothing says which cycle {block.name} begins with; it is taken to follow cycle "
                f"{last} without a gap.",
            )
            self._append(block, first=last + 1)
            return
        first = block.first_cycle + self._shift
        if first > last:
            if first > last + 1 and self._parts:
                self._say("run.gap", f"Cycles {last + 1} to {first - 1} were not recorded.")
            self._append(block, first=first)
        elif self._is_copy(block, first):
            self._append_rest(block, first)
        else:
            self._restart(block, first)

    def _known(self, first: int, count: int) -> NDArray[np.float64]:
        """Peaks of the run from a cycle on, NaN where none is known, shape (count,)."""
        known = np.full(count, np.nan)
        for start, peaks in self._parts:
            low, high = max(first, start), min(first + count, start + len(peaks))
            if low < high:
                known[low - first : high - first] = peaks[low - start : high - start]
        return known

    def _is_copy(self, block: RunBlock, first: int) -> bool:
        count = min(self._last - first + 1, block.cycles)
        known, again = self._known(first, count), block.peaks[:count]
        there = np.isfinite(known) & np.isfinite(again)
        if not there.any():
            return False
        same = np.isclose(known[there], again[there], rtol=1e-9, atol=1e-9)
        return float(same.mean()) >= COPY_SHARE

    def _append_rest(self, block: RunBlock, first: int) -> None:
        skipped = min(self._last - first + 1, block.cycles)
        self._say(
            "run.copy",
            f"The first {skipped} of {block.cycles} cycles of {block.name} are a copy of cycles "
            f"{first} to {first + skipped - 1} and count once.",
        )
        if skipped < block.cycles:
            self._append(block, first=first + skipped, skipped=skipped)

    def _restart(self, block: RunBlock, first: int) -> None:
        moved = self._last + 1 - first
        self._say(
            "run.restart",
            f"{block.name} claims to begin with cycle {first}, which others already hold with "
            f"other loads: the counter fell back by {moved}. Its cycles follow cycle "
            f"{self._last}, and later claims move along.",
        )
        self._shift += moved
        self._append(block, first=first + moved)

    def _append(self, block: RunBlock, *, first: int, skipped: int = 0) -> None:
        self._parts.append((first, block.peaks[skipped:]))
        claim = first - skipped if block.first_cycle is None else block.first_cycle
        self.placed.append(
            PlacedBlock(
                name=block.name,
                first_cycle=first,
                cycles=block.cycles - skipped,
                skipped=skipped,
                moved_by=first - skipped - claim,
            )
        )
        self._last = self.placed[-1].last_cycle

    def _say(self, code: str, message: str) -> None:
        self.remarks.append(RunRemark(code, message))


def _refuse_unusable(blocks: Sequence[RunBlock]) -> None:
    if not blocks:
        raise ShapeError("run.no-blocks", "A cycling run needs at least one block; none was given.")
    for block in blocks:
        if block.cycles == 0:
            raise ShapeError(
                "run.empty-block",
                f"{block.name} holds no complete load cycle; leave it out of the run.",
                block=block.name,
            )
        if block.first_cycle is not None and block.first_cycle < 1:
            raise ShapeError(
                "run.first-cycle",
                f"{block.name} begins with cycle {block.first_cycle}; the first load cycle of a "
                "run is number 1.",
                block=block.name,
                first_cycle=block.first_cycle,
            )


def _refuse_unclear(blocks: Sequence[RunBlock]) -> None:
    """Without times the claims alone must give one order."""
    nameless = [block.name for block in blocks if block.first_cycle is None]
    if nameless and len(blocks) > 1:
        raise ShapeError(
            "run.order-unclear",
            f"Nothing says where {', '.join(nameless)} belongs in the run; state the cycle offset "
            "or send files with date and time.",
            blocks=nameless,
        )
    by_claim: dict[int, RunBlock] = {}
    for block in blocks:
        other = by_claim.setdefault(_claimed(block), block)
        if other is not block and not _agree(block, other):
            raise ShapeError(
                "run.contradiction",
                f"{other.name} and {block.name} both claim to begin with cycle "
                f"{block.first_cycle} and hold other loads; state which came first by a cycle "
                "offset or by date and time.",
                blocks=[other.name, block.name],
                first_cycle=block.first_cycle,
            )


def _agree(one: RunBlock, other: RunBlock) -> bool:
    count = min(one.cycles, other.cycles)
    same = np.isclose(one.peaks[:count], other.peaks[:count], rtol=1e-9, atol=1e-9)
    return float(same.mean()) >= COPY_SHARE
