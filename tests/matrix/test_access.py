"""Every page and endpoint of this room against every role, a stranger, and nobody."""

from __future__ import annotations

import pytest

from labmatrix.kernel.clock import now
from labmatrix.matrix.services.invitation import invitation_create
from labmatrix.web.domain.roles import Role
from tests.matrix.access_table import ACCESS
from tests.results.scene import scene
from tests.specimens.access_table import WHO, Access
from tests.specimens.access_world import asked

pytestmark = pytest.mark.django_db
NAMES = {"programme": "QUAYSIDE", "series": "QS", "cell": "P2-LAB"}


@pytest.mark.parametrize("access", ACCESS, ids=lambda a: f"{a.method} {a.path}")
def test_each_role_gets_what_the_table_says(access: Access):
    cast = scene()
    issued = invitation_create(
        actor=cast.lead, email="ida@floor.example", role=Role.TECHNICIAN, now=now()
    )
    names = {
        **NAMES,
        "person": str(cast.technician.pk),
        "invitation": str(issued.invitation.pk),
        "link": issued.link.rstrip("/").rpartition("/")[2],
    }
    people = {who: getattr(cast, who) for who in WHO if who != "nobody"}
    found = {who: asked(access, who, people, names) for who in WHO}
    assert {who: answer.status_code for who, answer in found.items()} == {
        who: access.status_for(who) for who in WHO
    }
    for answer in found.values():
        if answer.status_code in (401, 404) and access.path.startswith("/api/"):
            assert set(answer.json()) == {"code", "message", "facts"}
    if found["stranger"].status_code == 404:
        assert "Beams" not in found["stranger"].content.decode()
