"""Addresses of workbooks of past years and of typed results."""

from __future__ import annotations

from django.urls import path

from results import history_api
from results.views import history

pages = [
    path("programmes/<str:code>/history/", history.HistoryPage.as_view(), name="history"),
    path(
        "programmes/<str:code>/history/template.xlsx",
        history.HistoryTemplate.as_view(),
        name="history-template",
    ),
    path("imports/<uuid:import_id>/", history.HistoryImportPage.as_view(), name="history-import"),
    path("imports/<uuid:import_id>/state/", history.HistoryState.as_view(), name="history-state"),
    path("specimens/<str:code>/typed/", history.TypedPage.as_view(), name="typed"),
]
api = [
    path(
        "programmes/<str:code>/history/", history_api.HistorySendView.as_view(), name="history-send"
    ),
    path("imports/<uuid:import_id>/", history_api.HistoryImportView.as_view(), name="import"),
    path("imports/<uuid:import_id>/take/", history_api.HistoryTakeView.as_view(), name="take"),
    path("specimens/<str:code>/typed/", history_api.TypedView.as_view(), name="typed"),
]
