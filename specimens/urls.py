"""Addresses of this room's pages."""

from __future__ import annotations

from django.urls import path

from specimens import event_views, views

app_name = "specimens"
_ONE = "specimens/<slug:code>/"
urlpatterns = [
    path("specimens/", views.specimen_list, name="specimen-list"),
    path("specimens/create/", views.specimen_create, name="specimen-create"),
    path("specimens/labels/", views.specimen_labels, name="specimen-labels"),
    path(_ONE, views.specimen_detail, name="specimen-detail"),
    path(f"{_ONE}measured/", views.specimen_measured, name="specimen-measured"),
    path(f"{_ONE}log/", event_views.event_choose, name="event-choose"),
    path(f"{_ONE}log/<slug:kind>/", event_views.event_log, name="event-log"),
    path(f"{_ONE}events/<uuid:event_id>/correct/", event_views.event_correct, name="event-correct"),
    path(f"{_ONE}events/<uuid:event_id>/strike/", event_views.event_strike, name="event-strike"),
    path(
        f"{_ONE}deviations/<uuid:deviation_id>/judge/",
        event_views.deviation_judge,
        name="deviation-judge",
    ),
    path(f"{_ONE}photos/<slug:sha256>/", event_views.photo, name="photo"),
]
