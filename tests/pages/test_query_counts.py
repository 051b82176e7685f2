"""How many questions a page asks the database does not grow with how much there is."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labmatrix.evidence.models import Record
from results.services.stale import _AT_ONCE
from specimens.models import Event, Specimen
from tests.pages.outcomes import addresses_read, filled_path, signed_in
from tests.pages.twins import twice
from tests.pages.world import World

STALE_QUESTIONS = 8  # for each group of records whose inputs are gathered together
_VALUE = re.compile(r"'[^']*'|\b\d+\b|IN \([^)]*\)")


def _stale_groups() -> int:
    return -(-Record.objects.filter(reductions__is_current=True).distinct().count() // _AT_ONCE)


def _for_each_group() -> int:
    return STALE_QUESTIONS * (_stale_groups() - 1)


# Addresses that may ask more often than before, and how many more questions at most: what is out
# of date is looked for in all records that the person may have reduced again, a fixed number of
# them at a time, so that memory stays bounded.
MAY_GROW: dict[str, Callable[[], int]] = {
    "/records/stale/": _for_each_group,
    "/records/stale/state/": _for_each_group,
    "/api/reductions/stale/": _for_each_group,
}


def asked_paths(world: World) -> dict[str, str]:
    """Each address that the lead may read, filled in from the first scene that has it."""
    client, found = signed_in(world, "lead"), {}
    for row in addresses_read():
        for scene in ("full", "cycled"):
            path = filled_path(row.path, world.scenes[scene])
            # Asked once before anything is counted, so that what is kept in memory is there.
            if path is not None and client.get(path).status_code == 200:
                found[row.path] = path
                break
    return found


def questions(client: Client, path: str) -> list[str]:
    """What one answer asks the database."""
    with CaptureQueriesContext(connection) as seen:
        answer = client.get(path)
        if answer.streaming:
            b"".join(answer)  # type: ignore[arg-type]
    assert answer.status_code == 200, f"{path} answers {answer.status_code}"
    return [str(query["sql"]) for query in seen.captured_queries]


def _came_oftener(before: list[str], after: list[str]) -> str:
    """The questions that grew most, without their values."""
    shapes = [Counter(_VALUE.sub("?", sql) for sql in asked) for asked in (before, after)]
    grown = (shapes[1] - shapes[0]).most_common(3)
    return "\n".join(f"    {n} more: … {sql[sql.find('FROM') :][:300]}" for sql, n in grown)


def _counts() -> tuple[int, int, int]:
    return Specimen.objects.count(), Event.objects.count(), Record.objects.count()


def test_no_page_and_no_list_asks_more_when_there_is_more(world: World) -> None:
    paths = asked_paths(world)
    # Every address that the table gives the lead is asked, in one scene or the other.
    promised = {row.path for row in addresses_read() if row.status_for("lead") == 200}
    assert promised - set(paths) == set()
    client, had = signed_in(world, "lead"), _counts()
    before = {row: questions(client, path) for row, path in paths.items()}
    assert all(before[row] for row in ("/", "/specimens/", "/api/specimens/", "/api/events/"))
    assert _stale_groups() == 1
    twice()
    assert all(now >= 2 * then for then, now in zip(had, _counts(), strict=True))
    grown = []
    for row, path in paths.items():
        after = questions(client, path)
        allowed = len(before[row]) + (MAY_GROW[row]() if row in MAY_GROW else 0)
        if len(after) > allowed:
            told = _came_oftener(before[row], after)
            grown.append(f"{row}: {len(before[row])}, then {len(after)}\n{told}")
    assert grown == [], "\n".join(grown)
