"""An earlier campaign from the empty workbook to the sponsor's page, and one that is refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook
from playwright.sync_api import Page, expect

from labmatrix.evidence.models import Job
from labmatrix.evidence.services.job import job_perform
from labmatrix.matrix.models import Cell
from results.models import HistoryImport, Release, TypedResult
from specimens.models import Specimen
from tests.results.history_books import MODE
from tests.results.scene import Scene, scene

expect.set_options(timeout=20_000)
PEAKS = {"P0-LAB": 42.0, "P2-LAB": 63.0, "P0-WDS": 39.0, "P2-WDS": 51.0}


@pytest.fixture
def cast(transactional_db: None) -> Scene:
    made = scene()
    Cell.objects.update(replicates=9)
    return made


@pytest.fixture
def lead(page: Page, live_server: Any, cast: Scene) -> Page:
    return sign_in(page, live_server.url, "lead")


def sign_in(page: Page, root: str, who: str) -> Page:
    page.set_default_timeout(30_000)
    page.context.clear_cookies()
    page.goto(f"{root}/sign-in/")
    page.fill("[name=username]", who)
    page.fill("[name=password]", "a-long-password")
    page.press("[name=password]", "Enter")
    page.wait_for_url(f"{root}/")
    page.set_viewport_size({"width": 1280, "height": 900})
    return page


def work() -> None:
    """Do what was asked for, as a worker would."""
    for job in Job.objects.filter(kind="history", state=Job.State.WAITING):
        assert job_perform(job_id=job.id)


def filled(page: Page, folder: Path, change: Callable[[Workbook], None] = lambda book: None) -> str:
    """The empty workbook from the page, filled in with two specimens a cell, and saved."""
    with page.expect_download() as download:
        page.get_by_role("link", name="The empty workbook").click()
    path = folder / "earlier.xlsx"
    download.value.save_as(path)
    book = load_workbook(path)
    for cell, peak in PEAKS.items():
        for n, off in ((1, -2.0), (2, 2.0)):
            code = f"M14-{cell}-{n}"
            book["Specimens"].append([code, "QS", cell, None, 200.4])
            book["Events"].append([code, "cast", "06.03.2014", None, "C-14"])
            book["Events"].append([code, "broken", "2014-09-04", "14:30", MODE])
            book["Results"].append([code, "peak load", peak + off, "kN", 0.5 if n == 1 else None])
    change(book)
    book.save(path)
    return str(path)


def send(page: Page, path: str) -> None:
    page.set_input_files("[type=file]", path)
    page.get_by_role("button", name="Look at the workbook").click()
    page.wait_for_url("**/imports/**")
    expect(page.locator("[data-progress-url]")).to_be_visible()
    work()
    expect(page.locator("[data-progress-url]")).to_have_count(0)


def fits(page: Page) -> None:
    """Nothing runs out of the page, on a desk or on a tablet."""
    for width in (1280, 820):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_an_earlier_campaign_from_the_empty_workbook_to_the_sponsor(
    lead: Page, live_server: Any, tmp_path: Path
):
    root = live_server.url
    lead.goto(f"{root}/programmes/QUAYSIDE/")
    lead.get_by_role("link", name="Take in finished specimens").click()
    send(lead, filled(lead, tmp_path))
    expect(lead.get_by_role("heading", name="New, row by row")).to_be_visible()
    assert Specimen.objects.count() == 0
    fits(lead)
    lead.get_by_role("button", name="Take all of it in").click()
    expect(lead.locator("[data-progress-url]")).to_be_visible()
    work()
    expect(lead.get_by_role("heading", name="What came in")).to_be_visible()
    assert (Specimen.objects.count(), TypedResult.objects.count()) == (8, 8)

    lead.goto(f"{root}/series/QS/plate/")
    square = lead.locator("#cell-P2-LAB")
    expect(square).to_contain_text("63.00 kN")
    expect(square).to_contain_text("n = 2, all imported")
    expect(square.locator("rect.imported")).to_have_count(2)
    fits(lead)

    lead.goto(f"{root}/series/QS/comparison/")
    expect(lead.locator("main")).to_contain_text("8 of them with an imported number")
    row = lead.locator("#imported tbody tr").filter(has_text="P2-WDS")
    expect(row).to_contain_text("0.571")  # (51 − 39) / (63 − 42) with them; none without
    fits(lead)
    lead.select_option("[name=imported]", "without")
    lead.get_by_role("button", name="Compare").click()
    expect(lead.locator("main")).to_contain_text("They are left out of everything below.")

    lead.goto(f"{root}/specimens/M14-P2-LAB-1/life/")
    expect(lead.locator("#ribbon")).to_contain_text("Every event is imported from a workbook.")
    lead.get_by_role("link", name="Where they come from, and what was put right").click()
    lead.get_by_role("link", name="Correct it").click()
    lead.fill("[name=value]", "59,0")
    lead.fill("[name=why]", "read from the chart once more")
    lead.get_by_role("button", name="Put it right").click()
    expect(lead.locator("del")).to_have_text("61 kN")
    fits(lead)

    lead.goto(f"{root}/series/QS/releases/")
    lead.fill("[name=scope]", "Valid for beams of 2014 with two plies.")
    lead.fill("[name=why]", "the earlier campaign")
    lead.get_by_role("button", name="Release version 1").click()
    lead.wait_for_url("**/releases/*/")

    page = sign_in(lead, root, "sponsor")
    page.goto(f"{root}/releases/{Release.objects.get().pk}/")
    expect(page.locator("main")).to_contain_text(
        "8 of 8 specimens have an imported number of peak load: number as reported, no raw record"
    )
    expect(page.get_by_role("columnheader", name="of them imported").first).to_be_visible()
    fits(page)


def test_a_workbook_with_mistakes_is_refused_with_each_of_them_once(
    lead: Page, live_server: Any, tmp_path: Path
):
    def spoil(book: Workbook) -> None:
        book["Specimens"]["A3"] = '=HYPERLINK("http://elsewhere.example","M14-P0-LAB-2")'
        book["Specimens"]["A5"] = "M14-\u202eP2-LAB-2"
        book["Events"]["C2"] = "03/04/2014"
        for row in (3, 5, 7, 9, 11):
            book["Events"].cell(row, 5).value = MODE.replace("mode words", "mode word")
        book["Results"]["C2"] = "=40+2"
        book["Results"]["D3"] = "stone"
        book["Results"]["D4"] = "mm"
        book.create_sheet("notes")["A1"] = "of 2014"
        book["notes"].sheet_state = "hidden"

    lead.goto(f"{live_server.url}/programmes/QUAYSIDE/history/")
    send(lead, filled(lead, tmp_path, spoil))
    expect(lead.locator("main")).to_contain_text("Nothing was taken in.")
    told = lead.get_by_role("region", name="What to put right").locator("tbody tr")
    first = told.all_inner_texts()
    assert [line.split("\t")[0] for line in first] == sorted(
        (line.split("\t")[0] for line in first),
        key=["notes", "Specimens", "Events", "Results"].index,
    )
    expect(told.filter(has_text="It is hidden in the workbook")).to_have_count(1)
    expect(told.filter(has_text="3, 5, 7, 9, 11").filter(has_text="mode word")).to_have_count(1)
    expect(told.filter(has_text="it holds the formula").first).not_to_have_count(0)
    expect(told.filter(has_text="U+202E")).to_have_count(1)
    expect(told.filter(has_text="day and month cannot be told apart")).to_have_count(1)
    expect(told.filter(has_text="the unit 'stone' is not known")).to_have_count(1)
    expect(told.filter(has_text="mm measures length")).to_have_count(1)
    assert lead.locator("main a[href*=elsewhere]").count() == 0
    fits(lead)
    assert HistoryImport.objects.get().status == HistoryImport.Status.REFUSED
    assert Specimen.objects.count() == 0
    lead.get_by_role("link", name="Send it again").click()
    expect(lead.locator("[type=file]")).to_be_visible()
