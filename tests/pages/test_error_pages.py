"""What a person meets when something is not possible is as sound as any other page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.middleware.csrf import get_token
from django.test import Client, RequestFactory
from playwright.sync_api import Browser
from pytest_django.live_server_helper import LiveServer

from labmatrix.web import errors
from tests.pages.eye import COLOURS, Eye
from tests.pages.outcomes import signed_in
from tests.pages.world import World

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def eye(browser: Browser, server: LiveServer, screenshots: Path) -> Iterator[Eye]:
    """One window for all errors."""
    made = Eye(browser, server.url, screenshots)
    yield made
    made.context.close()


def _sound(eye: Eye, path: str, answer: object, name: str) -> None:
    eye.open(path, answer)
    eye.content()
    for width in ("desktop", "phone", "tablet"):
        eye.layout(width)
    eye.picture(f"error-{name}-tablet")
    eye.dark(True)
    eye.barriers(*COLOURS)
    eye.dark(False)
    eye.barriers()
    assert eye.said == []


@pytest.mark.parametrize("who", ["lead", "sponsor"])
def test_what_is_not_there_or_not_yours(world: World, eye: Eye, who: str) -> None:
    client = signed_in(world, who)
    eye.become(client)
    answer = client.get("/series/NONE/")
    assert answer.status_code == 404
    _sound(eye, "/series/NONE/", answer, f"404-{who}")


def test_a_form_from_a_page_that_is_too_old(world: World, eye: Eye) -> None:
    client = Client(enforce_csrf_checks=True, headers={"host": "localhost"})
    client.force_login(world.people["lead"])
    eye.become(client)
    answer = client.post("/calculators/beam/", {})
    assert answer.status_code == 403
    _sound(eye, "/calculators/beam/", answer, "403")


@pytest.mark.parametrize(
    "path",
    [
        "/regimes/new/",
        "/machines/new/",
        "/sensors/new/",
        "/series/{series}/cells/new/",
        "/series/{series}/member/",
        "/series/{series}/route/",
    ],
)
def test_a_form_that_is_refused(world: World, eye: Eye, path: str) -> None:
    client = signed_in(world, "lead")
    eye.become(client)
    path = path.format(**world.scenes["full"])
    answer = client.post(path, {"why": ""})
    assert answer.status_code == 400
    assert 'aria-invalid="true"' in answer.content.decode()
    _sound(eye, path, answer, "form" + path.replace("/", "_"))


def test_a_fault_of_ours(world: World, eye: Eye) -> None:
    eye.become(None)
    request = RequestFactory(headers={"host": "localhost"}).get("/")
    request.user = world.people["lead"]
    get_token(request)
    answer = errors.server_error(request)
    assert answer.status_code == 500
    _sound(eye, "/fault/", answer, "500")
