"""Pages that follow work by themselves: nothing is loaded anew, nothing jumps, nothing is asked
in vain."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Response

from labmatrix.evidence.models import Job, Record
from labmatrix.evidence.services.job import job_perform
from results.services.prediction import predictions_make
from tests.results.scene import NOW, Scene, curve_csv, scene

CURVE = curve_csv([(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)])
# A layout shift score below 0.1 counts as good (web.dev, "Cumulative Layout Shift"); half of that.
STILL = 0.05
WATCH = """window.notReloaded = true; window.jumped = 0;
new PerformanceObserver((list) => { for (const entry of list.getEntries()) jumped += entry.value; })
  .observe({ type: "layout-shift" });"""


@pytest.fixture
def cast(live_server: Any) -> Scene:
    return scene()


@pytest.fixture
def signed_in(page: Page, live_server: Any, cast: Scene) -> Page:
    page.set_default_timeout(20_000)
    page.goto(f"{live_server.url}/sign-in/")
    page.fill("[name=username]", "lead")
    page.fill("[name=password]", "a-long-password")
    page.press("[name=password]", "Enter")
    page.wait_for_url(f"{live_server.url}/")
    page.set_viewport_size({"width": 1280, "height": 900})
    return page


def received(cast: Scene, cell: str = "P2-LAB") -> Record:
    return cast.received(cast.specimen(cell).code, CURVE)


def perform(record: Record) -> None:
    assert record.job_id is not None
    assert job_perform(job_id=record.job_id)


def says(page: Page, words: str) -> None:
    page.locator("[data-progress-words]", has_text=words).wait_for()


def stays(page: Page) -> None:
    """The page is the one that was opened, and nothing in view has moved."""
    assert page.evaluate("window.notReloaded") is True
    assert page.evaluate("jumped") < STILL


def test_a_record_is_followed_from_waiting_to_its_numbers(signed_in: Page, live_server, cast):
    page, record = signed_in, received(cast)
    troubles: list[str] = []
    page.on("console", lambda m: troubles.append(m.text) if m.type == "error" else None)
    page.goto(f"{live_server.url}/records/{record.id}/")
    page.evaluate(WATCH)
    says(page, "Waiting for a worker")
    Job.objects.filter(pk=record.job_id).update(
        state="running", progress=0.4, progress_words="reading break.csv", lease_until=NOW
    )
    Record.objects.filter(pk=record.pk).update(status="reading")
    says(page, "Reading break.csv · 40 % · Next: its cycles or points are found")
    perform(record)
    page.locator("main table.numbers a", has_text="peak load").first.wait_for()
    page.wait_for_selector(".plot svg.main-svg")
    says(page, "Reduced")
    assert "numbers" in page.locator(".page-head .lead").inner_text()
    assert "Reduced" in page.locator("[role=status].hidden-text").inner_text()
    stays(page)
    questions: list[str] = []
    page.on("request", lambda request: questions.append(request.url))
    page.wait_for_timeout(2500)
    assert [url for url in questions if "/work/" in url] == []
    assert troubles == []


def test_what_has_not_changed_is_answered_by_304_and_a_hidden_tab_asks_nothing(
    signed_in: Page, live_server, cast
):
    page, record = signed_in, received(cast)
    answers: list[Response] = []
    page.on("response", lambda answer: answers.append(answer) if "/work/" in answer.url else None)
    page.goto(f"{live_server.url}/records/{record.id}/")
    page.wait_for_timeout(4000)
    statuses = [answer.status for answer in answers]
    assert statuses[0] == 200
    assert set(statuses[1:]) == {304}
    hide = "Object.defineProperty(document, 'hidden', {value: %s, configurable: true});"
    tell = "document.dispatchEvent(new Event('visibilitychange'));"
    page.evaluate(hide % "true" + tell)
    page.wait_for_timeout(300)
    answers.clear()
    page.wait_for_timeout(6500)
    assert answers == []
    perform(record)
    page.evaluate(hide % "false" + tell)
    page.locator("main table.numbers a", has_text="peak load").first.wait_for()


@pytest.mark.parametrize("name", ["comparison", "plate"])
def test_a_series_shows_each_record_as_it_is_reduced(signed_in: Page, live_server, cast, name):
    page = signed_in
    first, second = received(cast), received(cast, "P0-LAB")
    page.goto(f"{live_server.url}/series/QS/{name}/")
    page.evaluate(WATCH)
    says(page, "2 records are being reduced")
    part = page.locator(f"[data-live-part={name}]")
    assert "72.0" not in part.inner_text()
    perform(first)
    says(page, "1 record is being reduced")
    part.get_by_text("72.0").first.wait_for()
    perform(second)
    says(page, "All that was asked for is done")
    if name == "comparison":
        page.wait_for_selector(".plot svg.main-svg")
        assert "n = 2" in page.locator(".page-head .lead").inner_text()
    stays(page)


def test_the_list_and_the_work_page_follow_every_record(signed_in: Page, live_server, cast):
    page = signed_in
    records = [received(cast) for _ in range(3)]
    other = page.context.new_page()
    for one, address in ((page, "/records/"), (other, "/work/")):
        one.goto(live_server.url + address)
        one.evaluate(WATCH)
    says(page, "3 records are being reduced")
    says(other, "0 running, 3 waiting")
    for record in records:
        perform(record)
    says(page, "All of these have come to their end")
    assert page.locator("td", has_text="reduced").count() == 3
    other.get_by_text("Nothing is being reduced or predicted. Upload").wait_for()
    assert other.locator("section", has_text="Ended last").locator("tbody tr").count() == 3
    stays(page)
    assert other.evaluate("window.notReloaded") is True


def test_predictions_come_while_a_reason_is_being_typed(signed_in: Page, live_server, cast):
    page = signed_in
    job = predictions_make(actor=cast.lead, series=cast.series, why="plan", now=NOW)
    page.goto(f"{live_server.url}/series/QS/predictions/")
    page.evaluate(WATCH)
    page.fill("[name=why]", "measured values")
    assert page.get_by_role("button", name="Predict every").is_disabled()
    job_perform(job_id=job.id)
    says(page, "Predicted")
    page.wait_for_function("!document.querySelector('main button.main').disabled")
    assert page.input_value("[name=why]") == "measured values"
    assert page.evaluate("document.activeElement.name") == "why"
    assert page.evaluate("window.notReloaded") is True


def test_the_front_page_tells_in_its_margin_what_goes_on(signed_in: Page, live_server, cast):
    page, record = signed_in, received(cast)
    page.goto(f"{live_server.url}/")
    page.evaluate(WATCH)
    says(page, "0 running, 1 waiting, 0 ended")
    perform(record)
    says(page, "Nothing is being reduced or predicted.")
    stays(page)


def test_without_scripts_a_plain_link_looks_again(browser: Browser, live_server, cast):
    record = received(cast)
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{live_server.url}/sign-in/")
    page.fill("[name=username]", "technician")
    page.fill("[name=password]", "a-long-password")
    page.press("[name=password]", "Enter")
    page.goto(f"{live_server.url}/records/{record.id}/")
    assert "Waiting for a worker" in page.locator("[data-progress-words]").inner_text()
    perform(record)
    page.get_by_role("link", name="Look again").click()
    assert page.get_by_role("link", name="peak load").count() > 0
    assert page.get_by_role("link", name="Look again").count() == 0
    context.close()
