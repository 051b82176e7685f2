"""Addresses of this room's part of the API."""

from __future__ import annotations

from django.urls import URLPattern, path

from labmatrix.matrix import api, cell_api

urlpatterns: list[URLPattern] = [
    path("programmes/", api.ProgrammesView.as_view(), name="programmes"),
    path("programmes/<str:code>/", api.ProgrammeView.as_view(), name="programme"),
    path("series/", api.SeriesListView.as_view(), name="series-list"),
    path("series/<str:code>/", api.SeriesView.as_view(), name="series"),
    path("series/<str:code>/matrix/", api.SeriesMatrixView.as_view(), name="series-matrix"),
    path("series/<str:code>/cells/", cell_api.SeriesCellsView.as_view(), name="series-cells"),
    path(
        "series/<str:code>/cells/<str:cell>/", cell_api.SeriesCellView.as_view(), name="series-cell"
    ),
    path(
        "series/<str:code>/cells/<str:cell>/withdraw/",
        cell_api.SeriesCellWithdrawView.as_view(),
        name="series-cell-withdraw",
    ),
    path("cells/", api.CellsView.as_view(), name="cells"),
]
