"""Where rooms hang links to their own pages on the pages of rooms below, which know them not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from urllib.parse import urlencode

from django.urls import reverse

from labmatrix.web.domain.roles import Action, Role, allowed


class Place(StrEnum):
    """A kind of page that takes links, and with it the codes that a link is given."""

    PROGRAMME = "programme"  # the programme's code
    SERIES = "series"  # the series' code
    CELL = "cell"  # the series' code and the cell's code
    SPECIMEN = "specimen"  # the specimen's code
    SENSOR = "sensor"  # the sensor's serial


@dataclass(frozen=True)
class PageLink:
    """A link of an upper room.

    Attributes:
        place: on which pages it stands.
        label: its words.
        url_name: where it leads.
        action: what a person must be allowed in the programme to see it.
        query: names under which the codes go into the query; without names they are arguments of
            the address.
    """

    place: Place
    label: str
    url_name: str
    action: Action = Action.SEE_PROGRAMME
    query: tuple[str, ...] = ()

    def url(self, codes: Sequence[str]) -> str:
        """The address for a programme, series or cell."""
        if not self.query:
            return reverse(self.url_name, args=list(codes))
        return f"{reverse(self.url_name)}?{urlencode(dict(zip(self.query, codes, strict=True)))}"


_links: list[PageLink] = []


def link_register(link: PageLink) -> None:
    """Add a link; called from an app's ``ready``."""
    if link not in _links:
        _links.append(link)


def links_for(place: Place, role: Role | None, *codes: str) -> list[dict[str, str]]:
    """The links that a person sees there, {label, url} each, in the order of the rooms.

    Args:
        place: the kind of page.
        role: the person's part in the programme.
        codes: of the programme, the series, or the series and the cell.
    """
    return [
        {"label": link.label, "url": link.url(codes)}
        for link in _links
        if link.place is place and allowed(role, link.action)
    ]
