"""The walk through all pages knows what every name of the access tables stands for."""

from __future__ import annotations

from tests.pages.outcomes import pages
from tests.pages.world import KNOWN, NAME


def test_the_world_of_the_walk_has_every_name_of_a_page():
    """One that is missing is told in ``tests/pages/world.py``."""
    assert {name for row in pages() for name in NAME.findall(row.path)} - KNOWN == set()
    assert len(pages()) > 70
