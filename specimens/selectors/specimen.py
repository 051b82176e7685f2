"""Read specimens for lists and pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, QuerySet

from labmatrix.evidence.models import Subject
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.models import Cell, Series
from labmatrix.matrix.selectors.cell import cell_list_of_series
from labmatrix.matrix.selectors.programme import programme_get
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.domain.roles import Action
from labmatrix.web.models import Person
from specimens.domain.ages import Ages, ages_since
from specimens.models import Location, Specimen, SpecimenState
from specimens.selectors.access import specimen_list_visible


@dataclass(frozen=True)
class SpecimenFilter:
    """Which specimens a list is about; empty texts ask for nothing."""

    programme: str = ""
    series: str = ""
    cell: str = ""
    stage: str = ""
    code: str = ""


def specimen_list_ids(*, actor: Person, wanted: SpecimenFilter) -> QuerySet[Specimen, int]:
    """Row ids in the order of codes, so that a page is cut before anything is joined to it.

    Raises:
        NotFound: a programme or series that is not there, or whose work is not theirs to see.
        ShapeError: ``input.text``.
    """
    check_storable(
        [wanted.programme, wanted.series, wanted.cell, wanted.stage, wanted.code],
        argument="the filter",
    )
    found = specimen_list_visible(actor=actor)
    if wanted.programme:
        programme_get(actor, wanted.programme, Action.SEE_WORK)
        found = found.filter(subject__programme_code=wanted.programme)
    if wanted.series:
        series_get(actor, wanted.series, Action.SEE_WORK)
        found = found.filter(cell__series__code=wanted.series)
    if wanted.cell:
        found = found.filter(cell__code=wanted.cell)
    if wanted.code:
        found = found.filter(code=wanted.code)
    if wanted.stage:
        found = found.filter(state__stage=wanted.stage)
    return found.order_by("code").values_list("pk", flat=True)


def specimen_list_page(ids: Sequence[int]) -> list[Specimen]:
    """The specimens of one page with cell, series, programme and state, in the order of ids."""
    rows = (
        Specimen.objects.select_related("subject", "cell__series__programme", "state")
        .defer("state__folded", "route", "member", "measured", "cell__series__route")
        .in_bulk(list(ids))
    )
    return [rows[key] for key in ids if key in rows]


def specimen_list_stages(ids: QuerySet[Specimen, int]) -> list[tuple[str, int]]:
    """How many of the specimens of ``specimen_list_ids`` are in which stage, most first."""
    counted = (
        SpecimenState.objects.filter(specimen__in=ids.order_by().values("pk"))
        .values_list("stage")
        .annotate(n=Count("pk"))
        .order_by("-n", "stage")
    )
    return [(stage, n) for stage, n in counted]


def specimen_ages(specimen: Specimen, at: datetime) -> Ages:
    """Ages at an instant, from the state as it is kept."""
    state = specimen.state
    return ages_since(
        concrete=state.concrete_began_at,
        mortar=state.mortar_at,
        exposure=state.exposure_ended_at,
        at=at,
    )


def specimen_reference_instant(
    specimen: Specimen, asked: datetime | None, now: datetime
) -> datetime:
    """At which instant ages are told: the one asked for, else the end, else now."""
    return asked or specimen.state.ended_at or now


def cell_list_unfilled(series: Series) -> list[tuple[Cell, int, int]]:
    """Cells of a series with the specimens they plan and have: (cell, planned, have)."""
    have = dict(
        Specimen.objects.filter(cell__series=series)
        .order_by()
        .values_list("cell_id")
        .annotate(n=Count("pk"))
    )
    return [(cell, cell.replicates, have.get(cell.pk, 0)) for cell in cell_list_of_series(series)]


def location_list_of(ids: Sequence[int]) -> dict[int, list[Location]]:
    """Locations by the row of their specimen; one query."""
    found: dict[int, list[Location]] = {}
    rows = Location.objects.filter(specimen__in=ids).select_related("subject")
    for row in rows.order_by("name"):
        found.setdefault(row.specimen_id, []).append(row)
    return found


def location_list(specimen: Specimen) -> list[dict[str, Any]]:
    """The locations on a specimen with the codes on their labels."""
    return [
        {"name": row.name, "code": row.subject.code}
        for row in specimen.locations.select_related("subject").order_by("name")
    ]


def specimen_of_subject(subject: Subject) -> Specimen | None:
    """The specimen behind a subject: itself, or the one that its location is on."""
    rows = Specimen.objects.select_related("subject", "cell__series__programme", "state")
    return rows.filter(subject=subject).first() or rows.filter(locations__subject=subject).first()
