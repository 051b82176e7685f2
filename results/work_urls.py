"""Addresses of pages and answers that follow work."""

from __future__ import annotations

from django.urls import path

from results.views import work

pages = [
    path("work/", work.WorkPage.as_view(), name="work"),
    path("work/state/", work.WorkState.as_view(), name="work-state"),
    path("records/work/", work.RecordListWork.as_view(), name="record-list-work"),
    path("records/<uuid:record_id>/work/", work.RecordWork.as_view(), name="record-work"),
    path("series/<str:code>/work/", work.SeriesWork.as_view(), name="series-work"),
    path(
        "series/<str:code>/predictions/progress/",
        work.PredictionsWork.as_view(),
        name="predictions-progress",
    ),
]
