"""Addresses of this room's pages."""

from __future__ import annotations

from django.urls import path

from results.views import comparison, life, metrics, plate, records

app_name = "results"
urlpatterns = [
    path("records/", records.RecordList.as_view(), name="record-list"),
    path("records/new/", records.RecordNew.as_view(), name="record-new"),
    path("records/<uuid:record_id>/", records.RecordPage.as_view(), name="record"),
    path(
        "records/<uuid:record_id>/files/<int:position>/",
        records.RecordFileDownload.as_view(),
        name="record-file",
    ),
    path("metrics/<uuid:metric_id>/", metrics.MetricPage.as_view(), name="metric"),
    path("series/<str:code>/plate/", plate.PlatePage.as_view(), name="plate"),
    path("specimens/<str:code>/life/", life.LifePage.as_view(), name="life"),
    path("series/<str:code>/comparison/", comparison.ComparisonPage.as_view(), name="comparison"),
]
