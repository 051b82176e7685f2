"""The notebook in a browser, under the real policy: drawn right, folded right, silent console."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from tests.web import notebook_pages

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.urls("tests.web.notebook_pages"),
    pytest.mark.usefixtures("console"),
]
DRAWN = "document.querySelectorAll('figure[data-drawn]').length === 2"


@pytest.fixture(autouse=True)
def _ask_anew() -> None:
    notebook_pages.ANSWERS.clear()


@pytest.fixture
def console(page: Page) -> Iterator[list[str]]:
    """Everything the browser complains about; the test ends with none."""
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    yield said
    assert said == []


def _open(page: Page, server: LiveServer, query: str = "finished=1") -> None:
    page.goto(f"{server.url}/notebook/?{query}")
    _until(page, DRAWN)


def _until(page: Page, expression: str, seconds: float = 15.0) -> None:
    """Ask again from here: a strict policy forbids the page to evaluate text by itself."""
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, f"not within {seconds} s: {expression}"
        page.wait_for_timeout(50)


def _box(page: Page, selector: str) -> dict[str, float]:
    box = page.locator(selector).first.bounding_box()
    assert box is not None
    x, y, width, height = box["x"], box["y"], box["width"], box["height"]
    return {"x": x, "y": y, "height": height, "right": x + width, "bottom": y + height}


def _trace(page: Page, figure: int, trace: int) -> Any:
    """A trace as it is drawn: colour and pattern as the browser computes them."""
    return page.evaluate(
        """([figure, trace]) => {
          const plot = document.querySelectorAll(".plot")[figure];
          const full = plot._fullData[trace];
          return { colour: full.line.color, dash: full.line.dash };
        }""",
        [figure, trace],
    )


def test_title_and_legend_stand_in_their_places_under_the_strict_policy(
    page: Page, live_server: LiveServer
) -> None:
    _open(page, live_server)
    plot, title = _box(page, ".plot"), _box(page, ".plot .gtitle")
    assert plot["y"] <= title["y"]
    assert title["bottom"] < _box(page, ".plot .gridlayer")["y"]
    assert plot["x"] < title["x"] < title["right"] < plot["right"]
    legend = _box(page, ".plot .legend")
    assert plot["x"] <= legend["x"] < legend["right"] <= plot["right"]
    assert page.locator(".plot .textpoint text").first.text_content() == "yield"


def test_control_is_ink_and_dashed_and_levels_have_colour_and_pattern(
    page: Page, live_server: LiveServer
) -> None:
    _open(page, live_server, "finished=1&theme=day")
    assert _trace(page, 0, 0) == {"colour": "#1a222c", "dash": "7px,4px"}
    assert _trace(page, 0, 1) == {"colour": "#d55e00", "dash": "12px,3px"}


def test_figures_are_drawn_anew_when_day_turns_to_dark(page: Page, live_server: LiveServer) -> None:
    page.emulate_media(color_scheme="light")
    _open(page, live_server)
    assert _trace(page, 0, 0)["colour"] == "#1a222c"
    page.emulate_media(color_scheme="dark")
    _until(page, "document.querySelector('.plot')._fullData[0].line.color === '#e7e5de'")


def test_load_cycles_stand_on_either_scale_and_the_keyboard_reaches_the_switch(
    page: Page, live_server: LiveServer
) -> None:
    _open(page, live_server)
    switch = page.get_by_role("button", name="Logarithmic axis")
    kind = "document.querySelectorAll('.plot')[1]._fullLayout.xaxis.type"
    assert (page.evaluate(kind), switch.get_attribute("aria-pressed")) == ("linear", "false")
    switch.focus()
    page.keyboard.press("Enter")
    _until(page, f"{kind} === 'log'")
    assert switch.get_attribute("aria-pressed") == "true"
    labels = page.locator(".plot").nth(1).locator(".xtick text").all_text_contents()
    assert {"1", "100", "10⁶"} <= set(labels)


def test_a_figure_is_moved_about_without_dragging(page: Page, live_server: LiveServer) -> None:
    _open(page, live_server)
    figure = page.locator("#figure-1")
    width = """() => { const [low, high] = document.querySelector('.plot')._fullLayout.xaxis.range;
      return high - low; }"""
    whole = page.evaluate(width)
    assert not figure.get_by_role("button", name="Whole range").is_visible()
    figure.get_by_role("button", name="Closer").click()
    _until(page, f"({width})() < {whole * 0.7}")
    figure.get_by_role("button", name="Whole range").click()
    _until(page, f"Math.abs(({width})() - {whole}) < 1e-6")


def test_the_data_table_is_one_tap_away(page: Page, live_server: LiveServer) -> None:
    _open(page, live_server)
    table = page.locator("#figure-1 table")
    assert not table.is_visible()
    page.get_by_text("Data of figure 1").click()
    assert table.is_visible()


def test_decimal_signs_stand_under_each_other(page: Page, live_server: LiveServer) -> None:
    _open(page, live_server)
    left = page.evaluate(
        """[...document.querySelectorAll(".page > .table-scroll .fraction")]
             .map((part) => part.getBoundingClientRect().left)"""
    )
    assert len(left) == 4
    assert max(left) - min(left) < 0.1


def test_the_note_stands_in_the_margin_and_folds_under_on_a_narrow_page(
    page: Page, live_server: LiveServer
) -> None:
    page.set_viewport_size({"width": 1280, "height": 900})
    _open(page, live_server)
    line, note = _box(page, ".with-margin > p"), _box(page, ".with-margin > .note-margin")
    assert note["x"] > line["right"]
    assert abs(note["y"] - line["y"]) < 12
    page.set_viewport_size({"width": 820, "height": 900})
    line, note = _box(page, ".with-margin > p"), _box(page, ".with-margin > .note-margin")
    assert note["y"] >= line["bottom"]


@pytest.mark.parametrize("theme", ["day", "dark"])
@pytest.mark.parametrize("size", ["", "rig"])
@pytest.mark.parametrize("width", [360, 820, 1280])
def test_nothing_runs_over_the_edge(
    page: Page, live_server: LiveServer, width: int, size: str, theme: str
) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    _open(page, live_server, f"finished=1&wrong=1&size={size}&theme={theme}")
    over = page.evaluate(
        """() => [...document.querySelectorAll("body *")]
          .filter((one) => !one.closest(".table-scroll, .hidden-text, svg"))
          .filter((one) => one.getBoundingClientRect().right > innerWidth + 1)
          .map((one) => `${one.tagName}.${one.className}`)"""
    )
    assert over == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_targets_at_the_rig_are_twelve_millimetres(page: Page, live_server: LiveServer) -> None:
    page.set_viewport_size({"width": 820, "height": 1100})
    _open(page, live_server, "finished=1&size=rig")
    # 12 mm at 160 CSS pixels to the inch, as tablets have them
    for selector in (".actions .main", "#id_width_mm", "label[for=id_wet]"):
        assert _box(page, selector)["height"] >= 75.5, selector


def test_the_tablet_without_a_pointer_scrolls_past_figures(
    browser: Any, live_server: LiveServer
) -> None:
    context = browser.new_context(
        has_touch=True, is_mobile=True, viewport={"width": 820, "height": 1100}
    )
    page = context.new_page()
    _open(page, live_server)
    assert page.evaluate("document.querySelector('.plot')._fullLayout.dragmode") is False
    context.close()


def test_work_in_progress_is_told_and_the_page_reloads_once(
    page: Page, live_server: LiveServer
) -> None:
    loads: list[str] = []
    page.on("framenavigated", lambda frame: loads.append(frame.url))
    page.goto(f"{live_server.url}/notebook/")
    _until(
        page,
        "document.querySelector('[data-progress-words]').textContent === 'Reading b07.csv · 40 %'",
    )
    assert page.evaluate("document.querySelector('progress').value") == 0.4
    end = time.monotonic() + 15.0
    while len(loads) < 2 and time.monotonic() < end:
        page.wait_for_timeout(100)
    page.wait_for_timeout(2000)
    assert len(loads) == 2
    asked = notebook_pages.ANSWERS["asked"]
    page.wait_for_timeout(2000)
    assert notebook_pages.ANSWERS["asked"] == asked


def test_paper_is_day_and_as_wide_as_the_column(page: Page, live_server: LiveServer) -> None:
    page.emulate_media(color_scheme="dark")
    _open(page, live_server)
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    _until(page, "document.querySelector('.plot')._fullLayout.width === 470")
    assert _trace(page, 0, 0)["colour"] == "#1a222c"
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    _until(page, "document.querySelector('.plot')._fullData[0].line.color === '#e7e5de'")
    _until(page, "document.querySelector('.plot')._fullLayout.width > 600")
