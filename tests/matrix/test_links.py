"""Links that the rooms above hang on this room's pages."""

from __future__ import annotations

import pytest

from labmatrix.matrix import links
from labmatrix.matrix.links import PageLink, Place, link_register, links_for
from labmatrix.web.domain.roles import Action, Role


@pytest.fixture(autouse=True)
def _own_registry(monkeypatch):
    monkeypatch.setattr(links, "_links", [])


def test_a_link_stands_on_its_place_for_those_who_may():
    link_register(PageLink(Place.SERIES, "Everything", "matrix:series-detail", Action.SEE_WORK))
    assert links_for(Place.SERIES, Role.TECHNICIAN, "QV-B") == [
        {"label": "Everything", "url": "/series/QV-B/"}
    ]
    assert links_for(Place.SERIES, Role.SPONSOR, "QV-B") == []
    assert links_for(Place.SERIES, None, "QV-B") == []
    assert links_for(Place.CELL, Role.TECHNICIAN, "QV-B", "P2") == []


def test_codes_may_go_into_the_query():
    link_register(PageLink(Place.CELL, "Home", "matrix:home", query=("series", "cell")))
    (link,) = links_for(Place.CELL, Role.SPONSOR, "QV-B", "P2&x=1")
    assert link["url"] == "/programmes/?series=QV-B&cell=P2%26x%3D1"


def test_the_same_link_is_registered_once():
    link = PageLink(Place.PROGRAMME, "Home", "matrix:programme-detail")
    link_register(link)
    link_register(link)
    assert len(links_for(Place.PROGRAMME, Role.LEAD, "QV")) == 1
