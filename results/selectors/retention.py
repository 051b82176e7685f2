"""Both retentions of each conditioned, strengthened cell, with the four groups they rest on."""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from labmatrix.matrix.models import Cell, CellLevel
from results.domain.comparison.groups import AGE_TOLERANCE_DAYS, AGES_DIFFER
from results.domain.comparison.retained import (
    MIXED,
    UNKNOWN_BOUND,
    GroupOf,
    contribution_bound,
    imported_said,
    member_bound,
)
from results.domain.inference.ratio import Interval, fieller
from results.domain.inference.retention import (
    NO_TWIN,
    Retention,
    contribution_interval,
    contribution_retention,
    member_retention,
)
from results.selectors.comparison import Comparison, Row

ONE = "One specimen in {cells}: no interval can be given."
EMPTY = "{cell} ({role}) has no value of {metric} yet."
NO_LABORATORY_TWIN = "{cell} names no gain control, so what it gained in the laboratory is unknown."
ZERO = "The mean of {cell} is zero, so there is no ratio to it."
ROLES = {
    "strengthened_exposed": "strengthened, exposed",
    "unstrengthened_exposed": "unstrengthened twin, exposed",
    "strengthened_laboratory": "strengthened, laboratory",
    "unstrengthened_laboratory": "unstrengthened, laboratory",
}


@dataclass(frozen=True)
class Retained:
    """One of the two retentions of a cell.

    Attributes:
        retention: value and standard error, no unit; the value is never clipped.
        bound: "lower" or "upper" where values of specimens are bounds.
        interval: None where it cannot be given; the notes say why.
        notes: sentences that belong beside the number.
    """

    retention: Retention
    bound: str
    interval: Interval | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class RetentionRow:
    """A conditioned, strengthened cell with its controls by role; None where none is named."""

    cell: Cell
    levels: Mapping[str, str]
    groups: Mapping[str, GroupOf | None]
    member: Retained
    contribution: Retained


def retention_list(comparison: Comparison) -> tuple[RetentionRow, ...]:
    """Both retentions by cell; one query more than the comparison.

    Args:
        comparison: of the metric, under either control: its values and specimens are used.
    """
    rows = {row.cell.pk: row for row in comparison.rows}
    strengthened = _strengthened(comparison)
    return tuple(
        _row(row, rows, comparison.metric)
        for row in comparison.rows
        if row.cell.pk in strengthened and row.cell.conditioning_control_id in rows
    )


def _strengthened(comparison: Comparison) -> set[int]:
    """Cells with a strengthening by their levels, or that name an unstrengthened twin."""
    by_level = CellLevel.objects.filter(
        cell__series=comparison.series, factor__part="strengthening", level__is_control=False
    ).values_list("cell_id", flat=True)
    named = {r.cell.pk for r in comparison.rows if r.cell.gain_control_id is not None}
    return set(by_level) | named


def _group(row: Row | None) -> GroupOf | None:
    if row is None:
        return None
    by_specimen: dict[str, list[float]] = {}
    for sample in row.samples:
        by_specimen.setdefault(sample.specimen, []).append(sample.value)
    values = tuple(statistics.fmean(by_specimen[code]) for code in sorted(by_specimen))
    return GroupOf(row.group.cell, values, row.group.bound, row.group.age_d, row.group.imported)


def _row(row: Row, rows: Mapping[int, Row], metric: str) -> RetentionRow:
    def named(key: int | None) -> Row | None:
        return None if key is None else rows.get(key)

    laboratory = named(row.cell.conditioning_control_id)
    found = {
        "strengthened_exposed": row,
        "unstrengthened_exposed": named(row.cell.gain_control_id),
        "strengthened_laboratory": laboratory,
        "unstrengthened_laboratory": named(laboratory.cell.gain_control_id if laboratory else None),
    }
    groups = {role: _group(one) for role, one in found.items()}
    return RetentionRow(
        row.cell, row.levels, groups, _member(groups, metric), _contribution(groups, metric)
    )


def _without(*notes: str) -> Retained:
    return Retained(Retention(None, None, notes[0]), "", None, notes)


def _missing(groups: Mapping[str, GroupOf | None], roles: Sequence[str], metric: str) -> list[str]:
    """What keeps a retention from being computed, in words."""
    words = []
    for role in roles:
        group = groups[role]
        if group is None:
            exposed, laboratory = groups["strengthened_exposed"], groups["strengthened_laboratory"]
            of = laboratory if role == "unstrengthened_laboratory" else exposed
            known = of.cell if of else ""
            is_exposed = role == "unstrengthened_exposed"
            words.append(NO_TWIN if is_exposed else NO_LABORATORY_TWIN.format(cell=known))
        elif not group.values:
            words.append(
                EMPTY.format(cell=group.cell, role=ROLES[role], metric=metric.replace("_", " "))
            )
        elif group.bound == "mixed":
            words.append(MIXED.format(cell=group.cell))
    return words


def _said(groups: Sequence[GroupOf]) -> list[str]:
    """Single specimens and ages that differ, in words."""
    alone = [g.cell for g in groups if len(g.values) == 1]
    words = [ONE.format(cells=" and ".join(alone))] if alone else []
    first = groups[0]
    for other in groups[1:]:
        age, other_age = first.age_d, other.age_d
        if age is None or other_age is None or abs(age - other_age) <= AGE_TOLERANCE_DAYS:
            continue
        differ = {"age": age, "control": other.cell, "control_age": other_age}
        words.append(AGES_DIFFER.format(cell=first.cell, **differ))
    return words


def _given(groups: Mapping[str, GroupOf | None], *roles: str) -> list[GroupOf]:
    return [group for role in roles if (group := groups[role]) is not None]


def _member(groups: Mapping[str, GroupOf | None], metric: str) -> Retained:
    roles = ("strengthened_exposed", "strengthened_laboratory")
    if missing := _missing(groups, roles, metric):
        return _without(*missing)
    exposed, laboratory = used = _given(groups, *roles)
    if statistics.fmean(laboratory.values) == 0.0:
        return _without(ZERO.format(cell=laboratory.cell))
    bound = member_bound(exposed.bound, laboratory.bound)
    if bound == "unknown":
        return _without(UNKNOWN_BOUND)
    retention = member_retention(exposed.values, laboratory.values)
    interval = None
    if min(len(g.values) for g in used) > 1 and not bound:
        interval = fieller(exposed.values, laboratory.values)
    return _retained(retention, bound, interval, used)


def _contribution(groups: Mapping[str, GroupOf | None], metric: str) -> Retained:
    if missing := _missing(groups, tuple(ROLES), metric):
        return _without(*missing)
    used = _given(groups, *ROLES)
    exposed, exposed_twin, laboratory, laboratory_twin = (group.values for group in used)
    retention = contribution_retention(
        strengthened_exposed=exposed,
        unstrengthened_exposed=exposed_twin,
        strengthened_laboratory=laboratory,
        unstrengthened_laboratory=laboratory_twin,
    )
    if retention.value is None:
        return _without(retention.note)
    bound = contribution_bound([g.bound for g in used], is_loss=retention.value < 0)
    if bound == "unknown":
        return _without(UNKNOWN_BOUND)
    interval = None
    if min(len(g.values) for g in used) > 1 and not bound:
        interval = contribution_interval(
            strengthened_exposed=exposed,
            unstrengthened_exposed=exposed_twin,
            strengthened_laboratory=laboratory,
            unstrengthened_laboratory=laboratory_twin,
        )
    return _retained(retention, bound, interval, used)


def _retained(
    retention: Retention, bound: str, interval: Interval | None, used: Sequence[GroupOf]
) -> Retained:
    notes = [*_said(used), *imported_said(used)]
    if interval is not None and interval.note:
        notes.append(interval.note)
    return Retained(retention, bound, interval, tuple(notes))
