"""The rooms in every page's head; each room of the house names its own door."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from labmatrix.web.domain.roles import Action, allowed
from labmatrix.web.models import Person


@dataclass(frozen=True, order=True)
class Door:
    """A link in the head: where in the row, its words, its URL name, who sees it."""

    place: int
    label: str
    url_name: str
    action: Action


_doors: list[Door] = []


def door_register(
    *, place: int, label: str, url_name: str, action: Action = Action.SEE_PROGRAMME
) -> None:
    """Add a link; called from an app's ``ready``."""
    door = Door(place, label, url_name, action)
    if door not in _doors:
        _doors.append(door)


_work: list[tuple[str, str]] = []


def work_register(*, page: str, state: str) -> None:
    """Name the page of all work in progress and the address that tells of it in a line."""
    _work[:] = [(page, state)]


def work_addresses() -> dict[str, str]:
    """{page, state} of the work in progress; empty where no room has any."""
    return {"page": reverse(_work[0][0]), "state": reverse(_work[0][1])} if _work else {}


def doors_for(person: Person, path: str) -> list[dict[str, object]]:
    """The links that a person sees, the one that leads to this page's room marked."""
    found = []
    for door in sorted(_doors):
        if not allowed(person.role, door.action):
            continue
        url = reverse(door.url_name)
        current = path == url or (url != "/" and path.startswith(url))
        found.append({"label": door.label, "url": url, "current": current})
    return found
