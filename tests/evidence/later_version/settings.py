"""The real settings with one more migration of the evidence room."""

from __future__ import annotations

from labmatrix.settings import *  # noqa: F403

MIGRATION_MODULES = {"evidence": "tests.evidence.later_version.migrations"}
