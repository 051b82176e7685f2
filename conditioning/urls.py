"""Addresses of this room's pages."""

from __future__ import annotations

from django.urls import path

from conditioning import views

app_name = "conditioning"
urlpatterns = [
    path("machines/", views.machine_index, name="machine-list"),
    path("machines/new/", views.machine_new, name="machine-new"),
    path("machines/<slug:code>/", views.machine_detail, name="machine-detail"),
    path("machines/<slug:code>/change/", views.machine_edit, name="machine-change"),
    path("sensors/", views.sensor_index, name="sensor-list"),
    path("sensors/new/", views.sensor_new, name="sensor-new"),
    path("sensors/of/<path:serial>/calibrate/", views.calibration_new, name="calibration-new"),
    path("sensors/of/<path:serial>/", views.sensor_detail, name="sensor-detail"),
    path("regimes/", views.regime_index, name="regime-list"),
    path("regimes/new/", views.regime_new, name="regime-new"),
    path("regimes/<slug:code>/", views.regime_detail, name="regime-detail"),
    path("regimes/<slug:code>/change/", views.regime_edit, name="regime-change"),
]
