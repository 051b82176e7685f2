"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class ConditioningConfig(AppConfig):
    """Machines, sensors, calibrations, regimes."""

    name = "conditioning"
    label = "conditioning"

    def ready(self) -> None:
        """Guard the calibrations, check them against the ledger, put the door into the head."""
        from conditioning.services.mirror import calibration_mirror
        from labmatrix.evidence import guards, registry
        from labmatrix.web.domain.roles import Action
        from labmatrix.web.navigation import door_register

        guards.protect("conditioning_calibration")
        registry.mirror_register(calibration_mirror)
        door_register(
            place=30,
            label="Machines",
            url_name="conditioning:machine-list",
            action=Action.SEE_MACHINES,
        )
