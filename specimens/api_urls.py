"""Addresses of this room's part of the API."""

from __future__ import annotations

from django.urls import path

from specimens.api import SpecimenMeasuredView, SpecimensView, SpecimenView
from specimens.event_api import EventSchemaView, EventsView
from specimens.lot_api import LotsView, LotView, TypedTestStrikeView, TypedTestsView

urlpatterns = [
    path("specimens/", SpecimensView.as_view(), name="specimens"),
    path("specimens/<slug:code>/", SpecimenView.as_view(), name="specimen"),
    path("specimens/<slug:code>/measured/", SpecimenMeasuredView.as_view(), name="measured"),
    path("lots/", LotsView.as_view(), name="lots"),
    path("lots/<slug:code>/", LotView.as_view(), name="lot"),
    path("lots/<slug:code>/tests/", TypedTestsView.as_view(), name="typed-tests"),
    path(
        "lots/<slug:code>/tests/<uuid:test_id>/strike/",
        TypedTestStrikeView.as_view(),
        name="typed-test-strike",
    ),
    path("events/", EventsView.as_view(), name="events"),
    path("events/schema/", EventSchemaView.as_view(), name="event-schema"),
]
