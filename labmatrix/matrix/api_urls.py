"""Addresses of this room's part of the API."""

from __future__ import annotations

from django.urls import URLPattern, path

from labmatrix.matrix import api

urlpatterns: list[URLPattern] = [
    path("programmes/", api.ProgrammesView.as_view(), name="programmes"),
    path("programmes/<str:code>/", api.ProgrammeView.as_view(), name="programme"),
    path("series/", api.SeriesListView.as_view(), name="series-list"),
    path("series/<str:code>/", api.SeriesView.as_view(), name="series"),
    path("series/<str:code>/matrix/", api.SeriesMatrixView.as_view(), name="series-matrix"),
    path("cells/", api.CellsView.as_view(), name="cells"),
]
