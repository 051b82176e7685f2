"""Everything about one specimen, for its page and for the API."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Prefetch, prefetch_related_objects

from labmatrix.matrix.domain.route import LevelValue
from labmatrix.matrix.models import CellLevel
from labmatrix.matrix.selectors.cell import cell_get_levels
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import Person
from specimens.domain.ages import Ages
from specimens.domain.life import Life
from specimens.domain.life_read import life_from
from specimens.domain.progress import StageSeen, route_progress
from specimens.models import Deviation, Event, Specimen
from specimens.selectors.access import programme_roles, specimen_get
from specimens.selectors.event import Standing, event_standings
from specimens.selectors.specimen import (
    location_list,
    specimen_ages,
    specimen_reference_instant,
)

EVENTS_SHOWN = 200


@dataclass(frozen=True)
class SpecimenSheet:
    """A specimen with its state, its route and its events.

    Attributes:
        specimen: the row, with its state.
        role: of the person who asks, in the programme.
        at: the instant for which ages are told and what goes on is counted.
        order: ids of all its events in the order of the fold.
        events: some of them, newest last.
        standings: of those that do not simply stand.
    """

    specimen: Specimen
    role: Role | None
    at: datetime
    ages: Ages
    levels: dict[str, LevelValue]
    locations: list[dict[str, Any]]
    life: Life
    progress: tuple[StageSeen, ...]
    deviations: list[Deviation]
    conflicts: list[dict[str, str]]
    order: Sequence[str]
    events: list[Event]
    standings: dict[str, Standing]


def specimen_sheet(
    *,
    actor: Person,
    code: str,
    now: datetime,
    at: datetime | None = None,
    skip: int = 0,
    most: int = EVENTS_SHOWN,
) -> SpecimenSheet:
    """All about a specimen; the number of queries does not depend on its events.

    Args:
        actor: who asks.
        code: the specimen's.
        now: the present instant.
        at: the instant for the ages; the end or now unless given.
        skip: how many of the newest events to leave out.
        most: how many events to read.

    Raises:
        NotFound: not there, not theirs, or beyond their role.
    """
    specimen = specimen_get(actor=actor, code=code)
    entries = CellLevel.objects.select_related("factor", "level").order_by("factor__position", "id")
    prefetch_related_objects([specimen.cell], Prefetch("cell_levels", queryset=entries))
    folded = specimen.state.folded
    instant = specimen_reference_instant(specimen, at, now)
    life = life_from(folded["life"])
    order: list[str] = folded["order"]
    last = max(0, len(order) - skip)
    return SpecimenSheet(
        specimen=specimen,
        role=programme_roles(actor).get(specimen.subject.programme_code),
        at=instant,
        ages=specimen_ages(specimen, instant),
        levels=cell_get_levels(specimen.cell),
        locations=location_list(specimen),
        life=life,
        progress=route_progress(specimen.planned_route, life, instant),
        deviations=list(specimen.deviations.all()),
        conflicts=folded["conflicts"],
        order=order,
        events=_events(order[max(0, last - most) : last]),
        standings=event_standings(folded),
    )


def _events(ids: Sequence[str]) -> list[Event]:
    keys = [uuid.UUID(key) for key in ids]
    rows = Event.objects.select_related("subject").in_bulk(keys)
    return [rows[key] for key in keys]
