"""What a lead can say so far of a series, and on how few specimens that rests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Exists, F, OuterRef

from labmatrix.matrix.models import Series
from labmatrix.web.domain.roles import Action, Role, allowed
from results.models import Reduction, TypedResult
from results.selectors.comparison import Row, comparison_get
from results.selectors.metric_choice import DEFAULT_METRIC

# More series would make the first page wait; their comparisons are one click away.
SERIES_SHOWN = 1
ROWS_SHOWN = 6
FEW = 2


@dataclass(frozen=True)
class SaidSoFar:
    """A series with its gains, the best founded first.

    Attributes:
        series: which.
        unit: of the means.
        rows: cells with a gain against their control, at most ``ROWS_SHOWN``.
        more: how many more there are.
        thin: cells of those whose gain rests on fewer than two specimens, on either side.
        waiting: planned cells without a number yet.
        has_imported: whether imported numbers are among those of the rows or their controls.
    """

    series: Series
    unit: str
    rows: Sequence[Row]
    more: int
    thin: tuple[str, ...]
    waiting: tuple[str, ...]
    has_imported: bool


def said_so_far(roles: Mapping[str, Role]) -> list[SaidSoFar]:
    """Gains in peak load of the series with numbers whose decision comes first.

    Of those that the person releases, as its comparison has them; one series, so that the questions
    to the database are as many however many series there are.

    Args:
        roles: the person's part by programme.
    """
    codes = sorted(code for code, role in roles.items() if allowed(role, Action.RELEASE))
    numbers = Reduction.objects.filter(
        is_current=True,
        record__test="break",
        record__subject__specimen__cell__series=OuterRef("pk"),
    )
    imported = TypedResult.objects.filter(
        name=DEFAULT_METRIC, subject__specimen__cell__series=OuterRef("pk")
    )
    mine = Series.objects.filter(Exists(numbers) | Exists(imported), programme__code__in=codes)
    ordered = mine.select_related("programme").order_by(
        F("programme__ends_on").asc(nulls_last=True), "code"
    )
    found = (_said(one) for one in ordered[:SERIES_SHOWN])
    return [one for one in found if one.rows]


def _said(series: Series) -> SaidSoFar:
    table = comparison_get(series=series, metric=DEFAULT_METRIC)
    gains = [row for row in table.rows if row.against.gain is not None]
    gains.sort(key=lambda row: -min(row.group.n, row.against.control_n))
    return SaidSoFar(
        series,
        table.unit or "1",
        gains[:ROWS_SHOWN],
        len(gains[ROWS_SHOWN:]),
        tuple(r.cell.code for r in gains if min(r.group.n, r.against.control_n) < FEW),
        tuple(row.cell.code for row in table.rows if not row.group.n),
        any(row.group.imported or row.against.control_imported for row in gains[:ROWS_SHOWN]),
    )
