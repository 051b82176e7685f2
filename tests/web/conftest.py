"""Fixtures of this room's tests."""

from __future__ import annotations

import pytest

from tests.specimens.scene import Scene, scene


@pytest.fixture
def cast(db: None) -> Scene:
    """The standing cast."""
    return scene()
