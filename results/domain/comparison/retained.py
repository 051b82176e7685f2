"""What bounds among the values of specimens make of a retention."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

MIXED = "The values of {cell} are bounds in both directions, so no retention is given."
IMPORTED_BEHIND = "Imported numbers, as reported, no raw record behind them: {groups}."
UNKNOWN_BOUND = "Values are bounds in ways that leave the retention open in both directions."
_FLIPPED = {"lower": "upper", "upper": "lower", "": ""}


@dataclass(frozen=True)
class GroupOf:
    """One of the groups of a retention.

    Attributes:
        cell: its code.
        values: one a specimen, in the metric's unit.
        bound: "lower", "upper" or "mixed" where values are bounds, else empty.
        age_d: mean age of the concrete at the test, days.
        imported: how many of the values are imported numbers.
    """

    cell: str
    values: tuple[float, ...]
    bound: str
    age_d: float | None
    imported: int = 0


def imported_said(groups: Sequence[GroupOf]) -> list[str]:
    """The sentence that counts the imported numbers behind a retention; none without any.

    Args:
        groups: those that the retention is computed from.
    """
    told = [f"{g.imported} of {len(g.values)} in {g.cell}" for g in groups if g.imported]
    return [IMPORTED_BEHIND.format(groups=", ".join(told))] if told else []


def _together(bounds: Sequence[str]) -> str:
    known = {bound for bound in bounds if bound}
    return "unknown" if len(known) > 1 else next(iter(known), "")


def member_bound(exposed: str, laboratory: str) -> str:
    """The bound of exposed / laboratory: "", "lower", "upper" or "unknown".

    Args:
        exposed, laboratory: the bounds of the two means.
    """
    return _together((exposed, _FLIPPED[laboratory]))


def contribution_bound(bounds: Sequence[str], *, is_loss: bool) -> str:
    """The bound of (S_exposed − U_exposed) / (S_laboratory − U_laboratory).

    Args:
        bounds: of the four means, in the order of the formula.
        is_loss: the ratio is below zero, so that a larger gain in the laboratory raises it.
    """
    strengthened, twin, laboratory, laboratory_twin = bounds
    below = (_FLIPPED[laboratory], laboratory_twin)
    if is_loss:
        below = (_FLIPPED[below[0]], _FLIPPED[below[1]])
    return _together((strengthened, _FLIPPED[twin], *below))
