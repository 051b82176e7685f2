"""The page of one load cycle, by its number."""

from __future__ import annotations

import json
import re

import pytest
from django.test import Client

from results.domain.reduction.cyclic import VERSION
from results.models import Metric, Reduction
from tests.results.scene import Scene, curve_csv
from tests.results.test_cycles_page import cyclic, restarted


@pytest.fixture
def address(cast: Scene) -> str:
    return f"/records/{cyclic(cast, restarted(0, 30, 75)).id}/cycle/"


def page_of(cast: Scene, address: str, who: str = "lead"):
    client = Client()
    client.force_login(getattr(cast, who))
    return client.get(address)


def test_any_cycle_by_its_number_with_every_row_of_it(cast: Scene, address: str):
    page = page_of(cast, f"{address}?number=57")
    text = page.content.decode()
    assert page.status_code == 200
    assert "Load cycle 57 of QS-P0-LAB-01" in text
    row = page.context["facts"]
    facts = {fact["key"]: fact for fact in row}
    payload = page.context["payload"]
    first, last = (facts[f"{end}_index"]["value"] for end in ("valley", "next_valley"))
    assert f"from_row={first}&to_row={last}" in payload["finer"]["url"]
    curve = page_of(cast, payload["finer"]["url"]).json()
    assert len(curve["lines"]["raw"]["x"]) == last - first + 1
    assert max(curve["lines"]["raw"]["y"]) == pytest.approx(facts["peak_load_kn"]["value"], abs=0.1)
    assert facts["peak_load_kn"]["unit"] == "kN"


def test_the_cycles_beside_it_are_a_step_away(cast: Scene, address: str):
    text = page_of(cast, f"{address}?number=80").content.decode()
    assert 'href="?number=79"' in text
    assert 'href="?number=86"' in text  # 81 to 85 were not recorded


def test_a_number_that_is_not_there_is_said_beside_the_next_one(cast: Scene, address: str):
    for number, words in (
        ("83", "Load cycle 83 was asked for and is not in the record; the next one is 86."),
        ("4000", "Load cycle 4000 was asked for and is not in the record; its last one is 125."),
        ("x", "number is &#x27;x&#x27;; allowed is a whole number."),
    ):
        page = page_of(cast, f"{address}?number={number}")
        assert (page.status_code, words in page.content.decode()) == (400, True), number


def test_only_those_who_see_the_record_see_its_cycles(cast: Scene, address: str):
    seen = {who: page_of(cast, address, who).status_code for who in ("technician", "sponsor")}
    assert seen == {"technician": 200, "sponsor": 404}


def test_a_record_without_load_cycles_has_no_such_page(cast: Scene):
    broken = cast.record(cast.specimen("P2-LAB").code, curve_csv([(0.0, 0.0), (9.0, 40.0)]))
    assert page_of(cast, f"/records/{broken.id}/cycle/").status_code == 404


def test_the_record_asks_for_a_number(cast: Scene, address: str):
    text = page_of(cast, address.removesuffix("cycle/")).content.decode()
    assert re.search(rf'<form method="get" action="{address}"', text)
    assert json.loads(Reduction.objects.get().inputs)["reduction"]["version"] == VERSION


def test_beyond_the_end_the_last_one_is_shown(cast: Scene, address: str):
    page = page_of(cast, f"{address}?number=4000")
    assert "its last one is 125" in page.content.decode()
    assert (page.context["number"], page.context["last"]) == (125, 125)


def test_a_checkpoint_and_its_page_agree_in_stiffness_and_uncertainty(cast: Scene, address: str):
    """Both go by the same rule, so they agree to the last digit."""
    metric = Metric.objects.get(name="secant_stiffness", at=10)
    budget = page_of(cast, f"{address}?number=10").context["budget"]
    assert (budget["value"], budget["u"]) == (metric.value, metric.u)
    other = page_of(cast, f"{address}?number=57").context["budget"]
    assert other["u"] > 0.0
    assert sum(row["percent"] for row in other["rows"]) == pytest.approx(100.0)


def test_the_file_and_its_rows_are_named(cast: Scene, address: str):
    page = page_of(cast, f"{address}?number=57")
    source = page.context["source"]
    facts = {fact["key"]: fact["value"] for fact in page.context["facts"]}
    assert (source["name"], source["position"]) == ("rig.csv", 0)
    assert (source["first"], source["last"]) == (facts["valley_index"], facts["next_valley_index"])
    assert "rig.csv</a>, rows" in page.content.decode()


def test_points_and_table_of_the_stiffness_lead_to_their_cycles(cast: Scene, address: str):
    page = page_of(cast, address.removesuffix("cycle/"))
    assert f'<a href="{address}?number=10">' in page.content.decode()
    (trace,) = page.context["stiffness"]["data"]
    assert trace["customdata"] == [f"{address}?number={at}" for at in trace["x"]]
