"""Every page as every person gets it: laid out, worded, free of barriers, and kept as pictures."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.test import Client
from playwright.sync_api import Browser
from pytest_django.live_server_helper import LiveServer

from tests.pages.eye import COLOURS, Eye
from tests.pages.gallery import picture_name, slug
from tests.pages.outcomes import LOOKERS, outcomes, pages, signed_in
from tests.pages.world import World
from tests.specimens.access_table import Access

pytestmark = pytest.mark.browser
PAGES = pages()


@pytest.fixture(scope="module")
def clients(world: World) -> dict[str, Client]:
    """Everybody who looks, signed in."""
    return {who: signed_in(world, who) for who in LOOKERS}


@pytest.fixture(scope="module")
def eye(browser: Browser, server: LiveServer, screenshots: Path) -> Iterator[Eye]:
    """One window for all pages that a worker visits."""
    made = Eye(browser, server.url, screenshots)
    yield made
    made.context.close()


def _whole(eye: Eye, name: str) -> None:
    """All widths, day, dark and paper, as it comes and unfolded."""
    eye.content()
    eye.layout("desktop")
    eye.picture(f"{name}.desktop-day")
    eye.layout("phone")
    eye.layout("tablet")
    eye.dark(True)
    eye.picture(f"{name}.tablet-dark")
    eye.dark(False)
    eye.paper(f"{name}.print")
    if eye.unfold():
        eye.layout("tablet")
        eye.layout("phone")
        eye.layout("desktop")
    eye.barriers()
    eye.dark(True)
    eye.barriers(*COLOURS)
    eye.dark(False)


def _other(eye: Eye, name: str) -> None:
    """What can differ from the first outcome of the address: narrow, with all its words."""
    eye.size("phone")
    eye.content()
    eye.unfold()
    eye.layout("phone")
    eye.barriers()
    eye.picture(f"{name}.phone-day")


@pytest.mark.parametrize("row", PAGES, ids=[slug(row.path) for row in PAGES])
def test_a_page_of_every_person_and_scene(
    world: World, clients: dict[str, Client], eye: Eye, row: Access
) -> None:
    said = []
    for at, (who, scene, path) in enumerate(outcomes(world, row, clients)):
        eye.become(clients[who])
        eye.open(path)
        (_other if at else _whole)(eye, picture_name(row.path, who, scene))
        said += [f"{path} for the {who}: {words}" for words in eye.said]
    assert said == [], "\n".join(said)


def test_a_square_opened_beside_the_plate(
    world: World, clients: dict[str, Client], eye: Eye
) -> None:
    path = f"/series/{world.scenes['full']['series']}/plate/"
    eye.become(clients["lead"])
    eye.open(path)
    eye.page.locator("a[data-panel]").first.click()
    eye.page.locator("#plate-panel .panel-close").wait_for()
    _whole(eye, picture_name(path + "open", "lead", "full"))
    assert eye.said == [], "\n".join(eye.said)
