"""Addresses of what reductions hold beyond their numbers, and of those out of date."""

from __future__ import annotations

from django.urls import path

from results import cycles_api, stale_api
from results.views import cycles, metrics, stale

pages = [
    path("records/stale/", stale.StaleList.as_view(), name="record-stale"),
    path("records/stale/state/", stale.StaleState.as_view(), name="stale-state"),
    path("records/<uuid:record_id>/cycle/", cycles.RecordCycle.as_view(), name="record-cycle"),
    path(
        "metrics/<uuid:metric_id>/inputs.json",
        metrics.MetricInputs.as_view(),
        name="metric-inputs",
    ),
]
api = [
    path("records/<uuid:record_id>/cycles/", cycles_api.CyclesView.as_view(), name="record-cycles"),
    path("reductions/stale/", stale_api.StaleView.as_view(), name="reductions-stale"),
]
