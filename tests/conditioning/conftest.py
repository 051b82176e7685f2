"""Fixtures of this room's tests: the standing cast, clients, and a machine with sensors."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.test import Client

from conditioning.models import Machine, Sensor
from conditioning.services.machine import machine_add
from conditioning.services.sensor import sensor_add
from tests.specimens.scene import NOW, Scene, scene


@pytest.fixture
def cast(db) -> Scene:
    """The standing cast."""
    return scene()


@pytest.fixture
def rig(cast) -> Machine:
    """A machine of the laboratory."""
    return machine_add(
        actor=cast.people["manager"], code="RIG-1", name="Fatigue rig", kind="rig", positions=1,
        now=NOW,
    )  # fmt: skip


@pytest.fixture
def cell(cast) -> Sensor:
    """A load cell without a calibration."""
    return sensor_add(
        actor=cast.people["manager"], serial="LC-3", quantity="load", unit="kN", range_low=0,
        range_high=200, now=NOW,
    )  # fmt: skip


@pytest.fixture
def as_person(cast):
    """A signed-in browser of one of the people."""

    def signed_in(name="manager"):
        client = Client()
        client.force_login(cast.people[name])
        return client

    return signed_in


def day(text: str) -> datetime:
    """Nine in the morning, UTC."""
    return datetime.fromisoformat(text).replace(hour=9, tzinfo=UTC)
