"""What a series' specimens are made of and what is done to them, in fields and rows."""

from __future__ import annotations

import html
import re

import pytest

from labmatrix.kernel.canonical import content_key
from labmatrix.matrix.domain.member_fields import FIELDS
from labmatrix.matrix.domain.route_rows import rows_of, template_of, usual_rows
from labmatrix.matrix.models import Series
from results.domain.invented.programme import member_json, route_template
from results.domain.planned_member import Known, loading_payload, member_payload
from tests.matrix.test_pages import as_person, words

pytestmark = pytest.mark.django_db
MEMBER, ROUTE = "/series/QV-B/member/", "/series/QV-B/route/"


def fields_of(answer) -> dict[str, str]:
    """What a browser would send of a page's form."""
    page = answer.content.decode().partition("<main")[2]
    found = {}
    for tag in re.findall(r"<input[^>]*>", page):
        told = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if "name" in told and (told.get("type") != "checkbox" or " checked" in tag):
            found[told["name"]] = html.unescape(told.get("value", ""))
    for name, inner in re.findall(r'<select name="([^"]*)"[^>]*>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected', inner)
        first = re.search(r'<option value="([^"]*)"', inner)
        found[name] = html.unescape((chosen or first)[1])
    found.pop("csrfmiddlewaretoken", None)
    return found


def error_of(answer, field: str) -> str:
    """What is said at a field."""
    pattern = rf'<ul[^>]*id="id_{field}_error"[^>]*>(.*?)</ul>'
    found = re.search(pattern, answer.content.decode(), re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", "", found[1])).strip() if found else ""


def stored() -> Series:
    return Series.objects.get(code="QV-B")


def test_a_member_is_said_field_by_field_and_a_prediction_can_use_it(cast, series):
    client = as_person(cast.lead)
    Series.objects.update(member={})
    sent = fields_of(client.get(MEMBER)) | {
        "b_mm": "8 in", "h_mm": "300", "d_mm": "260,5", "fc_mpa": "30", "fy_mpa": "60 ksi",
        "span_mm": "2.7 m", "shear_span_mm": "900", "bar_count": "3", "bar_diameter_mm": "12",
        "fibre": "pbo", "fabric_area_mm2_per_ply": "10", "ef_mpa": "128000",
        "fabric_design_strain": "1.2 %",
        "own_name_0": "cover mm", "own_value_0": "25", "own_name_1": "mill",
        "own_value_1": "Quay", "why": "drawings of March",
    }  # fmt: skip
    answer = client.post(MEMBER, sent)
    assert answer.status_code == 302
    member = stored().member
    assert member["b_mm"] == pytest.approx(203.2)
    assert (member["d_mm"], member["span_mm"], member["bar_count"]) == (260.5, 2700, 3)
    assert member["fabric_design_strain"] == pytest.approx(0.012)
    assert member["fy_mpa"] == pytest.approx(413.685, abs=1e-3)
    assert (member["cover_mm"], member["mill"]) == (25, "Quay")
    payload = member_payload(Known(member, {}), name="a", plies=2)
    assert payload["fabric"]["plies"] == 2
    assert loading_payload(Known(member, {}))["kind"] == "four-point"
    assert "Drawings of March." in words(client.get(MEMBER))


def test_what_is_asked_of_a_member_is_all_that_mechanics_reads(cast):
    asked = {one.name for one in FIELDS}
    assert set(member_json()) <= asked


@pytest.mark.parametrize(
    ("sent", "field", "sentence"),
    [
        ({"b_mm": "wide"}, "b_mm", "'wide' is no number; allowed is one such as 8.5"),
        ({"b_mm": "200 kN"}, "b_mm", "kN measures force and cannot become mm"),
        ({"b_mm": "-3"}, "b_mm", "allowed is a number above 0"),
        ({"bar_count": "2.5"}, "bar_count", "without decimals"),
        ({"bar_count": "2 mm"}, "bar_count", "allowed is a number alone"),
        ({"fibre": "hemp"}, "fibre", "hemp"),
        ({"own_name_0": "Cover!", "own_value_0": "25"}, "own_name_0", "the unit last"),
        ({"own_value_0": "25"}, "own_name_0", "Give it a name"),
        ({"own_name_0": "b_mm", "own_value_0": "25"}, "own_name_0", "asked above"),
        ({"why": ""}, "why", "required"),
    ],
)
def test_what_a_member_cannot_be_is_said_at_its_field_and_stays(
    sent, field, sentence, cast, series
):
    client = as_person(cast.lead)
    before = stored().member
    answer = client.post(MEMBER, fields_of(client.get(MEMBER)) | {"why": "x", **sent})
    assert answer.status_code == 400
    assert sentence in error_of(answer, field)
    assert stored().member == before
    for name, text in sent.items():
        if name != "fibre":
            assert fields_of(answer)[name] == text


def test_what_is_no_plain_value_stays_as_it_is(cast, series):
    layers = [{"diameter_mm": 12, "count": 3}]
    Series.objects.update(member={"bars": layers, "b_mm": 200})
    client = as_person(cast.lead)
    page = client.get(MEMBER)
    assert "count 3, diameter 12 mm" in words(page)
    client.post(MEMBER, fields_of(page) | {"b_mm": "210", "why": "planed"})
    assert stored().member == {"bars": layers, "b_mm": 210}


@pytest.mark.parametrize("path", [MEMBER, ROUTE])
def test_what_somebody_changed_meanwhile_is_not_written_over(path, cast, series):
    client = as_person(cast.lead)
    sent = fields_of(client.get(path)) | {"why": "late"}
    Series.objects.update(member={"b_mm": 1}, route={"stages": [{"stage": "cast"}]})
    answer = client.post(path, sent)
    assert answer.status_code == 409
    assert "was changed since you looked at it" in words(answer)
    assert stored().member == {"b_mm": 1}


def test_a_route_not_yet_written_begins_with_the_usual_steps(cast, series):
    Series.objects.update(route={})
    client = as_person(cast.lead)
    page = client.get(ROUTE)
    assert "usual steps to begin with" in words(page)
    assert client.post(ROUTE, fields_of(page)).status_code == 302
    assert stored().route == template_of(usual_rows("plies"))
    assert stored().route["stages"][2] == {
        "stage": "strengthen", "plies": {"factor": "plies"}, "unless": {"plies": 0},
    }  # fmt: skip


def test_steps_are_added_moved_left_out_and_run_beside_each_other(cast, series):
    Series.objects.update(route={"stages": [{"stage": "cast"}, {"stage": "break"}]})
    client = as_person(cast.lead)
    page = client.get(ROUTE)
    page = client.post(ROUTE, fields_of(page) | {"more": "1", "step0-place": "1"})
    assert page.status_code == 200
    assert stored().route == {"stages": [{"stage": "cast"}, {"stage": "break"}]}
    sent = fields_of(page) | {
        "step1-place": "9", "step1-concrete_age_days": "150", "step1-tolerance_days": "10",
        "step2-kind": "expose", "step2-place": "3", "step2-regime": "level of exposure",
        "step2-days": "12 wk", "step2-condition": "unless-1-LAB",
        "step3-kind": "sustain", "step3-place": "4", "step3-joins": "beside",
        "step3-share_of_control_ultimate": "0.4", "why": "chamber came",
    }  # fmt: skip
    answer = client.post(ROUTE, sent)
    assert answer.status_code == 302, words(answer)
    assert stored().route == {
        "stages": [
            {"stage": "cast"},
            {
                "parallel": [
                    {
                        "stage": "expose", "regime": {"factor": "exposure"}, "days": 84,
                        "unless": {"exposure": "laboratory"},
                    },
                    {"stage": "sustain", "share_of_control_ultimate": 0.4},
                ]
            },
            {"stage": "break", "concrete_age_days": 150, "tolerance_days": 10},
        ]
    }  # fmt: skip
    left = fields_of(client.get(ROUTE)) | {"step1-kind": "", "step2-kind": "", "why": "no"}
    assert client.post(ROUTE, left).status_code == 302
    assert [stage["stage"] for stage in stored().route["stages"]] == ["cast", "break"]


@pytest.mark.parametrize(
    ("sent", "field", "sentence"),
    [
        ({"step1-days": "soon"}, "step1-days", "'soon' is no number"),
        ({"step1-days": "level of age"}, "step1-days", "names no factor of this series"),
        ({"step2-plies": ""}, "step2-plies", "Say how many plies"),
        ({"step1-kind": "paint"}, "step1-kind", "paint"),
    ],
)
def test_what_a_step_cannot_be_is_said_at_its_field(sent, field, sentence, cast, series):
    Series.objects.update(route={})
    client = as_person(cast.lead)
    answer = client.post(ROUTE, fields_of(client.get(ROUTE)) | sent)
    assert answer.status_code == 400
    assert sentence in error_of(answer, field)
    assert stored().route == {}
    assert fields_of(answer)["step3-kind"] == "cure-mortar"


def test_the_rows_of_a_route_say_what_the_route_says():
    templates = [
        route_template(),
        {},
        {
            "stages": [
                {"stage": "cast"},
                {"stage": "pre-crack", "optional": True, "load_kn": 20},
                {"parallel": [[{"stage": "expose"}, {"stage": "cure", "days": 7}],
                              {"stage": "sustain", "level_percent": 40}]},
            ]
        },
    ]  # fmt: skip
    for template in templates:
        rows = rows_of(template)
        assert rows is not None
        assert content_key(template_of(rows)) == content_key(template)


def test_conditions_on_parallel_branches_as_a_whole_go_to_each_step():
    rows = rows_of({"stages": [{"parallel": [{"stage": "expose"}, {"stage": "sustain"}],
                                "unless": {"exposure": "laboratory"}}]})  # fmt: skip
    assert [row.conditions for row in rows] == [{"unless": {"exposure": "laboratory"}}] * 2
    assert rows_of({"stages": [{"parallel": [{"stage": "expose", "when": {"plies": 2}}],
                                "unless": {"exposure": "laboratory"}}]}) is None  # fmt: skip


def test_what_a_row_cannot_say_is_carried_along(cast, series):
    """Conditions on several factors, and settings with names of their own."""
    route = {
        "stages": [
            {"stage": "cast", "mould": "steel"},
            {"stage": "cure", "days": 28, "unless": {"plies": 0, "exposure": "laboratory"}},
        ]
    }
    Series.objects.update(route=route)
    client = as_person(cast.lead)
    page = client.get(ROUTE)
    assert "Also kept: mould steel." in words(page)
    assert client.post(ROUTE, fields_of(page) | {"step1-days": "14", "why": "hot"}).status_code
    route["stages"][1]["days"] = 14
    assert content_key(stored().route) == content_key(route)
