"""Plan cells: all combinations, one by one, and changes with their reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from labmatrix.evidence.services.ledger import ledger_transaction, plan_change_append
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.cell_plan import make_forbidden, read_note
from labmatrix.matrix.domain.controls import with_controls
from labmatrix.matrix.domain.design import MatrixState, check_replicates, combination_key
from labmatrix.matrix.domain.document import (
    CODE,
    CONDITIONING_CONTROL,
    GAIN_CONTROL,
    NOTE,
    REPLICATES,
    LevelText,
)
from labmatrix.matrix.domain.level_text import number_text
from labmatrix.matrix.domain.matrix_plan import plan_cell, plan_factorial, with_forbidden
from labmatrix.matrix.domain.plan_rules import (
    ADDED,
    WITHDRAWN,
    check_planned,
    check_seen,
    reason_for_cell,
    reason_for_series,
)
from labmatrix.matrix.making import made_of_cell, made_of_series
from labmatrix.matrix.models import Cell, ForbiddenCombination, Series
from labmatrix.matrix.selectors.cell import cell_planned, cell_stamp
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get_state
from labmatrix.matrix.services.matrix_extend import matrix_extend
from labmatrix.matrix.services.series import check_why
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person

OTHER_SERIES = "{control} is a cell of another series; a control stands in the same series."
OWN_CONTROL = "{cell} cannot be its own control; allowed is another cell, or none."


@dataclass(frozen=True)
class CellsGenerated:
    """Codes of the cells that were made, and of those that were there."""

    created: tuple[str, ...]
    unchanged: tuple[str, ...]


def cell_subject(cell: Cell) -> str:
    """How the ledger names a cell."""
    return f"cell/{cell.series.code}/{cell.code}"


def cells_generate(
    *, actor: Person, series: Series, replicates: int, now: datetime
) -> CellsGenerated:
    """Make a cell of every combination that is not forbidden; those that are there stay.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: as ``plan_factorial``.
    """
    with ledger_transaction():
        require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
        change = plan_factorial(series_get_state(series), check_replicates(replicates))
        matrix_extend(
            actor=actor,
            series=series,
            before=change.before,
            after=change.after,
            why="full factorial",
            now=now,
        )
    return CellsGenerated(change.created, change.unchanged)


def cell_add(
    *,
    actor: Person,
    series: Series,
    levels: Mapping[str, str | float],
    replicates: int,
    code: str = "",
    gain_control: str = "",
    conditioning_control: str = "",
    note: str = "",
    why: str = "",
    now: datetime,
) -> Cell:
    """Plan one cell.

    Args:
        actor: a lead of the programme.
        series: the series.
        levels: of every factor, by its name; numbers in the factor's unit.
        replicates: specimens planned.
        code: empty for the one that follows from the levels.
        gain_control: code of a cell, "none", or empty for the one that follows from the levels.
        conditioning_control: the same.
        note: for the people of the laboratory.
        why: the reason, demanded once anything of the series was cast.
        now: the time of the ledger's entry.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: what cannot be, its facts naming the column; ``matrix.forbidden`` for levels
            that never go together, ``cell.reason``.
        RuleBroken: ``cell.exists``.
    """
    plain = {
        REPLICATES: str(replicates),
        CODE: code,
        GAIN_CONTROL: gain_control,
        CONDITIONING_CONTROL: conditioning_control,
        NOTE: note,
    }
    with ledger_transaction():
        require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
        change = plan_cell(series_get_state(series), _texts(levels), plain)
        matrix_extend(
            actor=actor,
            series=series,
            before=change.before,
            after=change.after,
            why=check_why(reason_for_series(why, ADDED, made_of_series(series))),
            now=now,
        )
    return Cell.objects.select_related("series").get(series=series, code=change.created[0])


def cell_change(
    *,
    actor: Person,
    cell: Cell,
    replicates: int,
    gain_control: Cell | None,
    conditioning_control: Cell | None,
    note: str,
    why: str,
    now: datetime,
    seen: str = "",
) -> Cell:
    """Change what is planned for a cell; its levels and its code stay.

    Saying what is the case already changes nothing and needs no entry in the ledger. No planned
    specimens at all is to withdraw the cell.

    Args:
        actor: a lead of the programme.
        cell: the cell.
        replicates: specimens planned, not fewer than carry a label.
        gain_control, conditioning_control: cells of the same series, or None.
        note: for the people of the laboratory.
        why: the reason, as ``_reason`` demands it.
        now: the time of the ledger's entry.
        seen: ``cell_stamp`` of what the person looked at; empty to write over anything.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: a number, note or reason that cannot be; ``cell.control`` for a control of
            another series or the cell itself; ``cell.reason``.
        RuleBroken: ``cell.below-made``, ``cell.withdraw-made`` or ``cell.changed-meanwhile``.
    """
    with ledger_transaction():
        require(programme_role(actor, cell.series.programme), Action.PLAN_MATRIX)
        for control in (gain_control, conditioning_control):
            _check_control(cell, control)
        current = _current(cell)
        check_seen(seen, cell_stamp(current), cell.code)
        before = cell_planned(current)
        cell.replicates = check_replicates(replicates)
        cell.gain_control = gain_control
        cell.conditioning_control = conditioning_control
        cell.note = read_note(note)
        after = cell_planned(cell)
        changed = [name for name in after if after[name] != before[name]]
        if not changed:
            return cell
        reason = _reason(cell, before["replicates"], why)
        cell.save(update_fields=list(after))
        plan_change_append(
            actor=str(actor.id),
            subject=cell_subject(cell),
            before={name: before[name] for name in changed},
            after={name: after[name] for name in changed},
            why=reason,
            now=now,
        )
    return cell


def _current(cell: Cell) -> Cell:
    """The cell as it stands in this transaction."""
    rows = Cell.objects.select_related("series__programme", "gain_control", "conditioning_control")
    return rows.get(pk=cell.pk)


def _reason(cell: Cell, replicates_before: int, why: str) -> str:
    """The reason of a change of a cell that may be changed so.

    It is demanded once anything of the cell was cast, and to withdraw it once anything of the
    series was.
    """
    made = made_of_cell(cell)
    if cell.replicates != replicates_before:
        check_planned(cell.code, cell.replicates, made)
    if cell.replicates == 0 and replicates_before > 0:
        return check_why(reason_for_series(why, WITHDRAWN, made_of_series(cell.series)))
    return check_why(reason_for_cell(why, cell.code, made))


def cell_withdraw(*, actor: Person, cell: Cell, why: str, now: datetime, seen: str = "") -> Cell:
    """Plan no specimens of a cell any more; the cell stays, so that it can be planned again.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: ``cell.reason`` once anything of the series was cast.
        RuleBroken: ``cell.withdraw-made`` or ``cell.changed-meanwhile``.
    """
    with ledger_transaction():
        current = _current(cell)
        return cell_change(
            actor=actor,
            cell=current,
            replicates=0,
            gain_control=current.gain_control,
            conditioning_control=current.conditioning_control,
            note=current.note,
            why=why,
            now=now,
            seen=seen,
        )


def controls_assign(*, actor: Person, series: Series, now: datetime) -> tuple[str, ...]:
    """Fill empty controls from the cells that the matrix holds by now; returns changed codes.

    Raises:
        NotFound: the actor is not a lead of the programme.
    """
    with ledger_transaction():
        require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
        before = series_get_state(series)
        after = with_controls(before, gain=before.by_code, conditioning=before.by_code)
        changed = [code for code in after.by_code if after.by_code[code] != before.by_code[code]]
        rows = {cell.code: cell for cell in Cell.objects.filter(series=series)}
        for code in changed:
            _write_controls(rows, after, code)
            cell = rows[code]
            cell.series = series
            plan_change_append(
                actor=str(actor.id),
                subject=cell_subject(cell),
                before=_controls(before, code),
                after=_controls(after, code),
                why="controls follow from the levels",
                now=now,
            )
    return tuple(changed)


def forbidden_add(
    *,
    actor: Person,
    series: Series,
    levels: Mapping[str, str | float],
    why: str,
    now: datetime,
) -> ForbiddenCombination:
    """Forbid levels of two or more factors to go together.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: as ``make_forbidden`` and ``with_forbidden``.
    """
    with ledger_transaction():
        require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
        before = series_get_state(series)
        rule = make_forbidden(before.factors, _texts(levels), why)
        after = with_forbidden(before, rule)
        matrix_extend(
            actor=actor,
            series=series,
            before=before,
            after=after,
            why="combination forbidden",
            now=now,
        )
    found = ForbiddenCombination.objects.filter(series=series)
    return found.get(combination=combination_key(rule.levels))


def _texts(levels: Mapping[str, str | float]) -> dict[str, LevelText]:
    return {
        name: LevelText(value if isinstance(value, str) else number_text(value))
        for name, value in levels.items()
    }


def _check_control(cell: Cell, control: Cell | None) -> None:
    if control is None:
        return
    if control.series_id != cell.series_id:
        raise ShapeError("cell.control", OTHER_SERIES.format(control=control.code))
    if control.pk == cell.pk:
        raise ShapeError("cell.control", OWN_CONTROL.format(cell=cell.code))


def _controls(state: MatrixState, code: str) -> dict[str, str | None]:
    cell = state.by_code[code]
    return {
        "gain_control": cell.gain_control,
        "conditioning_control": cell.conditioning_control,
    }


def _write_controls(rows: Mapping[str, Cell], state: MatrixState, code: str) -> None:
    cell, plan = rows[code], state.by_code[code]
    cell.gain_control = rows[plan.gain_control] if plan.gain_control else None
    cell.conditioning_control = (
        rows[plan.conditioning_control] if plan.conditioning_control else None
    )
    cell.save(update_fields=["gain_control", "conditioning_control"])
