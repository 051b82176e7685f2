"""Which pages there are, from the access tables, and what each person gets of them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Any
from urllib.parse import quote

from django.test import Client

from tests.architecture.test_every_address_is_guarded import ROOMS
from tests.pages.world import KNOWN, NAME, UNKNOWN, World
from tests.specimens.access_table import WHO, Access

ROLES = WHO[:4]
NOBODY = WHO[5]
LOOKERS = WHO
# Beside the first scene, pages are looked at in these by the lead, or by who has nothing yet.
OTHER_SCENES = {
    "cycled": "lead",
    "failed": "lead",
    "conflict": "lead",
    "refused": "lead",
    "planned": "lead",
    "empty": "stranger",
}
_CODES = {"/QS/": "/{series}/", "/QUAYSIDE/": "/{programme}/", "P2-LAB": "{cell}",
          "programme=QUAYSIDE": "programme={programme}"}  # fmt: skip
_OWN = re.compile(
    r'name="csrfmiddlewaretoken" value="\w+"|nonce="[^"]*"|name="event_id" value="[^"]*"|'
    r"[0-9a-f]{8}-[0-9a-f-]{27}|\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?"
)

# People of the demo are called after their roles.
_NAMES = re.compile(rf"(?i)\b(the )?({'|'.join(WHO)})\b")


def _named(path: str) -> str:
    """A path with the codes of the small worlds of the tables as names."""
    for code, name in _CODES.items():
        path = path.replace(code, name)
    return path


# What the small worlds of the tables have not got, and the demo has.
_ONLY_HERE = Access("GET", "/records/{record}/cycle/", (404, 404, 404, 404, 404, 302))


def pages() -> list[Access]:
    """Every address that is asked with GET and is no part of the API, each once."""
    found: dict[str, Access] = {}
    for room in ROOMS:
        for row in import_module(f"tests.{room}.access_table").ACCESS:
            if row.method == "GET" and not row.path.startswith("/api/"):
                path = _named(row.path)
                found.setdefault(path, row)
    shown = [
        Access("GET", path, row.statuses) for path, row in found.items() if 200 in row.statuses
    ]
    return [*shown, _ONLY_HERE]


def addresses_read() -> list[Access]:
    """Every address that is asked with GET and that the lead gets, pages and API, each once."""
    found: dict[str, Access] = {}
    for room in ROOMS:
        for row in import_module(f"tests.{room}.access_table").ACCESS:
            if row.method == "GET":
                found.setdefault(_named(row.path), row)
    return [Access("GET", path, row.statuses) for path, row in found.items()]


def forms() -> list[Access]:
    """Every address that takes a form from a browser."""
    rows = [r for room in ROOMS for r in import_module(f"tests.{room}.access_table").ACCESS]
    return [row for row in rows if row.is_form]


def filled_path(path: str, names: Mapping[str, str]) -> str | None:
    """A path with its names replaced; None when this scene has no such thing."""
    wanted = set(NAME.findall(path))
    for name in wanted - KNOWN:
        raise AssertionError(UNKNOWN.format(name=name))
    if not wanted <= set(names):
        return None
    return NAME.sub(lambda hole: quote(names[hole[1]], safe=""), path)


def signed_in(world: World, who: str) -> Client:
    """A client of one of the people, or of nobody."""
    client = Client(headers={"host": "localhost"})
    if who != NOBODY:
        client.force_login(world.people[who])
    return client


def is_page(answer: Any) -> bool:
    """Whether the answer is a page to look at."""
    return answer.status_code == 200 and answer["Content-Type"].startswith("text/html")


def _shape(answer: Any) -> str:
    """The page below its head: which rooms the head names is seen on each role's first page."""
    text = answer.content.decode()
    return _NAMES.sub("", _OWN.sub("", text.partition("<main")[2] or text))


def outcomes(
    world: World, row: Access, clients: Mapping[str, Client]
) -> Iterator[tuple[str, str, str]]:
    """Each different page behind an address: who sees it first, in which scene, its address.

    Raises:
        AssertionError: for a page that a role should get and does not.
    """
    seen: set[str] = set()
    first = filled_path(row.path, world.scenes["full"])
    assert first is not None
    for who in (*ROLES, NOBODY):
        answer = clients[who].get(first)
        if row.status_for(who) == 200:
            assert answer.status_code == 200, f"{first} answers {who} with {answer.status_code}"
        if is_page(answer) and (shape := _shape(answer)) not in seen:
            seen.add(shape)
            yield who, "full", first
    paths = {first}
    for scene, who in OTHER_SCENES.items():
        path = filled_path(row.path, world.scenes[scene])
        if path is None or (path in paths and scene != "empty"):
            continue
        paths.add(path)
        answer = clients[who].get(path)
        if is_page(answer) and (shape := _shape(answer)) not in seen:
            seen.add(shape)
            yield who, scene, path
