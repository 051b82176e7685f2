"""Addresses of this room's pages."""

from __future__ import annotations

from django.urls import URLPattern, path

from labmatrix.matrix import cell_views, series_views, views

app_name = "matrix"
_PROGRAMME = "programmes/<str:code>/"
_SERIES = "series/<str:code>/"
_CELL = f"{_SERIES}cells/<str:cell>/"
urlpatterns: list[URLPattern] = [
    path("", views.home, name="home"),
    path("programmes/new/", views.programme_new, name="programme-new"),
    path(_PROGRAMME, views.programme_detail, name="programme-detail"),
    path(f"{_PROGRAMME}people/", views.member_set, name="member-set"),
    path(f"{_PROGRAMME}series/new/", views.series_new, name="series-new"),
    path(_SERIES, series_views.series_detail, name="series-detail"),
    path(f"{_SERIES}change/", series_views.series_edit, name="series-edit"),
    path(f"{_SERIES}matrix/", series_views.matrix_upload, name="matrix-upload"),
    path(f"{_SERIES}matrix.json", series_views.series_file, name="series-file"),
    path(f"{_SERIES}factors/new/", series_views.factor_new, name="factor-new"),
    path(f"{_SERIES}factors/<int:position>/", series_views.factor_edit, name="factor-edit"),
    path(f"{_SERIES}factors/<int:position>/new/", series_views.level_new, name="level-new"),
    path(f"{_SERIES}forbidden/new/", series_views.forbidden_new, name="forbidden-new"),
    path(f"{_SERIES}cells/all/", series_views.cells_all, name="cells-all"),
    path(f"{_SERIES}cells/new/", cell_views.cell_new, name="cell-new"),
    path(f"{_SERIES}controls/", series_views.controls_name, name="controls-name"),
    path(_CELL, cell_views.cell_detail, name="cell-detail"),
    path(f"{_CELL}change/", cell_views.cell_edit, name="cell-edit"),
]
