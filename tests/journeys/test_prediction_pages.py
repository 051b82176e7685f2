"""From a planned cell to a signed pre-test sheet and back from the broken beam, in a browser."""

from __future__ import annotations

from collections.abc import Callable

from labmatrix.evidence.models import Job
from labmatrix.evidence.services.job import job_perform
from results.models import Prediction, PredictionRules
from tests.results.scene import curve_csv, scene
from tests.results.test_predictions import WHOLE

CURVE = curve_csv([(0.0, 0.0), (1.0, 15.0), (9.0, 85.0), (25.0, 101.0), (40.0, 60.0)])


def _predict(page) -> None:
    page.fill("[name=why]", "before casting")
    page.get_by_role("button", name="Predict every cell and specimen").click()
    page.wait_for_load_state()
    job = Job.objects.filter(kind="predict").latest("created_at")
    assert job_perform(job_id=job.id)


def _fits(page) -> None:
    for width in (1280, 820):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def _sign_in(page, url: str) -> Callable[[], list[str]]:
    troubles: list[str] = []
    page.on("console", lambda m: troubles.append(m.text) if m.type == "error" else None)
    page.goto(f"{url}/sign-in/")
    page.fill("[name=username]", "lead")
    page.fill("[name=password]", "a-long-password")
    page.press("[name=password]", "Enter")
    page.wait_for_load_state()
    return lambda: troubles


def test_from_the_plan_to_the_sheet_before_the_test_and_to_the_ratio_after(page, live_server):
    cast = scene()
    cast.series.member = WHOLE
    cast.series.save()
    beam = cast.specimen("P2-LAB")
    troubles = _sign_in(page, live_server.url)

    page.goto(f"{live_server.url}/series/QS/predictions/")
    _predict(page)
    page.reload()
    row = page.get_by_role("row").filter(has_text="P2-LAB").first
    assert "fabric after yield" in row.inner_text()

    page.get_by_role("link", name="By which rules").click()
    page.fill("[name=strain-cap-value]", "0.010")
    page.fill("[name=strain-cap-edition]", "coupons of lot Q-3")
    page.fill("[name=why]", "coupons came in")
    _fits(page)
    page.get_by_role("button", name="Predict by these rules").click()
    page.wait_for_url("**/predictions/")
    assert PredictionRules.objects.get().options["limits"]["strain-cap"]["value"] == 0.010
    _predict(page)

    page.reload()
    row = page.get_by_role("row").filter(has_text=beam.code)
    row.get_by_role("link", name="pre-test sheet").click()
    page.wait_for_selector(".plot svg.main-svg")
    sheet = page.locator("main").inner_text()
    for words in ("Trips", "Entered by, day and time", "never for the design of works"):
        assert words in sheet
    _fits(page)
    page.get_by_role("link", name="every step").click()
    assert "coupons of lot Q-3" in page.locator("main").inner_text()
    _fits(page)

    cast.broke(beam)
    cast.record(beam.code, CURVE)
    page.goto(f"{live_server.url}/series/QS/test-to-prediction/")
    page.wait_for_selector(".plot svg.main-svg")
    kept = Prediction.objects.get(specimen=beam, is_current=True).outcome["ultimate_moment"]
    dead = Prediction.objects.get(specimen=beam, is_current=True).outcome["dead_moment"]
    ratio = (101.0 / 2.0 * 0.9 + dead["value"]) / kept["value"]
    assert f"{ratio:.2f}" in page.locator("main .lead").inner_text()
    _fits(page)
    assert troubles() == []
