"""Numbers before and after an assumption, side by side, and what to say of them first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

# Below this share of a number a difference is rounding: sums in another order, and the like.
ROUNDING: Final = 1e-9
# Differences from what was aimed at or from a beginning: they lie about zero, so that a change in
# per cent of them says nothing.
ABOUT_ZERO: Final = frozenset({"load_error", "stiffness_loss", "residual_drift"})
NONE_MOVES: Final = "Of {numbers} none moves."


@dataclass(frozen=True)
class Pair:
    """One number as it stands and as it would be.

    Attributes:
        specimen, cell, series: codes of what it was measured on.
        name, method, at: which number; ``at`` is a load cycle.
        unit: of both values.
        old: as it stands; None where it was not found.
        new: as it would be; None where it would not be found any more.
        old_bound, new_bound: "lower" or "upper" where a value is one, else empty.
    """

    specimen: str
    cell: str
    series: str
    name: str
    method: str
    at: int | None
    unit: str
    old: float | None
    new: float | None
    old_bound: str = ""
    new_bound: str = ""

    @property
    def relative(self) -> float | None:
        """(new − old) / |old|, no unit; None where one is missing, the old one is zero, or the
        number lies about zero by its nature."""
        return None if self.name in ABOUT_ZERO else relative_change(self.old, self.new)

    @property
    def moves(self) -> bool:
        """Whether it differs by more than rounding, appears, goes, or is another bound."""
        return differs(self.old, self.new) or self.old_bound != self.new_bound


def relative_change(old: float | None, new: float | None) -> float | None:
    """(new − old) / |old|, no unit; None where one is missing or the old one is zero."""
    if old is None or new is None or old == 0.0:
        return None
    return (new - old) / abs(old)


def differs(old: float | None, new: float | None) -> bool:
    """Whether two values differ by more than ``ROUNDING``, or only one is there."""
    if old is None or new is None:
        return old is not new
    return abs(new - old) > ROUNDING * max(abs(old), abs(new))


@dataclass(frozen=True)
class Spread:
    """What several numbers have in common.

    Attributes:
        name: of the group.
        numbers: how many there are.
        moved: how many of them move.
        specimens: how many specimens those that move belong to.
        least, most: smallest and largest relative change of those that have one, no unit.
    """

    name: tuple[str, ...]
    numbers: int
    moved: int
    specimens: int
    least: float | None
    most: float | None


def spread_of(name: tuple[str, ...], pairs: Sequence[Pair]) -> Spread:
    """The group of some pairs, in any order."""
    moved = [pair for pair in pairs if pair.moves]
    changes = [pair.relative for pair in moved if pair.relative is not None]
    return Spread(
        name=name,
        numbers=len(pairs),
        moved=len(moved),
        specimens=len({pair.specimen for pair in moved}),
        least=min(changes, default=None),
        most=max(changes, default=None),
    )


def spreads(pairs: Iterable[Pair], key: Callable[[Pair], tuple[str, ...]]) -> tuple[Spread, ...]:
    """One group for each value of a key, in the order in which they come.

    Args:
        pairs: any number.
        key: what pairs of one group share.
    """
    groups: dict[tuple[str, ...], list[Pair]] = {}
    for pair in pairs:
        groups.setdefault(key(pair), []).append(pair)
    return tuple(spread_of(name, own) for name, own in groups.items())


def largest_change(pairs: Iterable[Pair]) -> Pair | None:
    """The pair that moves most for its size; None where none has a relative change."""
    known = [pair for pair in pairs if pair.moves and pair.relative is not None]
    return max(known, key=lambda pair: abs(pair.relative or 0.0), default=None)


def percent_said(share: float) -> str:
    """A share in per cent with its sign: ``−0.99 %``; three digits."""
    percent = 100.0 * share
    text = f"{percent:+.2f}" if abs(percent) < 100 else f"{percent:+.0f}"
    if abs(percent) < 0.1:
        text = f"{percent:+.2g}"
    return f"{text.replace('-', '−')} %"


def counted(count: int, noun: str) -> str:
    """``1 cell``, ``3 cells``."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def whose(specimens: int, cells: int) -> str:
    """``3 specimens of 1 cell``, for captions."""
    return f"{counted(specimens, 'specimen')} of {counted(cells, 'cell')}"


def summary_said(pairs: Sequence[Pair]) -> str:
    """The first sentence of an answer.

    ``14 numbers of 6 specimens in 3 cells move; the largest by −0.99 %.``
    """
    moved = [pair for pair in pairs if pair.moves]
    if not moved:
        numbers = counted(len(pairs), "number")
        specimens = counted(len({pair.specimen for pair in pairs}), "specimen")
        return NONE_MOVES.format(numbers=f"{numbers} of {specimens}")
    specimens = counted(len({pair.specimen for pair in moved}), "specimen")
    cells = counted(len({(pair.series, pair.cell) for pair in moved}), "cell")
    verb = "moves" if len(moved) == 1 else "move"
    words = f"{counted(len(moved), 'number')} of {specimens} in {cells} {verb}"
    largest = largest_change(moved)
    if largest is None or largest.relative is None:
        return f"{words}; none of them has a change in per cent."
    by = percent_said(largest.relative)
    return f"{words} by {by}." if len(moved) == 1 else f"{words}; the largest by {by}."
