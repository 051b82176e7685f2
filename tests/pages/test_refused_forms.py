"""One rule for a form that is refused: shown again with what was typed, 400, or the rule's status.

Every form that a lead is shown on the pages of the access tables is sent back as a browser would
send it, with every text emptied or filled with what cannot be.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urljoin

import pytest
from django.db import transaction
from django.test import Client

from tests.pages.outcomes import filled_path, is_page, pages, signed_in
from tests.pages.world import World

# A form without anything to fill in does what its button says; a few ask nothing that must be said.
DONE = 302
REFUSED = frozenset({400, 404, 409, 413})
TEXTS = {"text", "number", "email", "password", "date", "datetime-local", "file", "search"}
NONSENSE = "\N{SNOWMAN} no such thing"


class Forms(HTMLParser):
    """The forms of a page that are sent with POST: where to, and what a browser would send."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[dict[str, Any]] = []
        self._open: dict[str, Any] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        if tag == "form" and told.get("method", "").lower() == "post":
            self._open = {"action": told.get("action", ""), "kept": {}, "asked": []}
            self.found.append(self._open)
        if self._open is None or not told.get("name"):
            return
        if tag in ("textarea", "select") or (tag == "input" and told.get("type", "text") in TEXTS):
            self._open["asked"].append(told["name"])
        elif tag == "input" and told.get("type") == "hidden":
            self._open["kept"][told["name"]] = told.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = None


def _forms(client: Client, path: str) -> Iterator[tuple[str, Mapping[str, str], list[str]]]:
    answer = client.get(path)
    if not is_page(answer):
        return
    parser = Forms()
    parser.feed(answer.content.decode())
    for form in parser.found:
        yield urljoin(path, form["action"]), form["kept"], form["asked"]


def _every_form(world: World) -> dict[str, tuple[str, Mapping[str, str], list[str]]]:
    client = signed_in(world, "lead")
    found = {}
    for row in pages():
        for scene in ("full", "planned"):
            path = filled_path(row.path, world.scenes[scene])
            if path is None:
                continue
            for target, kept, asked in _forms(client, path):
                found.setdefault(f"{row.path} {sorted(asked)}", (target, kept, asked))
    for path in ("/sign-in/", "/password/forgotten/"):
        for target, kept, asked in _forms(Client(headers={"host": "localhost"}), path):
            found[path] = (target, kept, asked)
    return found


def _sent(world: World, target: str, data: Mapping[str, str]) -> Any:
    """The answer to a form; nothing of it stays."""
    is_door = target.startswith(("/sign-in/", "/password/forgotten/"))
    client = Client(headers={"host": "localhost"}) if is_door else signed_in(world, "lead")
    with transaction.atomic():
        answer = client.post(target, data)
        transaction.set_rollback(True)
    return answer


@pytest.mark.parametrize("typed", ["", NONSENSE], ids=["empty", "nonsense"])
def test_a_refused_form_is_never_answered_as_if_all_were_well(world: World, typed: str) -> None:
    forms = _every_form(world)
    assert len(forms) > 40
    amiss = []
    for name, (target, kept, asked) in forms.items():
        answer = _sent(world, target, {**kept, **dict.fromkeys(asked, typed)})
        is_fine = answer.status_code in REFUSED | {DONE}
        if answer.status_code == 200:
            # What is done and shown at once, such as an invitation's link, says no error.
            is_fine = b"errorlist" not in answer.content and b"notice error" not in answer.content
        if typed and asked and answer.status_code == DONE and len(asked) > 1:
            is_fine = False
        if answer.status_code in (400, 409) and answer["Content-Type"].startswith("text/html"):
            page = answer.content
            is_fine = b"errorlist" in page or b'role="alert"' in page or b"notice error" in page
        if not is_fine:
            amiss.append(f"{name}: {target} answers {answer.status_code}")
    assert amiss == []
