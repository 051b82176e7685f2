"""Which metrics a series has, for the choices on its pages."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import Q

from labmatrix.matrix.models import Series
from results.models import Metric, TypedResult
from results.selectors.ratio_samples import RATIO, VALUES
from specimens.models import Location, Specimen

DEFAULT_METRIC = "peak_load"


def metrics_offered(series: Series) -> list[dict[str, str]]:
    """Metrics by name and method with the words for a choice: {value: "name|method", words}."""
    specimens = Specimen.objects.filter(cell__series=series)
    locations = Location.objects.filter(specimen__cell__series=series)
    of_record = "reduction__record__subject_id__in"
    pairs = (
        Metric.objects.filter(
            Q(**{of_record: specimens.order_by().values("subject_id")})
            | Q(**{of_record: locations.order_by().values("subject_id")}),
            reduction__is_current=True,
        )
        .order_by("name", "method")
        .values_list("name", "method")
        .distinct()
    )
    reduced = set(pairs)
    there = reduced | imported_pairs(subjects_of(series), reduced)
    found = there | {(DEFAULT_METRIC, "")}
    if (DEFAULT_METRIC, "") in there:
        found |= {(RATIO, values) for values in VALUES}
    return [
        {
            "value": f"{name}|{method}",
            "words": f"{name.replace('_', ' ')}{f' ({method})' if method else ''}",
        }
        for name, method in sorted(found)
    ]


def subjects_of(series: Series) -> list[int]:
    """Keys of the subjects of a series: its specimens and the locations on them."""
    specimens = Specimen.objects.filter(cell__series=series).values_list("subject_id", flat=True)
    locations = Location.objects.filter(specimen__cell__series=series)
    return [*specimens.order_by(), *locations.order_by().values_list("subject_id", flat=True)]


def imported_pairs(subjects: Sequence[int], reduced: set[tuple[str, str]]) -> set[tuple[str, str]]:
    """Names and methods of imported numbers; one without a method stands under any other way."""
    typed = TypedResult.objects.filter(subject__in=subjects)
    pairs = set(typed.order_by().values_list("name", "method").distinct())
    with_method = {name for name, method in reduced | pairs if method}
    return {(name, method) for name, method in pairs if method or name not in with_method}


def cycles_offered(series: Series, metric: str) -> list[int]:
    """The load cycles at which a series has a metric, rising; empty for one without cycles."""
    specimens = Specimen.objects.filter(cell__series=series)
    found = Metric.objects.filter(
        name=metric,
        at__isnull=False,
        reduction__is_current=True,
        reduction__record__subject_id__in=specimens.order_by().values("subject_id"),
    )
    typed = TypedResult.objects.filter(
        subject__in=subjects_of(series), name=metric, at__isnull=False
    )
    cycles = {
        *found.order_by("at").values_list("at", flat=True).distinct(),
        *typed.order_by("at").values_list("at", flat=True).distinct(),
    }
    return sorted(at for at in cycles if at is not None)
