"""Addresses of this room's part of the API."""

from __future__ import annotations

from django.urls import path

from results import (
    api,
    deviations_api,
    history_urls,
    material_urls,
    overlay_api,
    prediction_urls,
    reduction_urls,
    release_api,
    retention_api,
    what_if_urls,
)

urlpatterns = [
    *history_urls.api,
    *prediction_urls.api,
    *material_urls.api,
    *reduction_urls.api,
    *what_if_urls.api,
    path("records/", api.RecordsView.as_view(), name="records"),
    path("records/<uuid:record_id>/", api.RecordView.as_view(), name="record"),
    path("records/<uuid:record_id>/curve/", api.CurveView.as_view(), name="record-curve"),
    path("records/<uuid:record_id>/reduce/", api.RecordReduceView.as_view(), name="record-reduce"),
    path("overlay/", overlay_api.OverlayView.as_view(), name="overlay"),
    path("jobs/", api.JobsView.as_view(), name="jobs"),
    path("metrics/<uuid:metric_id>/", api.MetricView.as_view(), name="metric"),
    path("channel-maps/", api.ChannelMapsView.as_view(), name="channel-maps"),
    path("releases/", release_api.ReleasesView.as_view(), name="releases"),
    path("releases/<uuid:release_id>/", release_api.ReleaseView.as_view(), name="release"),
    path("series/<str:code>/releases/", release_api.ReleaseMakeView.as_view(), name="release-make"),
    path("series/<str:code>/retention/", retention_api.RetentionView.as_view(), name="retention"),
    path("series/<str:code>/comparison/", api.ComparisonView.as_view(), name="comparison"),
    path(
        "series/<str:code>/comparison/deviations/",
        deviations_api.ComparisonBothView.as_view(),
        name="comparison-deviations",
    ),
    path(
        "series/<str:code>/comparison.csv", api.ComparisonCsvView.as_view(), name="comparison-csv"
    ),
]
