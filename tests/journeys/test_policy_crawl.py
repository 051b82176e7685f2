"""Every page that a role can reach by links: the strict policy, and nothing inline."""

from __future__ import annotations

import re
from collections import deque
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import pytest
from django.test import Client

from tests.results.history_books import sent_book
from tests.results.scene import curve_csv, scene

pytestmark = pytest.mark.django_db
PAGES_MAX = 160
ROLES = ("lead", "manager", "technician", "sponsor", "nobody")
POLICY = ("default-src 'self'", "script-src 'self'", "object-src 'none'", "frame-ancestors 'none'")


class Page(HTMLParser):
    """Links of a page, and what the policy would stop in it."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.wrong: list[str] = []
        self._open = ""
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        if tag == "a" and found.get("href"):
            self.links.append(found["href"])
        self.wrong += [f"{tag} {name}" for name in found if name == "style" or name[:2] == "on"]
        self.wrong += [
            f"{tag} {name}={value}"
            for name, value in attributes
            if (value or "").strip().lower().startswith("javascript:")
        ]
        is_data = tag == "script" and found.get("type") == "application/json"
        if tag == "script" and not found.get("src") and not is_data:
            self.wrong.append("script without a file")
        if tag == "style" and not found.get("nonce"):
            self.wrong.append("style without a nonce")
        self._open = "" if is_data else tag

    def handle_data(self, data):
        if self._open in ("script", "style") and data.strip():
            self.wrong.append(f"{self._open} with text: {data.strip()[:40]}")

    def handle_endtag(self, tag):
        self._open = ""


def shape(path: str) -> str:
    """An address without what differs between things of one kind."""
    return re.sub(r"[0-9a-f]{8}-[0-9a-f-]{27}|\d+|[A-Z0-9]+(-[A-Z0-9]+)+", "*", path)


@pytest.mark.parametrize("role", ROLES)
def test_every_page_that_links_lead_to_keeps_the_strict_policy(role):
    cast = scene()
    specimen = cast.specimen("P2-LAB")
    cast.broke(specimen)
    cast.record(specimen.code, curve_csv([(0, 0), (1, 15), (6, 60), (25, 72), (40, 50)]))
    sent_book(cast, take=True)
    client = Client()
    if role != "nobody":
        client.force_login(getattr(cast, role))
    ahead, seen, wrong = deque(["/", "/sign-in/", "/password/", "/me/"]), set(), {}
    visited = 0
    while ahead and visited < PAGES_MAX:
        path = ahead.popleft()
        if shape(path) in seen:
            continue
        seen.add(shape(path))
        answer = client.get(path)
        if "text/html" not in answer.headers.get("Content-Type", "") or answer.status_code == 302:
            continue
        visited += 1
        policy = answer.headers.get("Content-Security-Policy", "")
        page = Page(answer.content.decode())
        found = [part for part in POLICY if part not in policy] + page.wrong
        if found or answer.status_code >= 500 or "unsafe" in policy:
            wrong[path] = (answer.status_code, found)
        for link in page.links:
            target = urlsplit(urljoin(path, link))
            if not target.netloc and target.path.startswith("/"):
                ahead.append(target.path + (f"?{target.query}" if target.query else ""))
    assert wrong == {}
    least = {"lead": 25, "manager": 20, "technician": 20, "sponsor": 4, "nobody": 2}[role]
    assert visited >= least, (role, visited, sorted(seen))
