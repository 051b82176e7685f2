"""Counting of variable-amplitude histories: rainflow and level crossings (ASTM E1049)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from labmatrix.kernel.errors import RangeError
from results.domain.reduction.compiled import loop_for
from results.domain.reduction.outcome import Floats, Ints
from results.domain.reduction.turning import checked_history, reversals, turning_points

RESIDUE_RULE = (
    "Rainflow by the three-point rule of ASTM E1049: a range that contains the start of the "
    "history counts one half, every other closed range counts one, and each range of the residue "
    "left at the end counts one half. The residue is neither closed on itself nor run twice."
)


@dataclass(frozen=True)
class Rainflow:
    """Counted ranges, in the order in which they closed, then the residue.

    Attributes:
        ranges, means: in the unit of the history, shape (n,).
        counts: 1.0 or 0.5, shape (n,).
        first, last: samples of the history between which each range lies, shape (n,).
    """

    ranges: Floats
    means: Floats
    counts: Floats
    first: Ints
    last: Ints

    def by_range(self) -> dict[float, float]:
        """Sum of counts for each distinct range, ascending."""
        ranges, where = np.unique(self.ranges, return_inverse=True)
        sums = np.bincount(where, weights=self.counts, minlength=len(ranges))
        return {float(r): float(c) for r, c in zip(ranges, sums, strict=True)}

    def power_sum(self, exponent: float) -> float:
        """Sum of count × range^exponent, the relative damage of a line of that slope."""
        return float(np.sum(self.counts * self.ranges**exponent))

    def half_cycle_share(self, exponent: float) -> float:
        """Share of the relative damage that the half cycles carry, 0 to 1.

        Args:
            exponent: slope m of the line N·R^m = constant, above 0.

        Raises:
            RangeError: ``exponent`` not above 0.
        """
        if not exponent > 0.0:
            raise RangeError("exponent", exponent, "above 0")
        total = self.power_sum(exponent)
        if total == 0.0:
            return 0.0
        halves = self.counts < 1.0
        return float(np.sum(self.counts[halves] * self.ranges[halves] ** exponent)) / total


@dataclass(frozen=True)
class FatigueLine:
    """A stated line cycles = reference_cycles · (range / reference_range)^−exponent.

    Attributes:
        reference_range: the range, in the unit of the history, that lasts ``reference_cycles``.
        reference_cycles: cycles to failure there.
        exponent: slope m.
        source: where the line comes from, in words; damage is never given without one.
        threshold: ranges up to this one do no damage; 0 for none.
    """

    reference_range: float
    reference_cycles: float
    exponent: float
    source: str
    threshold: float = 0.0

    def __post_init__(self) -> None:
        for name in ("reference_range", "reference_cycles", "exponent"):
            if not getattr(self, name) > 0.0:
                raise RangeError(name, getattr(self, name), "above 0")
        if not self.threshold >= 0.0:
            raise RangeError("threshold", self.threshold, "0 or more")
        if not self.source.strip():
            raise RangeError("source", self.source, "the words that say where the line comes from")

    def damage(self, counted: Rainflow) -> float:
        """Linear damage sum n/N (Miner 1945) of the counted ranges, without unit."""
        over = counted.ranges > self.threshold
        ratio = counted.ranges[over] / self.reference_range
        return float(np.sum(counted.counts[over] * ratio**self.exponent) / self.reference_cycles)


def rainflow_kernel(  # noqa: PLR0917 - one loop, compiled as it stands
    history: Floats,
    index: Ints,
    stack: Floats,
    stack_at: Ints,
    out_first: Ints,
    out_last: Ints,
    out_numbers: Floats,
) -> int:
    """Three-point rainflow over turning points (ASTM E1049, rainflow counting).

    Args:
        history: samples.
        index: positions of its turning points, shape (n,).
        stack, stack_at: room for n points, their values and positions.
        out_first, out_last: receive the samples between which each range lies; room for n.
        out_numbers: receives ranges, means and counts, room for (3, n).

    Returns:
        How many ranges were counted.
    """
    depth = 0
    found = 0
    for k in range(len(index)):
        stack_at[depth] = index[k]
        stack[depth] = history[index[k]]
        depth += 1
        while depth >= 3:
            top = stack[depth - 2]
            before = abs(top - stack[depth - 3])
            if abs(stack[depth - 1] - top) < before:
                break
            out_first[found] = stack_at[depth - 3]
            out_last[found] = stack_at[depth - 2]
            out_numbers[0, found] = before
            out_numbers[1, found] = 0.5 * (stack[depth - 3] + top)
            out_numbers[2, found] = 0.5 if depth == 3 else 1.0
            found += 1
            if depth == 3:
                stack[0], stack[1] = stack[1], stack[2]
                stack_at[0], stack_at[1] = stack_at[1], stack_at[2]
                depth = 2
            else:
                stack[depth - 3] = stack[depth - 1]
                stack_at[depth - 3] = stack_at[depth - 1]
                depth -= 2
    for k in range(depth - 1):
        out_first[found] = stack_at[k]
        out_last[found] = stack_at[k + 1]
        out_numbers[0, found] = abs(stack[k + 1] - stack[k])
        out_numbers[1, found] = 0.5 * (stack[k] + stack[k + 1])
        out_numbers[2, found] = 0.5
        found += 1
    return found


def rainflow(values: npt.ArrayLike, band: float = 0.0) -> Rainflow:
    """Rainflow count of a history; ``RESIDUE_RULE`` says what becomes of the residue.

    Args:
        values: the history, shape (n,), any unit.
        band: moves up to this size are noise, in the unit of the history.

    Raises:
        ShapeError: not one row of finite numbers.
        RangeError: ``band`` below 0.
    """
    history = checked_history(values)
    index = reversals(history) if band == 0.0 else turning_points(history, band).index
    size = len(index)
    first, last = np.empty(size, dtype=np.int64), np.empty(size, dtype=np.int64)
    numbers, stack = np.empty((3, size)), np.empty(size)
    count = loop_for(rainflow_kernel, size)
    found = count(history, index, stack, np.empty(size, dtype=np.int64), first, last, numbers)
    ranges, means, counts = numbers[:, :found]
    return Rainflow(ranges, means, counts, first[:found], last[:found])


def level_crossings(
    values: npt.ArrayLike, levels: npt.ArrayLike, reference: float = 0.0
) -> dict[float, int]:
    """Level crossings (ASTM E1049, level-crossing counting).

    Rising crossings count at the reference level and above it, falling ones below it. A sample
    exactly on a level has crossed it when it is reached, not again when it is left.

    Args:
        values: the history, shape (n,), any unit.
        levels: the levels, in the same unit.
        reference: level that divides rising from falling, in the same unit.

    Returns:
        Crossings for each level, ascending.

    Raises:
        ShapeError: not one row of finite numbers.
    """
    history = checked_history(values)
    before, after = history[:-1], history[1:]
    crossings: dict[float, int] = {}
    for level in np.unique(checked_history(levels)):
        if level >= reference:
            hit = (before < level) & (after >= level)
        else:
            hit = (before > level) & (after <= level)
        crossings[float(level)] = int(np.count_nonzero(hit))
    return crossings


def machine_hours(cycles: float, frequency_hz: float) -> float:
    """Machine-on time for a number of load cycles, h; stops are not in it.

    Raises:
        RangeError: negative cycles or a frequency not above 0.
    """
    if not cycles >= 0.0:
        raise RangeError("cycles", cycles, "0 or more")
    if not frequency_hz > 0.0:
        raise RangeError("frequency_hz", frequency_hz, "above 0 Hz")
    return cycles / frequency_hz / 3600.0
