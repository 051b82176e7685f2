"""Read series, and all that is planned in one."""

from __future__ import annotations

from django.db.models import Count, F, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.domain.design import (
    CellPlan,
    FactorKind,
    FactorPart,
    FactorPlan,
    ForbiddenPlan,
    LevelPlan,
    MatrixState,
)
from labmatrix.matrix.models import Cell, CellLevel, Factor, ForbiddenCombination, Level, Series
from labmatrix.matrix.selectors.programme import programme_list_visible, programme_role
from labmatrix.web.domain.roles import NOT_YOURS, Action, require
from labmatrix.web.models import Person


def series_list_visible(actor: Person) -> QuerySet[Series]:
    """The series of the programmes that a person is part of, with their programmes."""
    return Series.objects.filter(
        programme__in=programme_list_visible(actor).values("id")
    ).select_related("programme")


def series_list_with_counts(actor: Person) -> QuerySet[Series]:
    """As ``series_list_visible``, with ``cell_count`` and ``planned`` specimens."""
    cells = Cell.objects.filter(series_id=OuterRef("id")).order_by().values("series_id")
    return series_list_visible(actor).annotate(
        cell_count=Coalesce(Subquery(cells.annotate(n=Count("id")).values("n")), 0),
        planned=Coalesce(Subquery(cells.annotate(n=Sum("replicates")).values("n")), 0),
    )


def series_get(actor: Person, code: str, action: Action) -> Series:
    """The series with this code, if the person may do this in its programme.

    Raises:
        NotFound: there is none, or it is not theirs, or their role does not reach.
    """
    series = Series.objects.select_related("programme").filter(code=code).first()
    if series is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    require(programme_role(actor, series.programme), action)
    return series


def series_get_factors(series: Series) -> tuple[FactorPlan, ...]:
    """The factors of a series with their levels, in order; two queries."""
    levels: dict[int, list[LevelPlan]] = {}
    for level in Level.objects.filter(factor__series=series).order_by("position", "id"):
        levels.setdefault(level.factor_id, []).append(level_plan(level))
    return tuple(
        FactorPlan(
            name=factor.name,
            kind=FactorKind(factor.kind),
            levels=tuple(levels.get(factor.id, ())),
            unit=factor.unit,
            part=FactorPart(factor.part),
            is_open=factor.is_open,
        )
        for factor in Factor.objects.filter(series=series).order_by("position", "id")
    )


def level_plan(level: Level) -> LevelPlan:
    """A level as a plain value."""
    return LevelPlan(
        value=level.value,
        code=level.code,
        number=level.number,
        label=level.label,
        is_control=level.is_control,
    )


def series_get_state(series: Series) -> MatrixState:
    """All that is planned in a series; six queries, however many cells."""
    factors = series_get_factors(series)
    return MatrixState(factors, _forbidden(series, factors), _cells(series, factors))


def _forbidden(series: Series, factors: tuple[FactorPlan, ...]) -> tuple[ForbiddenPlan, ...]:
    names = [factor.name for factor in factors]
    rules = ForbiddenCombination.objects.filter(series=series).order_by("id")
    found: list[ForbiddenPlan] = []
    for rule in rules.prefetch_related("levels__factor"):
        levels = {level.factor.name: level.value for level in rule.levels.all()}
        found.append(ForbiddenPlan({n: levels[n] for n in names if n in levels}, rule.why))
    return tuple(found)


def _cells(series: Series, factors: tuple[FactorPlan, ...]) -> tuple[CellPlan, ...]:
    names = [factor.name for factor in factors]
    levels: dict[int, dict[str, str]] = {}
    entries = CellLevel.objects.filter(cell__series=series).order_by()
    for cell, name, value in entries.values_list("cell_id", "factor__name", "level__value"):
        levels.setdefault(cell, {})[name] = value
    cells = Cell.objects.filter(series=series).order_by("id")
    return tuple(
        CellPlan(
            code=cell.code,
            levels=tuple(levels[cell.id][name] for name in names),
            replicates=cell.replicates,
            gain_control=cell.gain_code,
            conditioning_control=cell.conditioning_code,
            note=cell.note,
        )
        for cell in cells.annotate(
            gain_code=F("gain_control__code"), conditioning_code=F("conditioning_control__code")
        )
    )
