"""Take a matrix file: all of it, or nothing."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime

from labmatrix.evidence.services.ledger import ledger_transaction
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.domain.matrix_file import read_document
from labmatrix.matrix.domain.matrix_plan import plan_document
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get_state
from labmatrix.matrix.services.matrix_extend import matrix_extend
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person

FILENAME_SHOWN = 120


@dataclass(frozen=True)
class MatrixImported:
    """Codes of the cells that a file made, and of those that it named and that were there."""

    created: tuple[str, ...]
    unchanged: tuple[str, ...]


def matrix_import(
    *, actor: Person, series: Series, filename: str, content: bytes, now: datetime
) -> MatrixImported:
    """Add what a CSV, XLSX or JSON file says to a series.

    The same file a second time changes nothing and leaves no entry in the ledger. Cells that are
    there are never changed: a file that says otherwise of one is refused.

    Args:
        actor: a lead of the programme.
        series: where the cells go; without factors it takes those of the file.
        filename: its ending tells the kind.
        content: the whole file, at most 5 MiB.
        now: the time of the ledger's entry.

    Raises:
        NotFound: the actor is not a lead of the programme.
        MatrixRefused: row by row, everything that is wrong.
        UserError: the file cannot be read at all.
    """
    require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
    check_storable(filename, argument="The file's name")
    document = read_document(filename, content)
    with ledger_transaction():
        require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
        change = plan_document(series_get_state(series), document)
        matrix_extend(
            actor=actor,
            series=series,
            before=change.before,
            after=change.after,
            why="matrix file",
            now=now,
            source={
                "filename": filename[-FILENAME_SHOWN:],
                "sha256": hashlib.sha256(content).hexdigest(),
            },
        )
    return MatrixImported(change.created, change.unchanged)
