"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class ConditioningConfig(AppConfig):
    """Machines, sensors, calibrations, regimes."""

    name = "conditioning"
    label = "conditioning"

    def ready(self) -> None:
        """Guard the calibrations and check them against the ledger."""
        from conditioning.services.mirror import calibration_mirror
        from labmatrix.evidence import guards, registry

        guards.protect("conditioning_calibration")
        registry.mirror_register(calibration_mirror)
