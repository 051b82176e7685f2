"""Addresses of workbooks of past years and of imported numbers."""

from __future__ import annotations

from django.urls import path

from results import history_api
from results.views import history, imported

pages = [
    path("programmes/<str:code>/history/", history.HistoryPage.as_view(), name="history"),
    path(
        "programmes/<str:code>/history/template.xlsx",
        history.HistoryTemplate.as_view(),
        name="history-template",
    ),
    path("imports/<uuid:import_id>/", history.HistoryImportPage.as_view(), name="history-import"),
    path("imports/<uuid:import_id>/state/", history.HistoryState.as_view(), name="history-state"),
    path("specimens/<str:code>/imported/", imported.ImportedPage.as_view(), name="imported"),
    path(
        "specimens/<str:code>/imported/<int:number>/correct/",
        imported.ImportedCorrectPage.as_view(),
        name="imported-correct",
    ),
]
api = [
    path(
        "programmes/<str:code>/history/", history_api.HistorySendView.as_view(), name="history-send"
    ),
    path("imports/<uuid:import_id>/", history_api.HistoryImportView.as_view(), name="import"),
    path("imports/<uuid:import_id>/take/", history_api.HistoryTakeView.as_view(), name="take"),
    path("specimens/<str:code>/imported/", history_api.ImportedView.as_view(), name="imported"),
    path(
        "specimens/<str:code>/imported/<int:number>/corrections/",
        history_api.ImportedCorrectView.as_view(),
        name="imported-correct",
    ),
]
