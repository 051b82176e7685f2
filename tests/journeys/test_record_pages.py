"""A file goes in through the page, and its number leads back to it."""

from __future__ import annotations

from pathlib import Path

from labmatrix.evidence.models import Record
from labmatrix.evidence.services.job import job_perform
from tests.results.scene import curve_csv, scene

CURVE = curve_csv([(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)])


def test_from_a_dropped_file_to_a_number_and_its_provenance(page, live_server, tmp_path: Path):
    cast = scene()
    specimen = cast.specimen("P2-LAB")
    troubles: list[str] = []
    page.on("console", lambda m: troubles.append(m.text) if m.type == "error" else None)
    page.goto(f"{live_server.url}/sign-in/")
    page.fill("[name=username]", "technician")
    page.fill("[name=password]", "a-long-password")
    page.press("[name=password]", "Enter")
    page.goto(f"{live_server.url}/records/new/?subject={specimen.code}&test=break")
    file = tmp_path / "beam.csv"
    file.write_bytes(CURVE)
    page.set_input_files("[name=uploaded]", str(file))
    page.locator("main button.main").click()
    page.wait_for_selector("[name=kept]", state="attached")
    page.locator("main button.main").click()
    page.wait_for_url("**/records/*-*/")
    record = Record.objects.get()
    job_perform(job_id=record.job_id)
    page.reload()
    page.get_by_role("link", name="peak load").first.click()
    page.wait_for_url("**/metrics/**")
    page.wait_for_selector(".plot svg.main-svg")
    assert "72" in page.locator("main").inner_text()
    for width in (1280, 820):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert troubles == []
