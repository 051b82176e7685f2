"""All load cycles of one cyclic record: its files one after the other, in bounded memory."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.services.job_folder import WorkFolder, passing_folder
from results.services.cyclic_work import PASS_SHARE, CyclicFound, CyclicWork
from results.services.reversed_record import ROWS_MAX, is_reversed, too_long, with_envelope

Floats = npt.NDArray[np.float64]
Report = Callable[[float, str], None]


def cyclic_record(inputs: Mapping[str, Any], report: Report, folder: WorkFolder) -> CyclicFound:
    """Reads, finds and measures every load cycle of a record, and writes their table.

    Where the folder holds the state of earlier work on the same inputs, it goes on there; what
    comes out is the same to the last bit.

    Args:
        inputs: as ``reduction_inputs`` gives them.
        report: told the share done and what is being done.
        folder: for the parts of the table, the table, and the state.

    Raises:
        UserError: why the record cannot be reduced.
    """
    work = CyclicWork(inputs, report, folder)
    work.read()
    report(PASS_SHARE, "reducing")
    found = work.found()
    if not is_reversed(found.curve):
        return found
    if found.curve["of_rows"] > ROWS_MAX:
        return too_long(found)
    report(PASS_SHARE, "taking the envelope")
    with passing_folder() as passing:
        return with_envelope(found, *cyclic_samples(inputs, passing))


def cyclic_samples(inputs: Mapping[str, Any], folder: WorkFolder) -> tuple[Floats, Floats]:
    """Deflection in mm and load in kN of every row of a cyclic record, shape (rows,) each.

    Args:
        inputs: as stored with a reduction.
        folder: for what is laid beside.

    Raises:
        UserError: the raw files cannot be read any more.
    """
    work = CyclicWork(inputs, lambda share, words: None, folder, whole_curve=True)
    work.read()
    size = sum(one.stream.rows for one in work.passes)
    x, y = np.full(size, np.nan), np.full(size, np.nan)
    for one, first in zip(work.passes, work.first_rows(), strict=True):
        kept = one.curve.kept()
        x[first + kept.rows], y[first + kept.rows] = kept.x, kept.y
    return x, y
