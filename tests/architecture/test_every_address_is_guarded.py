"""Every address of the house stands in an access table, and every table is tested."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib import import_module
from typing import Any

import pytest
from django.urls import URLResolver, get_resolver

ROOMS = ("web", "matrix", "specimens", "conditioning", "results")
_HOLE = re.compile(r"<[^>]+>|\{[^}]+\}")


def addresses(resolver: Any = None, prefix: str = "/") -> Iterator[str]:
    """Every route of the resolver, its holes as they are written."""
    for pattern in (resolver or get_resolver()).url_patterns:
        route = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from addresses(pattern, route)
        else:
            yield route


def tables() -> dict[str, list[str]]:
    """The paths of each room's table, without queries."""
    found = {}
    for room in ROOMS:
        rows = import_module(f"tests.{room}.access_table").ACCESS
        found[room] = [row.path.partition("?")[0] for row in rows]
    return found


def _fits(route: str, path: str) -> bool:
    shape = "".join(
        re.escape(part) if not _HOLE.fullmatch(part) else r"[^?]+"
        for part in re.split(f"({_HOLE.pattern})", route)
    )
    return re.fullmatch(shape, path) is not None


def test_every_address_is_in_a_table():
    told = [path for paths in tables().values() for path in paths]
    routes = sorted(set(addresses()))
    assert len(routes) > 60
    assert [r for r in routes if not any(_fits(r, path) for path in told)] == []


@pytest.mark.parametrize("room", ROOMS)
def test_every_table_is_tested(room):
    assert import_module(f"tests.{room}.test_access")
