"""The look keeps its promises: contrast, a mark for each state, a strict policy, one Plotly."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.template.loader import get_template

from labmatrix.kernel.errors import RuleBroken
from labmatrix.web.domain.marks import DRAWN

ROOT = Path(__file__).resolve().parents[2]
STATIC = ROOT / "labmatrix/web/static/web"
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
TYPE = (STATIC / "type.css").read_text()
LOOK = (STATIC / "notebook.css").read_text()


def _theme(selector: str) -> dict[str, str]:
    start = TYPE.index(selector + " {")
    block = TYPE[start : TYPE.index("}", start)]
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block))


DAY = _theme(":root")
DARK = {**DAY, **_theme(':root[data-theme="dark"]')}


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, WCAG 2.2, from relative luminance."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_is_twenty_one_to_one() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("theme", [DAY, DARK], ids=["day", "dark"])
@pytest.mark.parametrize("ground", ["paper", "wash", "accent-wash"])
@pytest.mark.parametrize("ink", ["ink", "grey", "accent"])
def test_text_stands_out_from_every_ground(theme: dict[str, str], ground: str, ink: str) -> None:
    assert contrast(theme[ink], theme[ground]) >= 4.5


@pytest.mark.parametrize("theme", [DAY, DARK], ids=["day", "dark"])
def test_the_main_button_can_be_read(theme: dict[str, str]) -> None:
    assert contrast(theme["on-accent"], theme["accent"]) >= 4.5


def test_the_dark_page_is_the_same_by_system_and_by_choice() -> None:
    assert _theme(':root:not([data-theme="day"])') == _theme(':root[data-theme="dark"]')


def test_the_levels_used_first_stand_out_from_both_pages() -> None:
    for level in range(3):
        for theme in (DAY, DARK):
            assert contrast(theme[f"level-{level}"], theme["paper"]) >= 3.0


def test_levels_are_the_set_of_okabe_and_ito() -> None:
    # Color Universal Design (2008), without black; the dark page lifts the blue.
    assert [DAY[f"level-{level}"] for level in range(7)] == [
        "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#f0e442",
    ]  # fmt: skip


def test_every_mark_that_is_named_is_drawn() -> None:
    drawn = set(re.findall(r'symbol id="mark-([\w-]+)"', (STATIC / "marks.svg").read_text()))
    assert drawn == DRAWN | {"strongfloor"}


def test_the_sheet_names_no_colour_of_its_own() -> None:
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b", LOOK) == []


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_template_needs_an_unsafe_policy(path: Path) -> None:
    text = path.read_text()
    assert re.findall(r"""\s(?:style|on[a-z]+)\s*=\s*["']""", text) == []
    for tag in re.findall(r"<script\b[^>]*>", text):
        assert " src=" in tag
    styles = re.findall(r"<style\b[^>]*>[^<]*</style>", text)
    allowed = '<style id="plotly.js-style-global" nonce="{{ CSP_NONCE }}"></style>'
    assert styles == ([allowed] if path.name == "base.html" else [])


def test_the_served_plotly_is_that_of_the_python_package() -> None:
    from plotly.offline import get_plotlyjs_version

    head = (STATIC / "vendor/plotly-basic.min.js").read_text()[:200]
    assert f"plotly.js (basic - minified) v{get_plotlyjs_version()}\n" in head


def test_every_file_of_others_is_in_the_notices() -> None:
    notices = (ROOT / "NOTICE.md").read_text()
    for path in [*(STATIC / "fonts").glob("*.woff2"), *(STATIC / "vendor").glob("*.js")]:
        family = re.match(r"(source-(?:serif-4|sans-3)|.*)", path.stem)
        assert family is not None
        assert family[1] in notices, path.name


def test_every_face_that_is_named_is_there() -> None:
    named = set(re.findall(r'url\("(fonts/[^"]+)"\)', TYPE))
    assert named == {f"fonts/{path.name}" for path in (STATIC / "fonts").glob("*.woff2")}


@pytest.mark.parametrize("name", ["400.html", "403.html", "403_csrf.html", "404.html", "500.html"])
def test_error_pages_need_no_context(name: str) -> None:
    html = get_template(name).render()
    assert html.count("<h1>") == 1
    assert '<a class="button" href="/">To the first page</a>' in html


def test_an_error_shows_sentence_code_and_facts() -> None:
    error = RuleBroken(
        "booking.conflict", "CH-2 is <b>booked</b>.", rows=[{"row": 3, "message": "No."}]
    )
    html = get_template("web/error.html").render({"error": error})
    assert "CH-2 is &lt;b&gt;booked&lt;/b&gt;." in html
    assert '<span class="code">booking.conflict</span>' in html
    assert '<dt>Rows</dt><dd><ul class="plain-list"><li>Row 3: No.</li></ul></dd>' in html


@pytest.mark.parametrize(
    ("context", "shown"),
    [
        ({}, None),
        ({"invented_data_notice": True}, "Invented data: made up to show the tool"),
        ({"invented_data_notice": "Data invented for a course."}, "Data invented for a course."),
    ],
)
def test_every_page_says_when_its_data_are_invented(
    context: dict[str, Any], shown: str | None
) -> None:
    html = get_template("base.html").render(context)
    assert ('id="invented"' in html) is (shown is not None)
    assert shown is None or shown in html


@pytest.mark.parametrize("theme", ["day", "dark"])
def test_a_person_can_overrule_the_system(theme: str) -> None:
    html = get_template("base.html").render({"theme": theme})
    assert f'<html lang="en" data-theme="{theme}">' in html
