"""Read series, and all that is planned in one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, F, QuerySet, Sum

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
from labmatrix.matrix.models import (
    Cell,
    CellLevel,
    Factor,
    ForbiddenCombination,
    Level,
    Programme,
    Series,
)
from labmatrix.matrix.selectors.programme import programme_list_visible, programme_role
from labmatrix.web.domain.roles import NOT_YOURS, Action, require
from labmatrix.web.models import Person


@dataclass(frozen=True)
class SeriesSeen:
    """A series with its cells and planned specimens."""

    series: Series
    cell_count: int
    planned: int


def series_list_visible(actor: Person) -> QuerySet[Series]:
    """The series of the programmes that a person is part of, with their programmes."""
    return Series.objects.filter(
        programme__in=programme_list_visible(actor).values("id")
    ).select_related("programme")


def series_list_ids(actor: Person) -> QuerySet[Series, int]:
    """The rows of ``series_list_visible``, in the same order."""
    return series_list_visible(actor).values_list("id", flat=True)


def series_list_page(ids: Sequence[int]) -> list[SeriesSeen]:
    """Some series in the order of the ids; two queries, however many."""
    series = Series.objects.select_related("programme").in_bulk(list(ids))
    cells = {
        row["series_id"]: (row["n"], row["planned"])
        for row in Cell.objects.filter(series_id__in=ids)
        .order_by()
        .values("series_id")
        .annotate(n=Count("id"), planned=Sum("replicates"))
    }
    return [SeriesSeen(series[key], *cells.get(key, (0, 0))) for key in ids]


def series_list_of_programme(programme: Programme) -> list[SeriesSeen]:
    """The series of one programme, by code."""
    return series_list_page(list(programme.series.values_list("id", flat=True)))


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


def factor_get(series: Series, position: int) -> tuple[Factor, FactorPlan]:
    """A factor of a series by its place in the order, as a row and as a plain value.

    Raises:
        NotFound: the series has no factor there.
    """
    rows = list(Factor.objects.filter(series=series).order_by("position", "id"))
    if not 0 <= position < len(rows):
        raise NotFound("access.not-yours", NOT_YOURS)
    return rows[position], series_get_factors(series)[position]
