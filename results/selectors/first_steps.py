"""The way of a series from nothing to a released number: what is done, and what comes next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.urls import reverse

from labmatrix.evidence.models import Record
from labmatrix.matrix.models import Cell, Series
from labmatrix.web.domain.roles import Action, Role, allowed
from results.models import Prediction, Reduction, Release, TypedResult
from specimens.models import Specimen, SpecimenState

_PREDICTED = ("beam", "anchored beam")


@dataclass(frozen=True)
class FirstStep:
    """One step: what a person does, why, where, and whether it is done."""

    words: str
    why: str
    url: str
    is_done: bool


@dataclass(frozen=True)
class FirstSteps:
    """The steps of a series in order."""

    series: Series
    steps: tuple[FirstStep, ...]
    has_numbers: bool

    @property
    def next(self) -> FirstStep | None:
        """The first that is not done; None once all are."""
        return next((step for step in self.steps if not step.is_done), None)


def _marked(series: QuerySet[Series]) -> QuerySet[Any]:
    """Series with what is there of each; one query."""
    own = OuterRef("pk")
    subject = "subject__specimen__cell__series"
    return series.annotate(
        has_cells=Exists(Cell.objects.filter(series=own)),
        has_predictions=Exists(Prediction.objects.filter(cell__series=own)),
        has_specimens=Exists(Specimen.objects.filter(cell__series=own)),
        has_cast=Exists(
            SpecimenState.objects.filter(
                specimen__cell__series=own, concrete_began_at__isnull=False
            )
        ),
        has_records=Exists(Record.objects.filter(**{subject: own})),
        has_numbers=Exists(Reduction.objects.filter(is_current=True, **{f"record__{subject}": own}))
        | Exists(TypedResult.objects.filter(**{subject: own})),
        has_release=Exists(Release.objects.filter(series=own)),
    )


def _steps(series: Any) -> tuple[FirstStep, ...]:
    """All steps of a series that ``_marked`` gave."""
    code = [series.code]
    created = f"{reverse('specimens:specimen-create')}?series={series.code}"
    listed = f"{reverse('specimens:specimen-list')}?series={series.code}"
    told = [
        ("Say what a specimen is made of", "Section, bars, concrete, fabric: predictions need it.",
         reverse("matrix:member-edit", args=code), bool(series.member)),
        ("Plan the matrix", "Factors and their levels, then the cells; or both from a file.",
         reverse("matrix:series-detail", args=code), series.has_cells),
        ("Say what is done to a specimen", "Its route, from the mould to the test.",
         reverse("matrix:route-edit", args=code), bool(series.route)),
        ("Predict", "What each cell will carry, before anything is cast.",
         reverse("results:predictions", args=code), series.has_predictions),
        ("Create the specimens", "Each gets its code and a label.", created, series.has_specimens),
        ("Log the first casting", "On the specimen's page; so begins its life.", listed,
         series.has_cast),
        ("Upload the first record", "What a logger wrote of a test; its columns are looked at.",
         reverse("results:record-new"), series.has_records),
        ("See its numbers", "Read off the record; each leads back to its rows.",
         reverse("results:record-list"), series.has_numbers),
        ("Compare and release", "Means by cell against their controls; the sponsor sees what is "
         "released.", reverse("results:releases", args=code), series.has_release),
    ]  # fmt: skip
    if series.specimen_type not in _PREDICTED:
        told = [one for one in told if one[0] != "Predict"]
    return tuple(FirstStep(*one) for one in told)


def first_steps_of(series: Series) -> FirstSteps:
    """The steps of one series; one query."""
    marked: Any = _marked(Series.objects.filter(pk=series.pk)).get()
    return FirstSteps(series, _steps(marked), marked.has_numbers)


def next_of(series: Series, role: Role | None) -> FirstStep | None:
    """What comes next in a series, for whoever plans it; None for others and once all is done."""
    return first_steps_of(series).next if allowed(role, Action.PLAN_MATRIX) else None


def first_steps_list(roles: Mapping[str, Role]) -> list[FirstSteps]:
    """Series of the programmes that a person plans in which no number is reduced yet; one query.

    Args:
        roles: the person's part by programme.
    """
    codes = _planned_by(roles)
    found = _marked(Series.objects.filter(programme__code__in=codes)).filter(has_numbers=False)
    return [FirstSteps(series, _steps(series), False) for series in found.order_by("code")]


def _planned_by(roles: Mapping[str, Role]) -> Iterable[str]:
    return sorted(code for code, role in roles.items() if allowed(role, Action.PLAN_MATRIX))
