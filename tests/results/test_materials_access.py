"""Every address of materials against every role, a stranger, and nobody."""

from __future__ import annotations

from datetime import date

import pytest

from specimens.models import Lot
from specimens.services.lot import lot_add
from specimens.services.typed_test import typed_test_add
from tests.results.access_materials import ACCESS
from tests.results.scene import CAST_AT, NOW, Scene
from tests.specimens.access_table import WHO, Access
from tests.specimens.access_world import asked


def batch(cast: Scene) -> Lot:
    """The batch that every specimen of the scene is cast of."""
    return lot_add(
        actor=cast.lead, programme=cast.programme, code="C-01", kind="concrete", title="C30/37",
        made_on=CAST_AT.date(), specified={"fc_mpa": 30}, source="design", now=NOW,
    )  # fmt: skip


@pytest.mark.parametrize("access", ACCESS, ids=lambda a: f"{a.method} {a.path}")
def test_each_role_gets_what_the_table_says(cast: Scene, access: Access):
    cast.specimen("P2-LAB")
    values = {"diameter_mm": 150.0, "length_mm": 300.0, "load_kn": 540.0}
    typed = typed_test_add(actor=cast.lead, lot=batch(cast), test="cylinder", mark="C1",
                           tested_on=date(2026, 2, 2), values=values, now=NOW)  # fmt: skip
    names = {"lot": "C-01", "typed": str(typed.pk)}
    people = {who: getattr(cast, who) for who in WHO if who != "nobody"}
    found = {who: asked(access, who, people, names) for who in WHO}
    assert {who: answer.status_code for who, answer in found.items()} == {
        who: access.status_for(who) for who in WHO
    }
    for who in ("sponsor", "stranger"):
        assert "C30/37" not in found[who].content.decode()
