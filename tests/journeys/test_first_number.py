"""From ``setup`` in an empty home to a released number, in a browser, by what the pages offer."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.installation import Installation
from tests.results.scene import curve_csv

pytestmark = pytest.mark.browser
PASSWORD = "forty-two heavy girders"
CURVE = curve_csv([(0.0, 0.0), (1.0, 15.0), (9.0, 85.0), (25.0, 101.0), (40.0, 60.0)])
MEMBER = {
    "b_mm": "200", "h_mm": "12 in", "d_mm": "260", "fc_mpa": "30", "fy_mpa": "420",
    "span_mm": "2.7 m", "shear_span_mm": "900", "bar_count": "3", "bar_diameter_mm": "12",
    "fabric_area_mm2_per_ply": "10", "ef_mpa": "128000", "fabric_design_strain": "0.012",
    "stirrup_area_mm2": "100.5", "stirrup_spacing_mm": "100", "stirrup_fy_mpa": "420",
}  # fmt: skip


class Lead:
    """Somebody on the first day, who knows nothing but what the pages say."""

    def __init__(self, page: Page, root: str) -> None:
        self.page, self.root = page, root
        self.amiss: list[str] = []
        page.set_default_timeout(15_000)
        page.on("console", self._hear)
        page.on("pageerror", lambda error: self.amiss.append(str(error)))

    def _hear(self, message: object) -> None:
        if getattr(message, "type", "") in ("error", "warning"):
            self.amiss.append(f"{self.page.url}: {getattr(message, 'text', '')}")

    def sign_in(self, address: str) -> None:
        self.page.goto(address)
        self.page.fill("[name=username]", "ada")
        self.page.fill("[name=password]", PASSWORD)
        self.page.press("[name=password]", "Enter")
        self.page.wait_for_url(f"{self.root}/")

    def words(self) -> str:
        """What stands on the page; it fits the screen and names nothing in a developer's way."""
        said = self.page.locator("main").inner_text()
        assert not re.search(r'\{[“"]|JSON', said), self.page.url
        assert self.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        return said

    def go(self, name: str | re.Pattern[str]) -> None:
        """Follow the first link of this name on the page."""
        self.page.locator("main").get_by_role("link", name=name).first.click()
        self.page.wait_for_load_state()
        self.words()

    def today(self) -> None:
        self.page.get_by_role("link", name="Today", exact=True).first.click()
        self.page.wait_for_url(f"{self.root}/")

    def next(self, words: str) -> None:
        """Back to the first page; what it says comes next is this, and the link leads there."""
        self.today()
        step = self.page.locator(".first-steps a.main")
        assert step.inner_text() == words
        step.click()
        self.page.wait_for_load_state()

    def send(self, **filled: str) -> None:
        """Fill in fields by their names, and press the main button."""
        for name, text in filled.items():
            self.page.fill(f"[name={name}]", text)
        self.page.locator("main button.main").first.click()
        self.page.wait_for_load_state()
        assert self.page.locator("main .errorlist, main .notice.error").count() == 0, self.words()


@pytest.fixture
def home(tmp_path: Path):
    made = Installation(tmp_path / "home")
    made.migrate()
    yield made
    made.end()


def _set_up(home: Installation) -> str:
    """The address that setup says one signs in at."""
    done = home.manage(
        "setup", "--name", "Pier Laboratory", "--zone", "Europe/Lisbon", "--lead", "ada",
        "--no-input", STRONGFLOOR_LEAD_PASSWORD=PASSWORD,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    [address] = re.findall(r"Sign in as ada: (\S+)", done.stdout)
    return str(address)


def _plan(lead: Lead) -> None:
    lead.go("Start a programme")
    lead.send(code="PIER", title="Old piers")
    lead.today()
    lead.go("start one")
    lead.send(code="PB", title="Beams of the pier")
    lead.next("Say what a specimen is made of")
    for name, text in MEMBER.items():
        lead.page.fill(f"[name={name}]", text)
    lead.page.select_option("[name=fibre]", "pbo")
    lead.send()
    lead.go("Plate")
    assert "Nothing is planned yet" in lead.words()
    lead.go("plan the matrix")
    lead.go("Add a first factor")
    lead.send(name="plies", levels="0, 2", control="0")
    lead.go(re.compile("Plan all 2 combinations"))
    lead.send(replicates="1")
    lead.next("Say what is done to a specimen")
    lead.send()


def _predict(lead: Lead) -> None:
    lead.next("Predict")
    lead.send()
    lead.page.get_by_text("fabric after yield").first.wait_for()
    assert lead.page.locator("td.num", has_text="kN").count() >= 4


def _cast(lead: Lead) -> None:
    lead.next("Create the specimens")
    lead.send()
    lead.next("Log the first casting")
    lead.go("PB-P0-01")
    lead.go("Log next: cast")
    lead.send(batch="C-01")
    assert "Logged on PB-P0-01" in lead.page.locator("body").inner_text()


def _measure(lead: Lead, file: Path) -> None:
    file.write_bytes(CURVE)
    lead.next("Upload the first record")
    lead.page.fill("[name=subject]", "PB-P0-01")
    lead.page.set_input_files("[name=uploaded]", str(file))
    lead.send()
    lead.send()
    lead.page.get_by_text("101.0").locator("visible=true").first.wait_for()


def _compare_and_release(lead: Lead) -> None:
    lead.today()
    assert lead.page.locator(".first-steps").count() == 0
    lead.go("Comparison")
    assert "n = 1 specimen." in lead.words()
    lead.today()
    lead.go("Numbers wait to be released")
    lead.send(scope="Valid for unstrengthened beams of the pier.", why="first beam")
    lead.words()


def test_from_an_empty_home_to_a_released_number(
    browser: Browser, home: Installation, tmp_path: Path
):
    address = _set_up(home)
    home.up()
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    lead = Lead(context.new_page(), f"http://127.0.0.1:{home.port}")
    lead.sign_in(address)
    assert "No programme yet" in lead.words()
    _plan(lead)
    lead.go("Releases")
    assert "There is nothing to release yet." in lead.words()
    _predict(lead)
    _cast(lead)
    _measure(lead, tmp_path / "b01.csv")
    _compare_and_release(lead)
    assert "101" in lead.words()
    assert lead.amiss == []
    context.close()
