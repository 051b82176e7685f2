"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class ConditioningConfig(AppConfig):
    """Machines, sensors, calibrations, regimes."""

    name = "conditioning"
    label = "conditioning"
