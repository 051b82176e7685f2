"""How many specimens of each cell were made."""

from __future__ import annotations

from collections.abc import Mapping

from django.db.models import Count, Q

from labmatrix.matrix.domain.plan_rules import Made
from labmatrix.matrix.models import Series
from specimens.models import Specimen

NOT_BEGUN = "planned"


def made_by_cell(series: Series) -> Mapping[int, Made]:
    """Labelled specimens of each cell, and of how many work began; one query."""
    rows = (
        Specimen.objects.filter(cell__series=series)
        .order_by()
        .values_list("cell_id")
        .annotate(created=Count("pk"), cast=Count("pk", filter=~Q(state__stage=NOT_BEGUN)))
    )
    return {cell: Made(created, cast) for cell, created, cast in rows}
