"""One window that visits page after page as different people, and notes what is amiss."""

from __future__ import annotations

import re
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, Page

HERE = Path(__file__).parent
LAYOUT = (HERE / "checks.js").read_text(encoding="utf-8")
CONTENT = (HERE / "content.js").read_text(encoding="utf-8")
# The last is what A4 leaves between its margins: see print.css.
WIDTHS = {
    "desktop": (1280, 800), "tablet": (820, 1180), "phone": (390, 844), "paper": (658, 979),
}  # fmt: skip
LEVELS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
# What can differ between day and dark.
COLOURS = ("color-contrast", "link-in-text-block")
_AXE = """([kind, values]) => axe.run(document, {
  runOnly: {type: kind, values}, resultTypes: ["violations"]})"""
_READY = """() => document.fonts.status === "loaded"
  && document.querySelectorAll("figure[data-figure]:not([data-drawn])").length === 0"""
# Two frames and what was queued before them: styles are computed, listeners have been called.
_RESTED = """() => new Promise((done) =>
  requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done))))"""
_TALLEST = 6000


class Eye:
    """A browser window and what it has noted of the page that stands in it."""

    def __init__(self, browser: Browser, root: str, pictures: Path) -> None:
        self.root, self.pictures = root, pictures
        self.context = browser.new_context(color_scheme="light", reduced_motion="reduce")
        self.context.add_init_script(AXE_SCRIPT)
        self.page: Page = self.context.new_page()
        self.said: list[str] = []
        self.page.on("console", lambda message: self._hear(message.type, message.text))
        self.page.on("pageerror", lambda error: self._hear("error", str(error)))
        self.page.on("requestfailed", lambda request: self._miss(request.url, request.failure))
        self.status = 200

    def _hear(self, kind: str, words: str) -> None:
        expected = self.status >= 400 and f"status of {self.status}" in words
        if kind in ("error", "warning") and not expected:
            self.said.append(f"the browser says: {words}")

    def _miss(self, url: str, why: str | None) -> None:
        # A figure takes a question back when it is laid out anew before the answer is there.
        if why != "net::ERR_ABORTED":
            self._hear("error", f"{url} failed: {why}")

    def become(self, client: Client | None) -> None:
        """Be the person that a test client is signed in as."""
        self.context.clear_cookies()
        if client is not None and settings.SESSION_COOKIE_NAME in client.cookies:
            value = client.cookies[settings.SESSION_COOKIE_NAME].value
            self.context.add_cookies(
                [{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": self.root}]
            )

    def open(self, path: str, answer: Any = None) -> None:
        """Stand on a page; with an answer of a test client, show that one under the address."""
        self.said = []
        self.size("desktop")
        if answer is None:
            self.status = 200
            self.page.goto(self.root + path)
        else:
            self.status = answer.status_code
            self._show(self.root + path, answer)
        self.settle()

    def _show(self, url: str, answer: Any) -> None:
        headers: Mapping[str, str] = {k: v for k, v in answer.items() if k != "Content-Length"}
        self.page.route(
            url,
            lambda route: route.fulfill(
                status=answer.status_code, headers=dict(headers), body=answer.content
            ),
        )
        self.page.goto(url)
        self.page.unroute(url)

    def settle(self, seconds: float = 15.0) -> None:
        """Wait until faces are there and figures are drawn."""
        end = time.monotonic() + seconds
        while not self.page.evaluate(_READY):
            if time.monotonic() > end:
                self.said.append(f"figures are not drawn within {seconds:.0f} s")
                return
            self.page.wait_for_timeout(30)

    def size(self, which: str) -> None:
        """Take the width of a desktop, a tablet or a phone."""
        width, height = WIDTHS[which]
        self.page.set_viewport_size({"width": width, "height": height})

    def layout(self, which: str) -> None:
        """Note what runs over or is cut at a width, once figures had time to be laid out anew."""
        self.size(which)
        end = time.monotonic() + 3.0
        while found := self.page.evaluate(LAYOUT):
            if time.monotonic() > end:
                break
            self.page.wait_for_timeout(50)
        self.said += [f"{which}: {words}" for words in found]

    def content(self) -> None:
        """Note what is missing whatever the width."""
        self.said += self.page.evaluate(CONTENT)

    def unfold(self) -> bool:
        """Open all that opens: data tables, folded parts, dialogs; of long tables some rows.

        Answers whether there was anything to open.
        """
        opened = self.page.evaluate(
            """() => {
              const shut = document.querySelectorAll("details:not([open]), dialog:not([open])");
              document.querySelectorAll("tbody").forEach((body) => {
                [...body.rows].slice(12, -1).forEach((row) => row.remove());
              });
              document.querySelectorAll("details").forEach((one) => { one.open = true; });
              document.querySelectorAll("dialog:not([open])").forEach((one) => one.showModal());
              return shut.length;
            }"""
        )
        return bool(opened)

    def barriers(self, *rules: str) -> None:
        """Note what WCAG 2.2 A and AA forbid, by all rules or by some."""
        asked = ["rule", list(rules)] if rules else ["tag", list(LEVELS)]
        found = self.page.evaluate(_AXE, asked)
        for rule in found["violations"]:
            for node in rule["nodes"]:
                words = re.sub(r"\s+", " ", node.get("failureSummary") or "")
                place = " ".join(str(part) for part in node["target"])
                self.said.append(f"axe {rule['id']} at {place}: {words}")

    def dark(self, is_dark: bool) -> None:
        """Turn the system to dark, or back to day."""
        self.page.emulate_media(color_scheme="dark" if is_dark else "light")
        self._rest()

    def _rest(self) -> None:
        """Wait until what a change set off is drawn."""
        self.page.evaluate(_RESTED)
        self.settle()

    def paper(self, name: str) -> None:
        """Note what does not fit a sheet, and keep what would be printed."""
        self.page.emulate_media(media="print")
        self.page.evaluate("dispatchEvent(new Event('beforeprint'))")
        self._rest()
        self.layout("paper")
        self.picture(name)
        self.page.evaluate("dispatchEvent(new Event('afterprint'))")
        self.page.emulate_media(media="screen")
        self._rest()

    def picture(self, name: str) -> None:
        """Keep what is seen, from the top to the foot of the page."""
        height = int(self.page.evaluate("document.documentElement.scrollHeight"))
        width = int(self.page.evaluate("innerWidth"))
        self.page.screenshot(
            path=self.pictures / f"{name}.jpg", type="jpeg", quality=70, full_page=True,
            clip={"x": 0, "y": 0, "width": width, "height": min(height, _TALLEST)},
        )  # fmt: skip
