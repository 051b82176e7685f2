"""What of a square of the plate may still be planned, and what never goes together."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from labmatrix.matrix.domain.controls import Remark, remarks
from labmatrix.matrix.domain.design import Combination, FactorPlan, MatrixState, forbidden_by
from labmatrix.matrix.domain.wording import as_sentence

# More combinations in one square than these are not walked through; the form decides then.
_WALKED_MAX = 64


@dataclass(frozen=True)
class Open:
    """The combinations of a square that no cell holds.

    Attributes:
        query: of the page that plans the first of them, levels named; empty where none may be.
        count: how many may be planned.
        forbidden: why the others never go together, no reason twice.
    """

    query: str
    count: int
    forbidden: tuple[str, ...]


@dataclass(frozen=True)
class Said:
    """A remark on a cell's controls; ``query`` names the levels of the twin to plan, if any."""

    words: str
    query: str


def levels_query(combination: Combination) -> str:
    """A combination as the page that plans a cell takes it."""
    return urlencode({f"level_{place}": value for place, value in enumerate(combination)})


def _values(factor: FactorPlan, fixed: Mapping[str, str]) -> list[str]:
    """The levels of a factor in a square: the one it is fixed to, or all, the none first."""
    if factor.name in fixed:
        return [fixed[factor.name]]
    return [lv.value for lv in sorted(factor.levels, key=lambda lv: not lv.is_control)]


def open_in(state: MatrixState, fixed: Mapping[str, str]) -> Open:
    """What may be planned in a square.

    Args:
        state: all that is planned in the series.
        fixed: levels by factor name, of the factors that span the plate and that filter it.
    """
    every = itertools.product(*(_values(factor, fixed) for factor in state.factors))
    allowed: list[Combination] = []
    why: list[str] = []
    for combination in itertools.islice(every, _WALKED_MAX):
        if combination in state.by_levels:
            continue
        rule = forbidden_by(state.named(combination), state.forbidden)
        if rule is None:
            allowed.append(combination)
        else:
            why.append(as_sentence(rule.why))
    query = levels_query(allowed[0]) if allowed else ""
    return Open(query, len(allowed), tuple(dict.fromkeys(why)))


def said_by_cell(state: MatrixState) -> dict[str, tuple[Said, ...]]:
    """What a lead should know about each cell's controls, by the cell's code."""
    found: dict[str, list[Said]] = {}
    for remark in remarks(state):
        found.setdefault(remark.cell, []).append(_said(remark, state))
    return {code: _once(told) for code, told in found.items()}


def _said(remark: Remark, state: MatrixState) -> Said:
    if remark.twin is None:
        return Said(remark.words, "")
    replicates = state.by_code[remark.cell].replicates
    return Said(remark.words, f"{levels_query(remark.twin)}&replicates={replicates}")


def _once(told: Sequence[Said]) -> tuple[Said, ...]:
    return tuple(dict.fromkeys(told))
