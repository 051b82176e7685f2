"""What this room's access table names, set up in the test's database."""

from __future__ import annotations

from conditioning.services.machine import machine_add
from conditioning.services.regime import regime_add
from conditioning.services.sensor import sensor_add
from tests.specimens.scene import NOW, Scene


def access_names(cast: Scene) -> dict[str, str]:
    """A machine, a sensor whose serial has a slash in it, and a regime."""
    lead = cast.lead
    machine_add(actor=lead, code="RIG-1", name="Rig", kind="rig", now=NOW)
    sensor_add(actor=lead, serial="LC/3 old", quantity="load", unit="kN", now=NOW)
    regime_add(actor=lead, code="WD", title="Wet–dry", kind="wet-dry", now=NOW)
    return {"machine": "RIG-1", "sensor": "LC/3%20old", "regime": "WD"}
