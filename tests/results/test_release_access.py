"""Every address of retention, releases, progress and files against every role."""

from __future__ import annotations

from results import api_urls, release_api, retention_api, urls
from results.views import releases, takeaway
from tests.results.access_release import ACCESS
from tests.results.broken_series import whole
from tests.results.released import released
from tests.results.scene import Scene
from tests.specimens.access_table import WHO
from tests.specimens.access_world import asked, filled

OURS = {module.__name__ for module in (release_api, retention_api, releases, takeaway)}


def test_each_role_gets_what_the_table_says(cast: Scene):
    whole(cast)
    names = {"release": str(released(cast).pk)}
    people = {who: getattr(cast, who) for who in WHO if who != "nobody"}
    found, expected = {}, {}
    for access in ACCESS:
        at = f"{access.method} {access.path}"
        answers = {who: asked(access, who, people, names) for who in WHO}
        found[at] = {who: answer.status_code for who, answer in answers.items()}
        expected[at] = {who: access.status_for(who) for who in WHO}
        refused = [a for a in answers.values() if a.status_code in (401, 404)]
        if access.path.startswith("/api/"):
            assert all(set(answer.json()) == {"code", "message", "facts"} for answer in refused)
    assert found == expected


def test_the_table_has_every_address(cast: Scene):
    told = {filled(a.path.partition("?")[0], {"release": "R"}) for a in ACCESS}
    routes = [(f"/api/{p.pattern}", p) for p in api_urls.urlpatterns]
    routes += [(f"/{p.pattern}", p) for p in urls.urlpatterns]
    shapes = {
        "<str:code>": "QS",
        "<uuid:release_id>": "R",
        "<str:kind>": "",
        "<str:cell>": "P2-LAB",
    }
    count = 0
    for route, pattern in routes:
        if pattern.callback.view_class.__module__ not in OURS:
            continue
        count += 1
        path = route.replace("programmes/<str:code>", "programmes/QUAYSIDE")
        for shape, name in shapes.items():
            path = path.replace(shape, name)
        assert any(one == path or (path.endswith(".") and one.startswith(path)) for one in told)
    assert count == 15
