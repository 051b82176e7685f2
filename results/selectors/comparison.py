"""The comparison of a series: one metric by cell, with named controls."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType

from django.db.models import Q

from labmatrix import __version__
from labmatrix.evidence.models import Record
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.models import Cell, CellLevel, Series
from results.domain.comparison.degradation import StiffnessAt, degradation
from results.domain.comparison.groups import Against, Group, Member, Sample, against, group_of
from results.models import Metric
from results.selectors.typed import TYPED, typed_marked, typed_samples
from specimens.models import Location, Specimen

CONTROLS = {"gain": "gain control", "conditioning": "conditioning control"}
INCLUDES = {
    "judged": "without specimens that a person excluded",
    "all": "all specimens, excluded ones too",
    "clean": "without excluded specimens and without those that have an open deviation",
}
# By load cycle over the whole life of a specimen, across its records.
BY_LIFE = ("stiffness_ratio", "stiffness_loss")
# Value and bound to be taken in the place of a stored number's, by its id; None leaves it out.
Instead = Mapping[uuid.UUID, tuple[float, str] | None]
AS_STORED: Instead = MappingProxyType({})


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


def _test_at(specimen: Specimen, measured: Mapping[int, datetime]) -> datetime | None:
    return specimen.state.ended_at or measured.get(specimen.subject_id)


def _member(specimen: Specimen, measured: Mapping[int, datetime]) -> Member:
    began, at = specimen.state.concrete_began_at, _test_at(specimen, measured)
    age = (at - began).total_seconds() / 86400 if began and at and at >= began else None
    return Member(specimen.code, specimen.state.end, age)


@dataclass(frozen=True)
class _Owners:
    """Which specimen a subject's numbers belong to."""

    specimens: Mapping[int, Specimen]

    def codes(self) -> Mapping[int, str]:
        return {subject: specimen.code for subject, specimen in self.specimens.items()}


def _owners(specimens: Sequence[Specimen]) -> _Owners:
    owners = {specimen.subject_id: specimen for specimen in specimens}
    by_pk = {specimen.pk: specimen for specimen in specimens}
    for subject_id, pk in Location.objects.filter(specimen__in=by_pk).values_list(
        "subject_id", "specimen_id"
    ):
        owners[subject_id] = by_pk[pk]
    return _Owners(owners)


def _latest_only(metrics: Sequence[Metric]) -> list[Metric]:
    """Of several records of one subject, the one measured last (else received last) counts."""
    latest: dict[tuple[int, int | None], Metric] = {}
    for metric in metrics:
        record = metric.reduction.record
        key = (record.subject_id, metric.at)
        before = latest.get(key)
        if before is None or _when(before.reduction.record) <= _when(record):
            latest[key] = metric
    return list(latest.values())


def _when(record: Record) -> datetime:
    return record.measured_at or record.received_at


def _metrics(owners: _Owners, name: str, method: str, instead: Instead) -> list[Metric]:
    chosen = Q(method=method) if method else Q()
    found = (
        Metric.objects.filter(
            chosen,
            name=name,
            reduction__is_current=True,
            reduction__record__subject_id__in=list(owners.specimens),
        )
        .select_related("reduction__record")
        .order_by("reduction__record__received_at", "id")
    )
    return [metric for metric in found if _taken(metric, instead)]


def _taken(metric: Metric, instead: Instead) -> bool:
    """Gives a metric in memory what is to be taken in its place; False where it is left out."""
    if metric.pk not in instead:
        return True
    other = instead[metric.pk]
    if other is not None:
        metric.value, metric.bound = other
    return other is not None


def _direct(
    owners: _Owners, name: str, method: str, at: int | None, instead: Instead
) -> tuple[dict[str, list[Sample]], set[str], list[Metric]]:
    every = _metrics(owners, name, method, instead)
    methods = {metric.method for metric in every}
    if len(methods) > 1:
        raise ShapeError(
            "comparison.method",
            f"{name} was found by {', '.join(sorted(methods))}; name one with method=.",
            methods=sorted(methods),
        )
    found = _latest_only(every)
    if at is not None:
        found = [m for m in found if m.at == at]
    elif any(m.at is not None for m in found):
        last: dict[int, Metric] = {}
        for metric in sorted(found, key=lambda m: m.at or 0):
            last[metric.reduction.record.subject_id] = metric
        found = list(last.values())
    samples: dict[str, list[Sample]] = defaultdict(list)
    codes = owners.codes()
    for metric in found:
        code = codes[metric.reduction.record.subject_id]
        samples[code].append(Sample(code, metric.value, metric.bound, str(metric.id), metric.u))
    return samples, {metric.unit for metric in found}, found


def stiffness_points(
    owners: Mapping[int, str], instead: Instead = AS_STORED
) -> dict[str, list[StiffnessAt]]:
    """Dynamic secant stiffness by load cycle of each specimen, over all its cyclic records.

    Static (slow) cycles are measured too, and are never mixed in.

    Args:
        owners: subject's key -> specimen's code.
        instead: values to be taken in the place of stored ones.
    """
    metrics = (
        Metric.objects.filter(
            name="secant_stiffness",
            method__startswith="dynamic",
            at__isnull=False,
            reduction__is_current=True,
            reduction__record__subject_id__in=list(owners),
        )
        .order_by("at", "reduction__record__received_at")
        .values_list("id", "at", "value", "reduction__record__subject_id")
    )
    points: dict[str, list[StiffnessAt]] = defaultdict(list)
    for key, at, stored, subject_id in metrics:
        value, _ = instead.get(key, (stored, "")) or (None, "")
        if at is not None and value is not None:
            points[owners[subject_id]].append(StiffnessAt(at, value, str(key)))
    # A first stiffness that is not above zero is no reference: its record says what is wrong.
    return {code: found for code, found in points.items() if found[0].stiffness_kn_mm > 0}


def _by_life(
    owners: _Owners, name: str, at: int | None, instead: Instead
) -> dict[str, list[Sample]]:
    samples: dict[str, list[Sample]] = defaultdict(list)
    for code, points in stiffness_points(owners.codes(), instead).items():
        series = [d for d in degradation(points) if at is None or d.cycle == at]
        if series:
            value = series[-1].ratio if name == "stiffness_ratio" else series[-1].loss
            samples[code].append(Sample(code, value, "", series[-1].metric_id))
    return samples


def _metrics_behind(samples: Mapping[str, Sequence[Sample]]) -> list[Metric]:
    keys = [sample.metric_id for own in samples.values() for sample in own]
    return list(Metric.objects.filter(pk__in=keys).select_related("reduction__record"))


def _levels(series: Series) -> dict[int, dict[str, str]]:
    levels: dict[int, dict[str, str]] = defaultdict(dict)
    rows = CellLevel.objects.filter(cell__series=series).select_related("factor", "level")
    for row in rows:
        levels[row.cell_id][row.factor.name] = row.level.shown
    return levels


def _kept(specimens: Sequence[Specimen], include: str) -> tuple[list[Specimen], list[str]]:
    def stays(specimen: Specimen) -> bool:
        if include == "all":
            return True
        if specimen.state.is_excluded:
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
        include: ``judged``, ``all`` or ``clean``.
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
    specimens = list(
        Specimen.objects.filter(cell__series=series).select_related("state", "subject")
    )
    kept, left_out = _kept(specimens, include)
    owners = _owners(kept)
    if metric in BY_LIFE:
        samples, units = _by_life(owners, metric, at, instead), {"1"}
        found = _metrics_behind(samples)
    else:
        samples, units, found = _direct(owners, metric, method, at, instead)
    measured = {m.reduction.record.subject_id: _when(m.reduction.record) for m in found}
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
        ages = [_member(s, measured) for s in members]
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
