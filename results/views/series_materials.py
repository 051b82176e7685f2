"""What the members of a series are made of, on a page and to take away."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from labmatrix import __version__
from labmatrix.kernel.clock import iso, now
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from results.material_tables import in_use_table, lots_table, measured_tables
from results.selectors.materials import lots_known, lots_of_series, materials_of_specimens
from results.selectors.takeaway import INVENTED_SAID
from results.takeaway.tables import TABLE_TYPES, table_as
from results.takeaway.wording import file_name
from results.views.takeaway import units_asked
from specimens.models import Specimen


def _members(series: Series) -> list[Specimen]:
    found = Specimen.objects.filter(cell__series=series).select_related("state", "subject")
    return list(found.order_by("cell_id", "number"))


def series_material_tables(series: Series, *, linked: bool) -> dict[str, dict[str, Any]]:
    """The tables of a series' materials by a short name; empty where no lot is known.

    Args:
        series: with its programme.
        linked: whether cells lead to their pages.
    """
    lots = lots_of_series(series)
    if not lots:
        return {}
    members, known = _members(series), lots_known(lots)
    return {
        "lots": lots_table(lots, known, linked=linked),
        **measured_tables(lots, known),
        "in-use": in_use_table(members, materials_of_specimens(members), linked=linked),
    }


class SeriesMaterials(View):
    """What the members of a series are made of."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        context: dict[str, Any] = {
            "series": series,
            "tables": series_material_tables(series, linked=True),
            "specimens": Specimen.objects.filter(cell__series=series).count(),
        }
        if series.programme.is_invented:
            context["invented_data_notice"] = True
        return render(request, "results/material_series.html", context)


class SeriesMaterialsFile(View):
    """The same to take away, as CSV, XLSX or LaTeX."""

    def get(self, request: HttpRequest, code: str, kind: str) -> HttpResponse:
        """The file."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        tables = series_material_tables(series, linked=False)
        count = Specimen.objects.filter(cell__series=series).count()
        footer = [
            f"{count} specimens; n in each row counts the pieces tested.",
            f"{series.code}: work in progress as of {iso(now())}, not a release.",
            f"Strongfloor {__version__}.",
            *([INVENTED_SAID] if series.programme.is_invented else []),
        ]
        content = table_as(kind, tables, footer, units_asked(request))
        response = HttpResponse(content, content_type=TABLE_TYPES[kind])
        name = file_name(series.code, "materials", ending=kind)
        response["Content-Disposition"] = f'attachment; filename="{name}"'
        return response
