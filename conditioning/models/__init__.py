"""Persistent things of this room, one noun a file."""

from conditioning.models.machine import Machine
from conditioning.models.regime import Regime
from conditioning.models.sensor import Calibration, Sensor

__all__ = ["Calibration", "Machine", "Regime", "Sensor"]
