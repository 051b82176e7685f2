"""Addresses of this room's pages."""

from __future__ import annotations

from django.urls import URLPattern

app_name = "specimens"
urlpatterns: list[URLPattern] = []
