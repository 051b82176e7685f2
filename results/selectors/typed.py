"""Typed results for a comparison, apart from reduced numbers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from results.domain.comparison.groups import Group, Sample
from results.models import TypedResult

TYPED = {
    "without": "reduced numbers only",
    "with": "typed results too, where a specimen has no reduced number",
}
TYPED_IN_MEAN = "{count} of {n} values are typed, no raw record: {codes}."


@dataclass(frozen=True)
class TypedSamples:
    """Samples by specimen, and the units that they are in."""

    samples: Mapping[str, list[Sample]]
    units: set[str]


def typed_marked(
    group: Group, samples: Sequence[Sample], typed: Mapping[str, Sequence[Sample]]
) -> Group:
    """The group with a note that names the typed values in it, its visible mark."""
    codes = sorted({sample.specimen for sample in samples} & set(typed))
    if not codes:
        return group
    shown = ", ".join(codes[:6]) + (" and others" if len(codes) > 6 else "")
    note = TYPED_IN_MEAN.format(count=len(codes), n=group.n, codes=shown)
    return replace(group, notes=(*group.notes, note))


def typed_samples(
    codes: Mapping[int, str], name: str, method: str, at: int | None, *, without: Collection[str]
) -> TypedSamples:
    """Typed results of one name; without ``at`` the last load cycle of each subject.

    Args:
        codes: subject's key -> specimen's code.
        name: of the result.
        method: empty for any.
        at: load cycle, or None.
        without: specimens that have reduced numbers, which come first.
    """
    rows = TypedResult.objects.filter(subject_id__in=list(codes), name=name).order_by("at", "id")
    if method:
        rows = rows.filter(method=method)
    if at is not None:
        rows = rows.filter(at=at)
    last = {row.subject_id: row for row in rows if codes[row.subject_id] not in without}
    samples: dict[str, list[Sample]] = defaultdict(list)
    for subject_id, row in last.items():
        samples[codes[subject_id]].append(Sample(codes[subject_id], row.value))
    return TypedSamples(dict(samples), {row.unit for row in last.values()})
