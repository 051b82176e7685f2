"""The template tags, rendered as a page renders them."""

from __future__ import annotations

import json
import math
import re
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template
from django.utils import timezone
from django.utils.html import strip_tags

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.text import NARROW_SPACE
from labmatrix.web.domain.cautions import KINDS
from labmatrix.web.domain.numerals import MINUS

AT = datetime(2026, 7, 1, 23, 30, 15, tzinfo=UTC)
TABLE = {"columns": [{"label": "Ply"}, {"label": "Load", "unit": "kN"}], "rows": [["1", 87.3]]}


def render(source: str, **context: Any) -> str:
    return Template(f"{{% load notebook %}}{source}").render(Context(context))


def words(source: str, **context: Any) -> str:
    return " ".join(strip_tags(render(source, **context)).split())


def test_a_quantity_is_rounded_by_its_uncertainty_and_says_it() -> None:
    assert strip_tags(render('{% quantity 117.93 "kN" u=1.31 %}')) == (
        f"117.9{NARROW_SPACE}kN (u{NARROW_SPACE}1.3)"
    )


def test_a_quantity_can_keep_its_uncertainty_to_itself() -> None:
    source = '{% quantity 117.93 "kN" u=1.31 show_u=False %}'
    assert strip_tags(render(source)) == f"117.9{NARROW_SPACE}kN"


def test_a_quantity_comes_as_the_api_writes_it_too() -> None:
    peak = {"value": 152.04, "unit": "kN", "bound": "lower"}
    assert strip_tags(render("{% quantity peak %}", peak=peak)) == (
        f"≥{NARROW_SPACE}152.0{NARROW_SPACE}kN"
    )


def test_a_plain_ratio_has_no_unit_and_a_true_minus_sign() -> None:
    assert strip_tags(render("{% quantity loss digits=3 %}", loss=-0.0512)) == f"{MINUS}0.0512"


def test_a_missing_value_says_so_to_eye_and_ear() -> None:
    for source in ('{% quantity none "kN" %}', "{% number none %}", "{{ none|instant }}"):
        assert words(source, none=None) == "–no value"


def test_a_cell_with_an_address_is_a_link_and_a_missing_one_is_not() -> None:
    columns = [{"label": "Load", "unit": "kN"}]
    rows = [[{"value": 87.3, "url": "/n/?a=1&b=2"}], [{"value": None, "url": "/none/"}]]
    html = render("{% data_table table %}", table={"columns": columns, "rows": rows})
    assert html.count("<a ") == 1
    assert '<a href="/n/?a=1&amp;b=2"><span class="whole">87' in html


def test_a_misspelt_variable_is_no_missing_value() -> None:
    with pytest.raises(TypeError):
        render('{% quantity misspelt "kN" %}')


def test_a_bound_other_than_lower_or_upper_is_refused() -> None:
    with pytest.raises(ValueError, match="allowed is lower, upper"):
        render('{% quantity 1.0 "kN" bound="under" %}')


def test_us_customary_converts_value_uncertainty_and_unit() -> None:
    source = '{% quantity 25.4 "mm" u=0.254 %} {% number 25.4 unit="mm" %} {% unit "kN·m" %}'
    assert words(source, unit_system="US customary") == "1.000 in (u 0.010) 1.000 kip·ft"


def test_a_number_is_cut_at_its_decimal_sign() -> None:
    html = render("{% number 12.5 places=2 %}")
    assert html == '<span class="whole">12</span><span class="fraction">.50</span>'


def test_instants_stand_in_the_zone_in_force_and_carry_utc() -> None:
    with timezone.override(ZoneInfo("Europe/Lisbon")):
        html = render("{{ at|instant }}", at=AT)
        assert html == '<time datetime="2026-07-01T23:30:15.000000Z">2026-07-02 00:30</time>'
        assert words('{{ at|instant:"second" }}', at=AT) == "2026-07-02 00:30:15"
        assert words('{{ at|instant:"day" }}', at=AT) == "2026-07-02"
        assert words('{{ at|instant:"zone" }}', at=AT) == "2026-07-02 00:30 WEST"
    assert words("{{ day|instant }}", day=date(2026, 3, 1)) == "2026-03-01"


def test_an_instant_without_zone_or_with_unknown_style_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        render("{{ at|instant }}", at=AT.replace(tzinfo=None))
    with pytest.raises(ValueError, match="allowed is minute"):
        render('{{ at|instant:"hour" }}', at=AT)


@pytest.mark.parametrize(
    ("word", "mark"),
    [
        ("cycling", "cycling"),
        ("run-out, then broken", "run-out"),
        ("failed in the frame", "failed-in-the-frame"),
        ("Refused", "refused"),
        ("somewhere else", "plain"),
    ],
)
def test_a_state_is_its_word_and_then_a_mark(word: str, mark: str) -> None:
    html = render("{% state_mark word %}", word=word)
    assert html.startswith(f'<span class="state">{word}<svg')
    assert f'marks.svg#mark-{mark}"' in html
    assert 'aria-hidden="true"' in html


def test_a_state_is_escaped() -> None:
    assert "<script" not in render("{% state_mark word %}", word="<script>alert(1)</script>")


@pytest.mark.parametrize("kind", KINDS)
def test_each_caution_names_its_hazard_and_machines_are_never_stopped_here(kind: str) -> None:
    text = words("{% caution kind %}", kind=kind)
    assert re.match(r"^[A-Z][a-z ]+: .+\.$", text)
    machines = {"test-to-failure", "cycling", "sustained", "lifting"}
    assert ("Nothing on this page stops a machine." in text) is (kind in machines)


def test_a_caution_leads_to_the_checklist_and_an_unknown_one_is_refused() -> None:
    assert '<a href="/c/1/">' in render('{% caution "dust" checklist_url="/c/1/" %}')
    with pytest.raises(ShapeError) as caught:
        render('{% caution "noise" %}')
    assert caught.value.code == "caution.unknown"


def test_a_table_has_scopes_units_and_reserved_places() -> None:
    html = render("{% data_table table %}", table={**TABLE, "caption": "Table 1. Loads."})
    assert 'aria-label="Table 1. Loads."' in html
    assert '<th scope="col" class="num places-2">Load <span class="unit">kN</span></th>' in html
    assert '<th scope="row">1</th>' in html
    assert '<span class="whole">87</span><span class="fraction">.30</span>' in html


def test_a_table_escapes_what_people_wrote() -> None:
    table = {"columns": [{"label": "<i>"}], "rows": [["<img src=x onerror=alert(1)>"]]}
    assert "<img" not in render("{% data_table table %}", table=table)


FIGURE = '{% figure number=2 caption="Seen for 3 beams." payload=payload table=table %}'


def test_a_figure_has_number_caption_payload_and_its_table() -> None:
    payload = {"data": [{"x": [0, 1], "y": [0, None], "name": "</script><b>"}], "layout": {}}
    html = render(FIGURE, payload=payload, table=TABLE)
    assert 'id="figure-2" data-figure="figure-2-data"' in html
    assert 'role="img" aria-labelledby="figure-2-caption"' in html
    assert "<summary>Data of figure 2</summary>" in html
    found = re.search(r'<script id="figure-2-data" type="application/json">(.*?)</script>', html)
    assert found is not None
    assert json.loads(found[1]) == payload


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_figure_refuses_numbers_that_no_browser_reads(value: float) -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        render(FIGURE, payload={"data": [{"y": [value]}]}, table=TABLE)


def test_a_title_is_written_once() -> None:
    html = render("{% block title %}Beam {{ code }}{% endblock %}", code="<B07>")
    assert html == "Beam &lt;B07&gt;"
    page = Template('{% extends "base.html" %}{% block title %}Beam {{ code }}{% endblock %}')
    whole = page.render(Context({"code": "<B07>"}))
    assert "<h1>Beam &lt;B07&gt;</h1>" in whole
    assert "<title>Beam &lt;B07&gt;</title>" in whole


def test_facts_of_rows_read_as_sentences() -> None:
    source = "{{ fact|as_sentence }}|{{ name|in_words }}"
    fact = {"row": 3, "code": "x", "message": "The level is unknown.", "facts": {}}
    assert (
        words(source, fact=fact, name="booked_until") == "Row 3: The level is unknown.|Booked until"
    )
    assert words("{{ fact|as_sentence }}", fact={"a": [1, None]}) == "a: 1, –"
