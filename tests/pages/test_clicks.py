"""From the sign-in to what one came for, by visible links alone, in at most eight clicks."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import pytest
from openpyxl import load_workbook
from playwright.sync_api import Browser, Locator, Page
from pytest_django.live_server_helper import LiveServer

from labmatrix.web.domain.demo import DEMO_PASSWORD

pytestmark = pytest.mark.browser
MOST = 8
CELL = "P2-LAB-S0-C"


class Clicker:
    """Somebody who reads a page and clicks what they see, and counts."""

    def __init__(self, page: Page, root: str) -> None:
        self.page, self.root, self.count = page, root, 0

    def sign_in(self, who: str) -> None:
        """Name, password, and the button, which is the first click."""
        self.page.goto(f"{self.root}/sign-in/")
        self.page.fill("[name=username]", who)
        self.page.fill("[name=password]", DEMO_PASSWORD)
        self._click(self.page.locator("main button.main"))

    def go(self, name: str, *, within: str = "main") -> None:
        """Click the first link of this name that can be seen."""
        self._click(self.page.locator(within).get_by_role("link", name=name).first)

    def fetch(self, name: str) -> str:
        """Click a link that is saved as a file; gives the file's path."""
        link = self.page.locator("main").get_by_role("link", name=name).first
        link.wait_for()
        self.count += 1
        with self.page.expect_download() as download:
            link.click()
        return str(download.value.path())

    def _click(self, what: Locator) -> None:
        what.wait_for()  # until it can be seen
        self.count += 1
        what.click()
        self.page.wait_for_load_state()


@pytest.fixture
def clicker(browser: Browser, server: LiveServer) -> Iterator[Clicker]:
    """A window of its own."""
    context = browser.new_context(viewport={"width": 820, "height": 1180}, accept_downloads=True)
    yield Clicker(context.new_page(), server.url)
    context.close()


def _shows_degradation(page: Page) -> None:
    figure = page.locator("figure", has_text="Stiffness").or_(
        page.locator("figure", has_text="stiffness")
    )
    figure.first.locator(".plot svg.main-svg").first.wait_for()


def _cells_of(file: str) -> set[str]:
    book = load_workbook(BytesIO(Path(file).read_bytes()), read_only=True)
    return {
        str(value) for sheet in book for row in sheet.iter_rows(values_only=True) for value in row
    }


def test_the_lead_reaches_the_degradation_plot_and_one_cell_as_a_workbook(
    clicker: Clicker,
) -> None:
    clicker.sign_in("lead")
    clicker.go("Comparison")
    _shows_degradation(clicker.page)
    to_plot = clicker.count
    clicker.go(CELL)
    found = _cells_of(clicker.fetch("Numbers of the cell (XLSX)"))
    assert CELL in found
    assert not any(other in found for other in ("P1-LAB-S0-M", "P2-SALT-S0-M"))
    assert to_plot == 2
    assert clicker.count == 4 <= MOST


def test_the_sponsor_reaches_the_released_degradation_plot_and_workbook(clicker: Clicker) -> None:
    clicker.sign_in("sponsor")
    clicker.go("Version 1 of QS")
    _shows_degradation(clicker.page)
    to_plot = clicker.count
    assert CELL in _cells_of(clicker.fetch("XLSX"))
    assert to_plot == 2
    assert clicker.count == 3 <= MOST
