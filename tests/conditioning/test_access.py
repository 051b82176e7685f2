"""Every page and endpoint of this room against every role, a stranger, and nobody."""

from __future__ import annotations

import pytest

from conditioning import api_urls, urls
from tests.conditioning.access_table import ACCESS
from tests.conditioning.access_world import access_names
from tests.specimens.access_table import WHO
from tests.specimens.access_world import asked

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("access", ACCESS, ids=lambda a: f"{a.method} {a.path}")
def test_each_role_gets_what_the_table_says(cast, access):
    names = access_names(cast)
    found = {who: asked(access, who, cast.people, names).status_code for who in WHO}
    assert found == {who: access.status_for(who) for who in WHO}


def test_the_table_has_every_address_of_the_room():
    told = {a.path for a in ACCESS}
    routes = [f"/api/{p.pattern}" for p in api_urls.urlpatterns]
    routes += [f"/{p.pattern}" for p in urls.urlpatterns]
    for route in routes:
        name = "{regime}" if "regimes" in route else "{machine}"
        path = route.replace("<slug:code>", name).replace("<path:serial>", "{sensor}")
        assert path in told, f"{route} is not in the access table"
