"""Every page and endpoint of this room against every role, a stranger, and nobody."""

from __future__ import annotations

import pytest

from results.models import Metric
from tests.results.access_table import OWN
from tests.results.history_books import imported_number, sent_book
from tests.results.scene import Scene, curve_csv
from tests.specimens.access_table import WHO, Access
from tests.specimens.access_world import asked


@pytest.mark.parametrize("access", OWN, ids=lambda a: f"{a.method} {a.path}")
def test_each_role_gets_what_the_table_says(cast: Scene, access: Access):
    specimen = cast.specimen("P2-LAB")
    curve = [(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)]
    record = cast.record(specimen.code, curve_csv(curve))
    names = {
        "record": str(record.id),
        "metric": str(Metric.objects.get(name="peak_load").id),
        "series": "QS",
        "programme": "QUAYSIDE",
        "import": str(sent_book(cast).pk),
        "imported": str(imported_number(cast.lead, cast.programme, specimen.code).pk),
        "specimen": specimen.code,
    }
    people = {who: getattr(cast, who) for who in WHO if who != "nobody"}
    found = {who: asked(access, who, people, names) for who in WHO}
    assert {who: answer.status_code for who, answer in found.items()} == {
        who: access.status_for(who) for who in WHO
    }
    path = access.path.replace("{specimen}", specimen.code)
    for who in ("sponsor", "stranger"):
        told = found[who].content.decode().replace(path, "")
        assert specimen.code not in told
