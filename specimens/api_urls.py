"""Addresses of this room's part of the API."""

from __future__ import annotations

from django.urls import path

from specimens.api import SpecimenMeasuredView, SpecimensView, SpecimenView
from specimens.event_api import EventSchemaView, EventsView

urlpatterns = [
    path("specimens/", SpecimensView.as_view(), name="specimens"),
    path("specimens/<slug:code>/", SpecimenView.as_view(), name="specimen"),
    path("specimens/<slug:code>/measured/", SpecimenMeasuredView.as_view(), name="measured"),
    path("events/", EventsView.as_view(), name="events"),
    path("events/schema/", EventSchemaView.as_view(), name="event-schema"),
]
