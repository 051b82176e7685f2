"""The demo's people. Their password is known to everyone, so they are served on loopback only."""

from __future__ import annotations

from labmatrix.web.domain.roles import Role

DEMO_PASSWORD = "quayside-demo"  # noqa: S105
DEMO_PEOPLE: tuple[Role, ...] = (Role.LEAD, Role.MANAGER, Role.TECHNICIAN, Role.SPONSOR)
"""Each signs in under the name of the role."""
