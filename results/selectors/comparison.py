"""The comparison of a series: one metric by cell, with named controls."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from labmatrix import __version__
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.models import Cell, CellLevel, Series
from results.domain.comparison.groups import Against, Group, Sample, against, group_of
from results.selectors.ratio_samples import OF_METRIC, RATIO, check_values, ratio_samples
from results.selectors.samples import (
    AS_STORED,
    Instead,
    measured_when,
    member_of,
    metric_found,
    owners_of,
)
from results.selectors.typed import TYPED, typed_marked, typed_samples
from specimens.models import Deviation, Specimen

CONTROLS = {"gain": "gain control", "conditioning": "conditioning control"}
INCLUDES = {
    "judged": "without specimens that a person excluded",
    "all": "all specimens, excluded ones too",
    "clean": "without excluded specimens and without those that have an open deviation",
    "spotless": "without every specimen that has a deviation, accepted ones too",
}


@dataclass(frozen=True)
class Row:
    """One cell of the table."""

    cell: Cell
    levels: Mapping[str, str]
    group: Group
    against: Against
    samples: tuple[Sample, ...]


@dataclass(frozen=True)
class Comparison:
    """The whole table with what it rests on."""

    series: Series
    metric: str
    method: str
    at: int | None
    unit: str
    control: str
    include: str
    rows: tuple[Row, ...]
    kept: tuple[str, ...]
    left_out: tuple[str, ...]
    reductions: tuple[str, ...]
    software: str = __version__
    factors: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())
    typed: str = "without"
    typed_codes: tuple[str, ...] = ()


def _checked(value: str, allowed: Mapping[str, str], argument: str) -> str:
    if value not in allowed:
        raise ShapeError(
            f"comparison.{argument}",
            f"{argument} is {value!r}; allowed are {', '.join(allowed)}.",
            allowed=list(allowed),
        )
    return value


def _levels(series: Series) -> dict[int, dict[str, str]]:
    levels: dict[int, dict[str, str]] = defaultdict(dict)
    rows = CellLevel.objects.filter(cell__series=series).select_related("factor", "level")
    for row in rows:
        levels[row.cell_id][row.factor.name] = row.level.shown
    return levels


def _kept(specimens: Sequence[Specimen], include: str) -> tuple[list[Specimen], list[str]]:
    deviating: set[int] = set()
    if include == "spotless":
        of_these = Deviation.objects.filter(specimen__in=[s.pk for s in specimens])
        deviating = set(of_these.values_list("specimen_id", flat=True))

    def stays(specimen: Specimen) -> bool:
        if include == "all":
            return True
        if specimen.state.is_excluded or specimen.pk in deviating:
            return False
        return include != "clean" or specimen.state.open_deviation_count == 0

    kept = [s for s in specimens if stays(s)]
    return kept, sorted(s.code for s in specimens if not stays(s))


def _control_of(cell: Cell, control: str) -> int | None:
    return cell.gain_control_id if control == "gain" else cell.conditioning_control_id


def comparison_get(
    *,
    series: Series,
    metric: str,
    control: str = "gain",
    include: str = "judged",
    method: str = "",
    at: int | None = None,
    instead: Instead = AS_STORED,
    typed: str = "without",
) -> Comparison:
    """The table of one metric by cell; the caller has checked who asks.

    Args:
        series: the series.
        metric: a metric's name.
        control: ``gain`` or ``conditioning``: which control of each cell counts.
        include: ``judged``, ``all``, ``clean`` or ``spotless``.
        method: for metrics that are found in several ways.
        at: load cycle, for metrics by cycle; without it the last one of each specimen.
        instead: values to be taken in the place of stored ones; nothing is written.
        typed: ``without`` or ``with`` typed results that no raw record stands behind.

    Raises:
        ShapeError: an unknown choice, or several methods where one must be named.
    """
    _checked(control, CONTROLS, "control")
    _checked(include, INCLUDES, "include")
    _checked(typed, TYPED, "typed")
    members = Specimen.objects.filter(cell__series=series).select_related("state", "subject")
    kept, left_out = _kept(list(members), include)
    owners = owners_of(kept)
    method = check_values(method) if metric == RATIO else method
    if metric == RATIO:
        peaks, _, found = metric_found(owners, OF_METRIC, "", None, instead)
        samples, units = ratio_samples(series, peaks, kept, method), {"1"}
    else:
        samples, units, found = metric_found(owners, metric, method, at, instead)
    measured = {m.reduction.record.subject_id: measured_when(m.reduction.record) for m in found}
    more = typed_samples(owners.codes(), metric, method, at, without=set(samples))
    taken = more.samples if typed == "with" else {}
    samples, units = {**samples, **taken}, units | (more.units if taken else set())
    rows = _rows(series, kept, samples, measured=measured, control=control, metric=metric)
    return Comparison(
        series=series,
        metric=metric,
        method=method or (found[0].method if found else ""),
        at=at,
        unit=units.pop() if units else "",
        control=control,
        include=include,
        rows=tuple(replace(r, group=typed_marked(r.group, r.samples, taken)) for r in rows),
        kept=tuple(s.code for s in kept),
        left_out=tuple(left_out),
        reductions=tuple(sorted({f"{m.reduction.name} {m.reduction.version}" for m in found})),
        factors=tuple(series.factors.order_by("position").values_list("name", flat=True)),
        typed=typed,
        typed_codes=tuple(sorted(more.samples)),
    )


def _rows(
    series: Series,
    kept: Sequence[Specimen],
    samples: Mapping[str, Sequence[Sample]],
    *,
    measured: Mapping[int, datetime],
    control: str,
    metric: str,
) -> tuple[Row, ...]:
    """One row a cell, each compared with the control that it names."""
    cells = list(Cell.objects.filter(series=series).order_by("id"))
    levels = _levels(series)
    groups: dict[int, Group] = {}
    own: dict[int, tuple[Sample, ...]] = {}
    for cell in cells:
        members = [s for s in kept if s.cell_id == cell.pk]
        own[cell.pk] = tuple(x for s in members for x in samples.get(s.code, ()))
        ages = [member_of(s, measured) for s in members]
        groups[cell.pk] = group_of(cell.code, own[cell.pk], ages)
    serving = {_control_of(cell, control) for cell in cells}
    rows = []
    for cell in cells:
        key = _control_of(cell, control)
        compared = against(
            groups[cell.pk],
            groups.get(key) if key is not None else None,
            kind=CONTROLS[control],
            metric=metric.replace("_", " "),
            is_control=cell.pk in serving,
        )
        rows.append(Row(cell, levels[cell.pk], groups[cell.pk], compared, own[cell.pk]))
    return tuple(rows)
