"""One number of any specimens, reduced or imported, as comparisons and trends take it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from results.domain.comparison.groups import Member, Sample
from results.models import Metric
from results.selectors.imported import Imported, imported_found
from results.selectors.samples import (
    AS_STORED,
    BY_LIFE,
    Instead,
    Owners,
    measured_when,
    member_of,
    metric_found,
    owners_of,
)
from specimens.models import Specimen


@dataclass(frozen=True)
class Numbers:
    """What was found.

    Attributes:
        samples: by the specimen's code.
        unit: that they are in; empty where there is none.
        method: by which they were found; empty where there is one way only.
        metrics: the reduced numbers behind them.
        measured: when, by the subject's key.
        imported: specimens that have an imported number and no reduced one, whether counted or not.
    """

    samples: Mapping[str, Sequence[Sample]]
    unit: str
    method: str
    metrics: Sequence[Metric]
    measured: Mapping[int, datetime]
    imported: tuple[str, ...]


def numbers_of(
    owners: Owners,
    metric: str,
    method: str = "",
    at: int | None = None,
    *,
    instead: Instead = AS_STORED,
    with_imported: bool = True,
) -> Numbers:
    """One number of specimens; a reduced number comes before an imported one of the same specimen.

    Args:
        owners: whose.
        metric, method, at: as for a comparison.
        instead: values to be taken in the place of stored ones.
        with_imported: whether imported numbers count.

    Raises:
        ShapeError: several methods where one must be named.
    """
    samples, units, found = metric_found(owners, metric, method, at, instead)
    reduced_by = set() if metric in BY_LIFE else {m.method for m in found}
    more: Imported = imported_found(
        owners.codes(),
        metric,
        method,
        at,
        without=set(samples),
        reduced_by=reduced_by,
        counts=with_imported,
    )
    measured = {m.reduction.record.subject_id: measured_when(m.reduction.record) for m in found}
    taken = more if with_imported else Imported({}, set(), {}, "")
    units |= taken.units
    return Numbers(
        samples={**samples, **taken.samples},
        unit=units.pop() if units else "",
        method=method or (found[0].method if found else taken.method),
        metrics=found,
        measured={**taken.measured, **measured},
        imported=tuple(sorted(more.samples)),
    )


def samples_of(
    specimens: Sequence[Specimen], *, metric: str, method: str = "", at: int | None = None
) -> tuple[Mapping[str, Sequence[Sample]], str, dict[str, Member]]:
    """One number of any specimens as a comparison takes it: by code, unit, members by code.

    Raises:
        ShapeError: several methods where one must be named.
    """
    found = numbers_of(owners_of(specimens), metric, method, at)
    members = {s.code: member_of(s, found.measured) for s in specimens}
    return found.samples, found.unit, members
