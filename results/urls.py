"""Addresses of this room's pages."""

from __future__ import annotations

from django.urls import path

from results import (
    history_urls,
    material_urls,
    prediction_urls,
    reduction_urls,
    what_if_urls,
    work_urls,
)
from results.views import (
    cell_panel,
    channels,
    comparison,
    first,
    life,
    metrics,
    overlay,
    plate,
    records,
    releases,
    takeaway,
    upload,
)

app_name = "results"
urlpatterns = [
    path("", first.FirstPage.as_view(), name="first"),
    *history_urls.pages,
    *prediction_urls.pages,
    *reduction_urls.pages,
    *work_urls.pages,
    *what_if_urls.pages,
    *material_urls.pages,
    path("records/", records.RecordList.as_view(), name="record-list"),
    path("records/new/", upload.RecordNew.as_view(), name="record-new"),
    path("records/<uuid:record_id>/", records.RecordPage.as_view(), name="record"),
    path("records/<uuid:record_id>/map/", channels.RecordMap.as_view(), name="record-map"),
    path("records/<uuid:record_id>/table/", records.RecordTable.as_view(), name="record-table"),
    path(
        "records/<uuid:record_id>/files/<int:position>/",
        records.RecordFileDownload.as_view(),
        name="record-file",
    ),
    path("overlay/", overlay.OverlayPage.as_view(), name="overlay"),
    path(
        "overlay/<slug:figure>.<str:kind>", overlay.OverlayFigure.as_view(), name="overlay-figure"
    ),
    path("metrics/<uuid:metric_id>/", metrics.MetricPage.as_view(), name="metric"),
    path("series/<str:code>/plate/", plate.PlatePage.as_view(), name="plate"),
    path(
        "series/<str:code>/plate/table.<str:kind>", plate.PlateTable.as_view(), name="plate-table"
    ),
    path("series/<str:code>/plate/new/", cell_panel.CellNew.as_view(), name="cell-new"),
    path(
        "series/<str:code>/plate/cells/<str:cell>/",
        cell_panel.CellPanel.as_view(),
        name="cell-panel",
    ),
    path(
        "series/<str:code>/plate/cells/<str:cell>/withdraw/",
        cell_panel.CellWithdraw.as_view(),
        name="cell-withdraw",
    ),
    path("specimens/<str:code>/life/", life.LifePage.as_view(), name="life"),
    path("series/<str:code>/releases/", releases.ReleasesPage.as_view(), name="releases"),
    path("series/<str:code>/progress/", releases.ProgressPage.as_view(), name="progress"),
    path(
        "programmes/<str:code>/progress/",
        releases.ProgrammeProgressPage.as_view(),
        name="programme-progress",
    ),
    path("releases/<uuid:release_id>/", releases.ReleasePage.as_view(), name="release"),
    path(
        "releases/<uuid:release_id>/table.<str:kind>",
        takeaway.ReleaseTable.as_view(),
        name="release-table",
    ),
    path(
        "releases/<uuid:release_id>/load-deflection.<str:kind>",
        takeaway.ReleaseFigure.as_view(figure="load-deflection"),
        name="release-load-deflection",
    ),
    path(
        "releases/<uuid:release_id>/stiffness.<str:kind>",
        takeaway.ReleaseFigure.as_view(figure="stiffness"),
        name="release-stiffness",
    ),
    path(
        "series/<str:code>/cells/<str:cell>/table.xlsx",
        takeaway.CellTable.as_view(),
        name="cell-table",
    ),
    path(
        "series/<str:code>/comparison/table.<str:kind>",
        takeaway.ComparisonTable.as_view(),
        name="comparison-table",
    ),
    path(
        "series/<str:code>/comparison/load-deflection.<str:kind>",
        takeaway.ComparisonFigure.as_view(figure="load-deflection"),
        name="comparison-load-deflection",
    ),
    path(
        "series/<str:code>/comparison/stiffness.<str:kind>",
        takeaway.ComparisonFigure.as_view(figure="stiffness"),
        name="comparison-stiffness",
    ),
    path("series/<str:code>/comparison/", comparison.ComparisonPage.as_view(), name="comparison"),
]
