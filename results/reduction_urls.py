"""Addresses of what reductions hold beyond their numbers."""

from __future__ import annotations

from django.urls import path

from results import cycles_api

api = [
    path("records/<uuid:record_id>/cycles/", cycles_api.CyclesView.as_view(), name="record-cycles"),
]
