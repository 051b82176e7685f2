"""A cyclic record together with the other records of its run: one sequence of load cycles."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final

from labmatrix.evidence.models import Blob
from labmatrix.evidence.services.blob import blob_open
from labmatrix.evidence.services.job_folder import WorkFolder
from results.domain.reduction.cycles import COLUMNS
from results.domain.reduction.cyclic_run import RunPart, RunSettings, reduce_run
from results.domain.reduction.instruments import Judged
from results.domain.reduction.outcome import Found, Note, Point
from results.services.cycle_table import table_read, table_write
from results.services.cyclic_record import cyclic_record
from results.services.cyclic_work import CyclicFound

Report = Callable[[float, str], None]
OWN: Final = "this record"
TABLE = "run.parquet"
NO_UNCERTAINTY = Note(
    "uncertainty.run",
    "Numbers of a whole run carry no uncertainty of their own: its records may come from different "
    "sensors. That of a single cycle stands with the record that holds it.",
)


def own_inputs(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """The inputs by which the record alone is read: those of a cyclic reduction."""
    settings = {name: value for name, value in inputs["settings"].items() if name != "reduction"}
    return {**inputs, "settings": settings}


def run_record(inputs: Mapping[str, Any], report: Report, folder: WorkFolder) -> CyclicFound:
    """Reads the record, puts its cycles in order with those of the others, and reduces them all.

    Args:
        inputs: as ``reduction_inputs`` gives them, with ``parts``.
        report: told the share done and what is being done.
        folder: for the tables and the state.

    Raises:
        UserError: why the record cannot be reduced.
    """
    found = cyclic_record(own_inputs(inputs), report, folder)
    own = RunPart(OWN, int(inputs["cycle_offset"]), table_read(found.table))
    before = [_part(told) for told in inputs["parts"] if not told["is_later"]]
    after = [_part(told) for told in inputs["parts"] if told["is_later"]]
    settings = RunSettings.from_dict(inputs["settings"])
    outcome = reduce_run([*before, own, *after], settings)
    table = folder.path / TABLE
    if outcome.table is not None:
        table_write(table, [dict(outcome.table)])
    reading = [note for note in found.judged.outcome.warnings if note.code.startswith("cyclic.")]
    kept = {n.code: n for n in reading if n.code not in outcome.codes()}
    outcome = replace(
        outcome,
        metrics=tuple(_placed(one) for one in outcome.metrics),
        marks=tuple(point for mark in outcome.marks if (point := _own(mark)) is not None),
        warnings=(*kept.values(), *outcome.warnings, NO_UNCERTAINTY),
        table=None,
    )
    return replace(found, judged=Judged(outcome, {}), table=table)


def _part(told: Mapping[str, Any]) -> RunPart:
    from pyarrow import parquet

    with blob_open(Blob(sha256=told["table"])) as stream:
        arrow = parquet.read_table(stream, columns=list(COLUMNS))
    table = {name: arrow.column(name).to_numpy() for name in COLUMNS}
    name = f"record of {told['began'][:16].replace('T', ' ')} UTC, {told['record'][:8]}"
    return RunPart(name, int(told["cycle_offset"]), table)


def _own(mark: Point) -> Point | None:
    """A mark on the record's own curve, labelled as there; None for one of another record."""
    label, _, name = mark.label.partition(", ")
    return replace(mark, label=label) if name == OWN else None


def _placed(found: Found) -> Found:
    return found if found.point is None else replace(found, point=_own(found.point))
