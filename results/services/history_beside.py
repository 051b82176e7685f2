"""What a row of a workbook says beside what is there already."""

from __future__ import annotations

from results.domain.history.rows import ResultRow, SpecimenRow
from results.selectors.imported import Standing
from specimens.models import Specimen

CORRECTED = "{before}, and corrected to {after}"
STRUCK = "{before}, and struck"
NEW, THERE, DIFFERS = "new", "there", "differs"
OTHER_MEASURED = (
    "{code} is there already, in {cell}; there {there}, here {here}: what is there stays"
)


def specimen_beside(row: SpecimenRow, before: Specimen) -> tuple[str, str]:
    """What is told of a specimen that is there: the same, or measured otherwise."""
    names = [n for n, value in row.measured.items() if before.measured.get(n) != value]
    if not names:
        return THERE, f"{row.code} is there already, in {before.cell.code}"
    there = ", ".join(f"{n} {before.measured.get(n, 'is not measured')}" for n in names)
    here = ", ".join(f"{n} {row.measured[n]}" for n in names)
    words = OTHER_MEASURED.format(code=row.code, cell=before.cell.code, there=there, here=here)
    return DIFFERS, words


def ever(before: Standing) -> set[tuple[float | None, float | None]]:
    """Values that a number was taken in or corrected to, each with its uncertainty."""
    corrections = {(one.value, one.u) for one in before.row.corrections.all()}
    return {(before.row.value, before.row.u), *corrections}


def said(before: Standing) -> str:
    """What stands now, with what was reported."""
    reported = before.row.said
    if before.is_struck:
        return STRUCK.format(before=reported)
    return CORRECTED.format(before=reported, after=before.said) if before.seen else reported


def result_beside(row: ResultRow, before: Standing) -> tuple[str, str]:
    """What is told of a number that is there: the same, or put right since."""
    words = f"{row.specimen}: {row.name.replace('_', ' ')} is there already as {said(before)}"
    stands = not before.is_struck and (row.value, row.u) == (before.value, before.u)
    return (THERE if stands else DIFFERS), words
