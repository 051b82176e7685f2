"""Compute records again as if sensors had had an error, and put the answer together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from labmatrix.evidence.services.job_folder import WorkFolder
from labmatrix.kernel.errors import UserError
from results.domain.assumed_error import assumed_inputs, error_said, offset_drops_out
from results.domain.moved_numbers import (
    Pair,
    Spread,
    counted,
    largest_change,
    spread_of,
    spreads,
    summary_said,
)
from results.domain.reduction.outcome import Found
from results.domain.what_if_question import Question, period_said
from results.models import Metric
from results.selectors.samples import Instead
from results.selectors.sensor_use import Use
from results.selectors.what_if import basis_of, series_list_of
from results.selectors.what_if_conclusions import Conclusion, conclusion_list
from results.services.compute import compute, metric_id
from results.services.methods import method_named

NEVER_USED = "No number was measured with {sensors}: no channel map of a reduced record names {it}."
NOT_THEN = (
    "{sensors} measured {records} from {first} to {last}, and none of a test {period}; nothing "
    "would change."
)
NO_NUMBERS = "{records} {period} {name} {sensors}, and {has} no numbers; nothing would change."
DROPS_OUT = (
    "The offset drops out of {count}: the channel is zeroed on the record itself, by its channel "
    "map or by the rest at its start, and that zero holds the offset as well."
)
EARLIER = (
    "{count} had been reduced by an earlier version of the software: old and new are both computed "
    "by the present one, so that only the assumption lies between them."
)

Report = Callable[[float, str], None]
Redone = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """A pair of numbers with the stored metric of the old one; None for a new number."""

    pair: Pair
    metric: Metric | None


def redo(use: Use, question: Question, report: Report, folder: WorkFolder) -> Redone:
    """One record with the errors taken out: {new, old} lists of numbers, or {error}.

    ``old`` is None where the stored numbers were computed by the same version; otherwise the
    record is computed again as it stands, too.
    """
    is_same = use.reduction.version == method_named(use.reduction.name).version
    share = 1.0 if is_same else 0.5
    try:
        new = _numbers(assumed_inputs(use.inputs, question.errors), report, folder, 0.0, share)
        old = None if is_same else _numbers(use.inputs, report, folder, share, share)
    except UserError as error:
        return {"error": error.as_dict()}
    return {"new": new, "old": old}


def _numbers(
    inputs: Mapping[str, Any], report: Report, folder: WorkFolder, start: float, share: float
) -> list[dict[str, Any]]:
    computed = compute(inputs, lambda done, words: report(start + share * done, words), folder)
    return [
        {
            "name": found.name,
            "value": found.value,
            "unit": found.unit,
            "at": found.at,
            "bound": found.bound,
            "method": found.method,
        }
        for found in computed.outcome.metrics
    ]


def rows_of(uses: Sequence[Use], done: Mapping[str, Redone]) -> list[Row]:
    """Every number of the records, as it stands and as it would be; in a fixed order.

    A record that cannot be computed with the assumption has no rows: its numbers stay.
    """
    stored: dict[Any, list[Metric]] = {}
    metrics = Metric.objects.filter(reduction__in=[use.reduction.pk for use in uses])
    for metric in metrics.order_by("at", "name", "method"):
        stored.setdefault(metric.reduction_id, []).append(metric)
    rows: list[Row] = []
    for use in uses:
        redone = done[use.key]
        if "error" not in redone:
            rows += _rows_of_use(use, stored.get(use.reduction.pk, []), redone)
    return rows


def _rows_of_use(use: Use, stored: Sequence[Metric], redone: Redone) -> list[Row]:
    new = {metric_id(use.key, found): found for found in map(_found, redone["new"])}
    old: dict[Any, Found] | None = None
    if redone["old"] is not None:
        old = {metric_id(use.key, found): found for found in map(_found, redone["old"])}
    rows = []
    for metric in stored:
        before = _as_stored(metric) if old is None else old.get(metric.pk)
        rows.append(Row(_pair(use, metric, before, new.pop(metric.pk, None)), metric))
    for key, found in new.items():
        before = None if old is None else old.get(key)
        rows.append(Row(_pair(use, found, before, found), None))
    return [row for row in rows if row.pair.old is not None or row.pair.new is not None]


def _found(data: Mapping[str, Any]) -> Found:
    return Found(**data)


def _as_stored(metric: Metric) -> Found:
    bound: Any = metric.bound or None
    return Found(metric.name, metric.value, metric.unit, bound=bound)


def _pair(use: Use, of: Metric | Found, old: Found | None, new: Found | None) -> Pair:
    cell = use.specimen.cell
    return Pair(
        specimen=use.specimen.code,
        cell=cell.code,
        series=cell.series.code,
        name=of.name,
        method=of.method or "",
        at=of.at,
        unit=of.unit,
        old=old.value if old else None,
        new=new.value if new else None,
        old_bound=(old.bound or "") if old else "",
        new_bound=(new.bound or "") if new else "",
    )


def answer_content(
    question: Question, every: Sequence[Use], uses: Sequence[Use], done: Mapping[str, Redone]
) -> tuple[dict[str, Any], list[Row]]:
    """What is kept of an answer, JSON-ready, and its numbers one by one.

    Args:
        question: what was asked.
        every: all uses of the sensors, whenever.
        uses: those inside the period.
        done: what ``redo`` gave of each, by the key of its reduction.
    """
    rows = rows_of(uses, done)
    pairs = [row.pair for row in rows]
    conclusions, troubles = _conclusions(rows)
    largest = largest_change(pairs)
    content = {
        "said": _first_sentence(question, every, uses, pairs, done),
        "assumed": [error_said(error) for error in question.errors],
        "records": len(uses),
        "whole": _spread(spread_of((), pairs)),
        "largest": None if largest is None else asdict(largest) | {"relative": largest.relative},
        "metrics": [_spread(s) for s in spreads(pairs, lambda p: (p.name, p.method, p.unit))],
        "cells": [_spread(s) for s in spreads(pairs, lambda p: (p.series, p.cell))],
        "conclusions": [one.as_dict() for one in conclusions if one.moves],
        "compared": len(conclusions),
        "channels": [channel for use in uses for channel in _channels(use, question)],
        "refused": [_refused(use, done[use.key]) for use in uses if "error" in done[use.key]],
        "notes": [*_notes(question, uses, rows, done), *troubles],
        "basis": basis_of(list(uses)),
    }
    return content, rows


def _spread(spread: Spread) -> dict[str, Any]:
    return asdict(spread) | {"name": list(spread.name)}


def _conclusions(rows: Iterable[Row]) -> tuple[list[Conclusion], list[str]]:
    """By series: what comparisons would say with the new numbers."""
    instead: dict[Any, tuple[float, str] | None] = {}
    moved: dict[str, dict[tuple[str, str], None]] = {}
    for row in rows:
        if not row.pair.moves or row.metric is None:
            continue
        new = row.pair.new
        instead[row.metric.pk] = None if new is None else (new, row.pair.new_bound)
        moved.setdefault(row.pair.series, {})[row.pair.name, row.pair.method] = None
    found: list[Conclusion] = []
    notes: list[str] = []
    for series in series_list_of(set(moved)):
        values: Instead = instead
        more, told = conclusion_list(series, list(moved[series.code]), values)
        found += more
        notes += told
    return found, notes


def _first_sentence(
    question: Question,
    every: Sequence[Use],
    uses: Sequence[Use],
    pairs: Sequence[Pair],
    done: Mapping[str, Redone],
) -> str:
    sensors = ", ".join(question.sensors)
    it = "it" if len(question.sensors) == 1 else "them"
    if not every:
        return NEVER_USED.format(sensors=sensors, it=it)
    if not uses:
        return NOT_THEN.format(
            sensors=sensors,
            records=counted(len(every), "record"),
            first=every[0].tested_on.isoformat(),
            last=every[-1].tested_on.isoformat(),
            period=period_said(question),
        )
    if not pairs and not any("error" in one for one in done.values()):
        one = len(uses) == 1
        return NO_NUMBERS.format(
            records=counted(len(uses), "record"),
            period=period_said(question),
            name="names" if one else "name",
            sensors=sensors,
            has="has" if one else "have",
        )
    return summary_said(pairs)


def _channels(use: Use, question: Question) -> list[dict[str, Any]]:
    return [
        {
            "record": str(use.reduction.record_id),
            "test": use.reduction.record.test,
            "specimen": use.specimen.code,
            "tested_on": use.tested_on.isoformat(),
            "sensor": entry["sensor"],
            "quantity": entry["quantity"],
            "column": entry["column"],
            "file": entry["file"],
            "offset_drops_out": offset_drops_out(entry),
        }
        for entry in use.entries_of(question.sensors)
    ]


def _refused(use: Use, redone: Redone) -> dict[str, Any]:
    return {
        "record": str(use.reduction.record_id),
        "specimen": use.specimen.code,
        "test": use.reduction.record.test,
        "error": redone["error"],
    }


def _notes(
    question: Question, uses: Sequence[Use], rows: Sequence[Row], done: Mapping[str, Redone]
) -> list[str]:
    notes = []
    moving = {row.metric.reduction_id for row in rows if row.pair.moves and row.metric}
    shifted = [error.sensor for error in question.errors if error.offset]
    zeroed = sum(
        _drops_out(use, shifted, use.reduction.pk in moving)
        for use in uses
        if "error" not in done[use.key]
    )
    if zeroed:
        notes.append(DROPS_OUT.format(count=counted(zeroed, "record")))
    earlier = sum(done[use.key].get("old") is not None for use in uses)
    if earlier:
        notes.append(EARLIER.format(count=counted(earlier, "record")))
    return notes


def _drops_out(use: Use, shifted: Sequence[str], moves: bool) -> bool:
    entries = use.entries_of(shifted)
    return any(map(offset_drops_out, entries)) or (bool(entries) and not moves)
