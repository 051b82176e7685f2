"""Addresses of this room's part of the API."""

from __future__ import annotations

from django.urls import path

from conditioning import api

urlpatterns = [
    path("machines/", api.MachinesView.as_view(), name="machines"),
    path("machines/<slug:code>/", api.MachineView.as_view(), name="machine"),
    path("machines/<slug:code>/change/", api.MachineChangeView.as_view(), name="machine-change"),
    path("sensors/", api.SensorsView.as_view(), name="sensors"),
    path(
        "sensors/<path:serial>/calibrations/", api.CalibrationsView.as_view(), name="calibrations"
    ),
    path("regimes/", api.RegimesView.as_view(), name="regimes"),
    path("regimes/<slug:code>/", api.RegimeView.as_view(), name="regime"),
    path("regimes/<slug:code>/change/", api.RegimeChangeView.as_view(), name="regime-change"),
]
