"""One metric of any specimens, as comparisons and trends take it."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from django.db.models import Q

from labmatrix.evidence.models import Record
from labmatrix.kernel.errors import ShapeError
from results.domain.comparison.degradation import StiffnessAt, degradation
from results.domain.comparison.groups import Member, Sample
from results.models import Metric
from specimens.models import Location, Specimen

# By load cycle over the whole life of a specimen, across its records.
BY_LIFE = ("stiffness_ratio", "stiffness_loss")
# Value and bound to be taken in the place of a stored number's, by its id; None leaves it out.
Instead = Mapping[uuid.UUID, tuple[float, str] | None]
AS_STORED: Instead = MappingProxyType({})


def _test_at(specimen: Specimen, measured: Mapping[int, datetime]) -> datetime | None:
    return specimen.state.ended_at or measured.get(specimen.subject_id)


def member_of(specimen: Specimen, measured: Mapping[int, datetime]) -> Member:
    """What a comparison says of a specimen beside its number."""
    began, at = specimen.state.concrete_began_at, _test_at(specimen, measured)
    age = (at - began).total_seconds() / 86400 if began and at and at >= began else None
    return Member(specimen.code, specimen.state.end, age)


@dataclass(frozen=True)
class Owners:
    """Which specimen a subject's numbers belong to."""

    specimens: Mapping[int, Specimen]

    def codes(self) -> Mapping[int, str]:
        """The specimen\'s code by subject."""
        return {subject: specimen.code for subject, specimen in self.specimens.items()}


def owners_of(specimens: Sequence[Specimen]) -> Owners:
    """The specimens by their own subject and by those of their locations; one query."""
    owners = {specimen.subject_id: specimen for specimen in specimens}
    by_pk = {specimen.pk: specimen for specimen in specimens}
    for subject_id, pk in Location.objects.filter(specimen__in=by_pk).values_list(
        "subject_id", "specimen_id"
    ):
        owners[subject_id] = by_pk[pk]
    return Owners(owners)


def _latest_only(metrics: Sequence[Metric]) -> list[Metric]:
    """Of several records of one subject, the one measured last (else received last) counts."""
    latest: dict[tuple[int, int | None], Metric] = {}
    for metric in metrics:
        record = metric.reduction.record
        key = (record.subject_id, metric.at)
        before = latest.get(key)
        if before is None or measured_when(before.reduction.record) <= measured_when(record):
            latest[key] = metric
    return list(latest.values())


def measured_when(record: Record) -> datetime:
    """When a record was measured, else received."""
    return record.measured_at or record.received_at


def _metrics(owners: Owners, name: str, method: str, instead: Instead) -> list[Metric]:
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
    owners: Owners, name: str, method: str, at: int | None, instead: Instead
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
        if at is None or value is None:
            continue
        own = points[owners[subject_id]]
        # A run repeats what its records gave: of one load cycle the record received first counts.
        if not own or own[-1].cycle != at:
            own.append(StiffnessAt(at, value, str(key)))
    # A first stiffness that is not above zero is no reference: its record says what is wrong.
    return {code: found for code, found in points.items() if found[0].stiffness_kn_mm > 0}


def _by_life(
    owners: Owners, name: str, at: int | None, instead: Instead
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


def metric_found(
    owners: Owners, metric: str, method: str, at: int | None, instead: Instead
) -> tuple[dict[str, list[Sample]], set[str], list[Metric]]:
    """Samples by specimen's code, their units, and the metrics behind them.

    Raises:
        ShapeError: several methods where one must be named.
    """
    if metric not in BY_LIFE:
        return _direct(owners, metric, method, at, instead)
    samples = _by_life(owners, metric, at, instead)
    return samples, {"1"}, _metrics_behind(samples)
