"""Releases: frozen, versioned, with what an amendment changes, and the sponsor's share of them."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, transaction

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.ledger import ledger_verify
from labmatrix.kernel.errors import NotFound, RuleBroken, ShapeError
from labmatrix.web.domain.roles import Role
from results.domain.release_changes import CHANGED_CURVE, changes_between
from results.domain.sponsor_view import (
    PROGRESS_FIELDS,
    RELEASE_FIELDS,
    Field,
    as_sponsor,
    paths_of,
)
from results.models import Metric, Release
from results.selectors.progress import progress_list
from results.selectors.release import release_as_seen
from results.selectors.snapshot import MetricAsked
from tests.results.broken_series import broken, whole
from tests.results.released import SCOPE, released
from tests.results.scene import Scene


def is_listed(path: str, fields: tuple[Field, ...]) -> bool:
    parts = path.split(".")
    return any(
        len(listed := field.path.split(".")) == len(parts)
        and all(one in ("*", part) for one, part in zip(listed, parts, strict=True))
        for field in fields
    )


def test_a_release_freezes_numbers_that_change_afterwards(cast: Scene):
    whole(cast)
    release = released(cast)
    broken(cast, "P2-LAB", 200.0)
    [result] = release.content["results"]
    group = next(g for g in result["comparison"]["groups"] if g["cell"] == "P2-LAB")
    assert (release.version, group["n"], group["mean"]["value"]) == (1, 3, 92)
    [cell] = result["retention"]["cells"]
    assert cell["contribution_retention"]["value"] == pytest.approx(0.7)
    assert set(release.content["figures"]) == {"load-deflection"}


@pytest.mark.parametrize(
    "change",
    [
        lambda: Release.objects.update(scope="Valid for everything."),
        lambda: Release.objects.all()._raw_delete("default"),
    ],
    ids=["update", "delete"],
)
def test_the_database_refuses_to_change_a_release(cast: Scene, change):
    whole(cast)
    released(cast)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        change()


def test_an_amendment_says_what_changed_and_why(cast: Scene):
    whole(cast)
    released(cast)
    broken(cast, "P2-WDS", 81.0)
    second = released(cast, why="a fourth exposed beam was broken", scope=f"{SCOPE} One more.")
    changed = {c["what"]: (c["before"], c["after"]) for c in second.changes}
    assert second.version == 2
    assert second.why == "a fourth exposed beam was broken"
    assert changed["scope"] == (SCOPE, f"{SCOPE} One more.")
    assert changed["P2-WDS, peak load: n"] == (3, 4)
    # (74 + 77 + 80 + 81)/4 = 78; contribution (78 − 56)/30.
    assert changed["P2-WDS, peak load: mean"] == (77, 78)
    before, after = changed["P2-WDS, contribution retention of peak load"]
    assert (before, after) == pytest.approx((0.7, 22 / 30))
    assert "P2-LAB, peak load: n" not in changed
    assert any(what.startswith("curve of QS-P2-WDS") for what in changed)


def test_changes_name_what_is_gone_and_curves_that_were_redrawn(cast: Scene):
    whole(cast)
    before = released(cast).content
    after = Release.objects.get().content
    trace = after["figures"]["load-deflection"]["payload"]["data"][0]
    trace["y"][1] += 0.5
    gone = after["failure_modes"].pop()
    found = {change.what: change for change in changes_between(before, after)}
    assert len(found) == 2
    curve = next(c for what, c in found.items() if what.startswith("curve of"))
    assert curve.after == CHANGED_CURVE
    mode = next(c for what, c in found.items() if what.startswith(gone["cell"]))
    assert (mode.before, mode.after) == (3, None)
    assert changes_between(before, before) == ()


def test_the_same_results_are_not_released_twice(cast: Scene):
    whole(cast)
    released(cast)
    with pytest.raises(RuleBroken) as caught:
        released(cast, why="again")
    assert caught.value.code == "release.unchanged"


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"scope": "good for all"}, "release.scope"),
        ({"scope": "Valid for "}, "release.scope"),
        ({"why": " "}, "text.empty"),
        ({"metrics": []}, "release.no-metric"),
        ({"include": "some"}, "comparison.include"),
        ({"metrics": [MetricAsked("stiffness_loss")]}, "release.nothing"),
    ],
)
def test_a_release_that_cannot_be_says_why_and_leaves_nothing(cast: Scene, given, code):
    broken(cast, "P2-LAB", 90.0)
    with pytest.raises((ShapeError, RuleBroken)) as caught:
        released(cast, **given)
    assert caught.value.code == code
    assert not Release.objects.exists()
    assert not LedgerEntry.objects.filter(kind="release").exists()


@pytest.mark.parametrize("who", ["manager", "technician", "sponsor", "stranger"])
def test_only_a_lead_releases(cast: Scene, who):
    broken(cast, "P2-LAB", 90.0)
    with pytest.raises(NotFound):
        released(cast, actor=getattr(cast, who))


def test_the_ledger_repeats_a_release_and_both_are_compared(cast: Scene):
    whole(cast)
    release = released(cast)
    assert release.entry.kind == "release"
    assert list(ledger_verify()) == []
    twin = Release.objects.get()
    twin.pk, twin.version = "00000000-0000-4000-8000-000000000001", 2
    twin.scope = "Valid for everything."
    twin.entry = LedgerEntry.objects.exclude(kind="release").first()
    twin.save(force_insert=True)
    assert [finding.where for finding in ledger_verify()] == [f"release {twin.pk}"]


# What a sponsor sees.


def test_every_field_a_sponsor_is_given_is_in_the_written_table(cast: Scene, client):
    whole(cast)
    released(cast)
    broken(cast, "P2-WDS", 81.0)
    release = released(cast, why="one more")
    client.force_login(cast.sponsor)
    answer = client.get(f"/api/releases/{release.pk}/").json()
    unlisted = {path for path in paths_of(answer) if not is_listed(path, RELEASE_FIELDS)}
    assert unlisted == set()
    listed = client.get("/api/releases/").json()["results"]
    assert {p for p in paths_of(listed) if not is_listed(p, RELEASE_FIELDS)} == set()
    assert answer["results"][0]["comparison"]["groups"][0]["mean"]["unit"] == "kN"


def test_a_field_that_is_not_in_the_table_is_held_back_wherever_it_stands(cast: Scene):
    whole(cast)
    whole_view = release_as_seen(released(cast), Role.LEAD)
    secret = "held back"
    whole_view["diary"] = secret
    result = whole_view["results"][0]
    result["comparison"]["groups"][0]["remark"] = secret
    result["comparison"]["groups"][0]["mean"]["sensor"] = secret
    result["comparison"]["groups"][0]["notes"] = {"deep": secret}
    whole_view["figures"]["load-deflection"]["payload"]["finer"] = {"url": secret}
    whole_view["figures"]["load-deflection"]["table"]["rows"][0].append({"url": secret})
    assert secret not in str(as_sponsor(whole_view, RELEASE_FIELDS))


def test_progress_of_a_sponsor_holds_only_what_the_table_lists(cast: Scene):
    broken(cast, "P2-LAB", 90.0, 91.0)
    cast.specimen("P2-LAB")
    [found] = progress_list([cast.series])
    assert {p for p in paths_of(found) if not is_listed(p, PROGRESS_FIELDS)} == set()
    counts = {name: found[name] for name in ("planned", "made", "in_progress", "ended")}
    assert counts == {"planned": 12, "made": 3, "in_progress": 1, "ended": 2}


def test_pages_give_a_sponsor_no_link_to_work_and_no_unreleased_number(cast: Scene, client):
    whole(cast)
    release = released(cast)
    broken(cast, "P2-WDS", 81.23)
    client.force_login(cast.sponsor)
    paths = (f"/releases/{release.pk}/", "/series/QS/progress/", "/series/QS/releases/")
    for path in (*paths, "/programmes/QUAYSIDE/progress/"):
        page = client.get(path)
        html = page.content.decode()
        assert page.status_code == 200
        assert "81.2" not in html
        assert not any(str(pk) in html for pk in Metric.objects.values_list("pk", flat=True))
        for work in ("/records/", "/metrics/", "/specimens/", "/comparison/", "Release version"):
            assert work not in html, (path, work)
        assert "lead" not in [person.username for person in (cast.lead,) if str(person.pk) in html]


def test_every_table_and_figure_of_the_sponsors_page_names_its_version(cast: Scene, client):
    whole(cast)
    released(cast)
    client.force_login(cast.sponsor)
    html = client.get("/series/QS/progress/").content.decode()
    assert html.count("Version 1, released 2026-06-01.") >= 5
    assert SCOPE in html


def test_a_superseded_version_says_so_and_stays(cast: Scene, client):
    whole(cast)
    first = released(cast)
    broken(cast, "P2-WDS", 81.0)
    second = released(cast, why="one more")
    client.force_login(cast.sponsor)
    assert (
        "Version 2 has been released since" in client.get(f"/releases/{first.pk}/").content.decode()
    )
    html = client.get(f"/releases/{second.pk}/").content.decode()
    assert "What version 2 changes of version 1" in html


def test_a_lead_releases_by_the_form(cast: Scene, client):
    whole(cast)
    client.force_login(cast.lead)
    assert "Release version 1" in client.get("/series/QS/releases/").content.decode()
    form = {
        "metrics": ["peak_load|"],
        "control": "gain",
        "include": "judged",
        "imported": "with",
        "scope": SCOPE,
        "why": "review",
    }
    refused = client.post("/series/QS/releases/", {**form, "scope": "good for all"})
    assert refused.status_code == 400
    assert "begins with" in refused.content.decode()
    answer = client.post("/series/QS/releases/", form)
    assert answer.status_code == 302
    assert answer["Location"] == f"/releases/{Release.objects.get().pk}/"


def test_the_api_releases_and_answers_the_version(cast: Scene, client):
    whole(cast)
    client.force_login(cast.lead)
    body = {
        "scope": SCOPE,
        "why": "review",
        "metrics": ["peak_load", {"metric": "peak_deflection"}],
    }
    answer = client.post("/api/series/QS/releases/", body, content_type="application/json")
    assert (answer.status_code, answer.json()["version"]) == (201, 1)
    for bad in ("peak_load", [3], [{"metric": "peak_load", "at": "x"}], [{"name": "peak_load"}]):
        answer = client.post(
            "/api/series/QS/releases/", {**body, "metrics": bad}, content_type="application/json"
        )
        assert (answer.status_code, answer.json()["code"]) == (400, "release.metrics")


def test_pages_ask_the_same_number_of_queries_however_many_specimens(
    cast: Scene, client, django_assert_max_num_queries
):
    whole(cast)
    released(cast)
    client.force_login(cast.sponsor)
    for path in ("/series/QS/progress/", "/programmes/QUAYSIDE/progress/", "/series/QS/releases/"):
        client.get(path)
        with django_assert_max_num_queries(16):
            client.get(path)


def test_no_release_yet_is_said_to_everyone(cast: Scene, client):
    client.force_login(cast.sponsor)
    assert "No result is released yet" in client.get("/series/QS/progress/").content.decode()
    assert "Nothing is released yet" in client.get("/series/QS/releases/").content.decode()
