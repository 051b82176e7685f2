"""Imported numbers for a comparison: as reported, with no raw record behind them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time

from labmatrix.kernel.errors import ShapeError
from results.domain.comparison.groups import Sample
from results.models import TypedResult

IMPORTED_CHOICES = {
    "with": "with imported numbers, where a specimen has no reduced one",
    "without": "without imported numbers",
}
SEVERAL_METHODS = "{name} was found by {methods}; name one with method=."


@dataclass(frozen=True)
class Standing:
    """An imported number as it stands after what was corrected.

    Attributes:
        row: as it was taken in.
        value, u: in the unit of ``row``; u None where none was stated.
        said: as it was typed, with its unit.
        is_struck: a person said that it counts no more.
        seen: how many corrections it has.
    """

    row: TypedResult
    value: float
    u: float | None
    said: str
    is_struck: bool
    seen: int

    @property
    def name(self) -> str:
        """What it is a number of, with its method and load cycle."""
        method = f" ({self.row.method})" if self.row.method else ""
        at = "" if self.row.at is None else f" at load cycle {self.row.at}"
        return f"{self.row.name.replace('_', ' ')}{method}{at}"


def standing(row: TypedResult) -> Standing:
    """One number as it stands; its corrections are read beforehand where many are asked for."""
    corrections = list(row.corrections.all())
    if not corrections:
        return Standing(row, row.value, row.u, row.said, is_struck=False, seen=0)
    last = corrections[-1]
    if last.value is None:
        valued = next((one for one in reversed(corrections) if one.value is not None), None)
        value, u, said = (
            (row.value, row.u, row.said)
            if valued is None or valued.value is None
            else (valued.value, valued.u, valued.said)
        )
        return Standing(row, value, u, said, is_struck=True, seen=len(corrections))
    return Standing(row, last.value, last.u, last.said, is_struck=False, seen=len(corrections))


def standing_list(subjects: Iterable[int], name: str = "") -> list[Standing]:
    """The numbers of subjects that count; two queries.

    Args:
        subjects: keys.
        name: of the result; empty for all.
    """
    rows = TypedResult.objects.filter(subject_id__in=list(subjects))
    if name:
        rows = rows.filter(name=name)
    found = rows.prefetch_related("corrections").order_by("at", "id")
    return [one for one in map(standing, found) if not one.is_struck]


@dataclass(frozen=True)
class Imported:
    """Imported numbers of one name.

    Attributes:
        samples: by the specimen's code.
        units: that they are in.
        measured: when, by the subject's key, where the workbook says it.
        method: by which they were found; empty where it was not said.
    """

    samples: Mapping[str, list[Sample]]
    units: set[str]
    measured: Mapping[int, datetime]
    method: str


def imported_found(
    codes: Mapping[int, str],
    name: str,
    method: str,
    at: int | None,
    *,
    without: Collection[str],
    reduced_by: Collection[str],
    counts: bool,
) -> Imported:
    """Imported numbers of specimens that have no reduced one.

    Args:
        codes: subject's key -> specimen's code.
        name: of the result.
        method: empty for whichever there is. A number whose method was not said stands under any.
        at: load cycle; without it the last one of each subject.
        without: specimens that have reduced numbers, which come first.
        reduced_by: methods of the reduced numbers beside them.
        counts: whether they are to count; else it is only told who has one.

    Raises:
        ShapeError: ``comparison.method``, several methods where one must be named.
    """
    found = [
        one
        for one in standing_list(codes, name)
        if codes[one.row.subject_id] not in without and (at is None or one.row.at == at)
    ]
    wanted = method or (_one_method(found, name, reduced_by) if counts else "")
    is_any = not counts and not method
    last: dict[int, Standing] = {}
    for one in found:
        if one.row.method not in (wanted, "") and not is_any:
            continue
        before = last.get(one.row.subject_id)
        if before is None or one.row.method == wanted or before.row.method != wanted:
            last[one.row.subject_id] = one
    samples: dict[str, list[Sample]] = defaultdict(list)
    for subject_id, one in last.items():
        samples[codes[subject_id]].append(
            Sample(
                codes[subject_id],
                one.value,
                u=one.u,
                imported=True,
                no_method=bool(wanted) and not one.row.method,
            )
        )
    return Imported(dict(samples), {one.row.unit for one in last.values()}, _days(last), wanted)


def _one_method(found: Sequence[Standing], name: str, reduced_by: Collection[str]) -> str:
    methods = {one.row.method for one in found if one.row.method}
    methods |= {method for method in reduced_by if method and found}
    if len(methods) > 1:
        words = SEVERAL_METHODS.format(name=name, methods=", ".join(sorted(methods)))
        raise ShapeError("comparison.method", words, methods=sorted(methods))
    return methods.pop() if methods else ""


def _days(found: Mapping[int, Standing]) -> dict[int, datetime]:
    """Noon of the day on which each was measured."""
    return {
        key: datetime.combine(one.row.measured_on, time(12), UTC)
        for key, one in found.items()
        if one.row.measured_on is not None
    }
