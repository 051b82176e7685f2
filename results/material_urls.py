"""Addresses of materials, pages and API."""

from __future__ import annotations

from django.urls import path

from results import material_api
from results.views import materials, series_materials

pages = [
    path("materials/", materials.MaterialList.as_view(), name="materials"),
    path("materials/new/", materials.LotNew.as_view(), name="lot-new"),
    path("materials/<slug:code>/", materials.LotPage.as_view(), name="lot"),
    path("materials/<slug:code>/change/", materials.LotChange.as_view(), name="lot-change"),
    path(
        "materials/<slug:code>/type/<slug:test>/",
        materials.TypedTestNew.as_view(),
        name="typed-test-new",
    ),
    path(
        "materials/<slug:code>/tests/<uuid:test_id>/strike/",
        materials.TypedTestStrike.as_view(),
        name="typed-test-strike",
    ),
    path(
        "series/<str:code>/materials/",
        series_materials.SeriesMaterials.as_view(),
        name="series-materials",
    ),
    path(
        "series/<str:code>/materials/table.<str:kind>",
        series_materials.SeriesMaterialsFile.as_view(),
        name="series-materials-table",
    ),
]
api = [
    path(
        "lots/<slug:code>/properties/",
        material_api.LotPropertiesView.as_view(),
        name="lot-properties",
    ),
    path(
        "series/<str:code>/materials/",
        material_api.SeriesMaterialsView.as_view(),
        name="series-materials",
    ),
]
