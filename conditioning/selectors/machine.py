"""Read machines, and what stands in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from django.db.models.functions import Length

from conditioning.models import Machine
from labmatrix.kernel.clock import parse_instant
from labmatrix.kernel.errors import NotFound
from labmatrix.web.domain.roles import NOT_YOURS, Action, Role, allowed, require
from labmatrix.web.models import Person
from specimens.models import Event, SpecimenState
from specimens.selectors.access import programme_roles

PLACE_MAX = 200  # characters that a state keeps of its places


@dataclass(frozen=True)
class Occupant:
    """A specimen that is in a machine: as a fact of its events, whatever is booked."""

    specimen: str
    programme_code: str
    position: str
    run: str
    since: datetime
    is_cycling: bool


def machine_list(*, actor: Person) -> QuerySet[Machine]:
    """The laboratory's machines.

    Raises:
        NotFound: beyond the person's role.
    """
    require(actor.role, Action.SEE_MACHINES)
    return Machine.objects.order_by("code")


def machine_get(*, actor: Person, code: str, action: Action = Action.SEE_MACHINES) -> Machine:
    """A machine by its code.

    Raises:
        NotFound: not there, or beyond the person's role.
    """
    require(actor.role, action)
    machine = Machine.objects.select_related("subject").filter(code=code).first()
    if machine is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return machine


def occupancy_of(machine: Machine) -> tuple[Occupant, ...]:
    """Specimens that are in a machine now, by position; one query, however many.

    A specimen is in when it entered and did not leave, and while a cycling run on it goes on.
    """
    subjects = Event.objects.filter(
        kind__in=("entered", "cycling-started"), payload__machine=machine.code
    ).values("subject_id")
    # Whoever is in a machine has it among its places (which a list cuts), or cycles; all others
    # left long ago.
    named = Q(place__contains=machine.code) | Q(place_length__gte=PLACE_MAX)
    states = (
        SpecimenState.objects.filter(specimen__subject_id__in=subjects)
        .annotate(place_length=Length("place"))
        .filter(Q(stage="cycling") | named)
        .select_related("specimen__subject")
        .defer("specimen__route", "specimen__member", "specimen__measured")
    )
    found = [occupant for state in states for occupant in _occupants(state, machine.code)]
    return tuple(sorted(found, key=lambda o: (_place_key(o.position), o.specimen)))


def occupants_as_seen_by(
    actor: Person, occupants: Sequence[Occupant], roles: Mapping[str, Role] | None = None
) -> tuple[Occupant, ...]:
    """Occupants with the codes of other people's programmes and runs left empty.

    Args:
        actor: who looks.
        occupants: of a machine.
        roles: the person's part by programme, where it has been read already.
    """
    roles = programme_roles(actor) if roles is None else roles
    return tuple(
        o
        if allowed(roles.get(o.programme_code), Action.SEE_WORK)
        else replace(o, specimen="", programme_code="", run="")
        for o in occupants
    )


def _occupants(state: SpecimenState, code: str) -> list[Occupant]:
    life: dict[str, Any] = state.folded["life"]
    runs = life["runs"]
    cycling = bool(runs) and runs[-1]["until"] is None and runs[-1]["machine"] == code
    stays = [s for s in life["stays"] if s["until"] is None and s["machine"] == code]
    if not stays and cycling:
        stays = [{"position": "", "run": "", "since": runs[-1]["since"]}]
    return [
        Occupant(
            specimen=state.specimen.code,
            programme_code=state.specimen.subject.programme_code,
            position=stay["position"],
            run=stay["run"],
            since=parse_instant(stay["since"]),
            is_cycling=cycling,
        )
        for stay in stays
    ]


def _place_key(position: str) -> tuple[int, int, str]:
    """Numbers in their order, then names."""
    return (0, int(position), "") if position.isdecimal() else (1, 0, position)


def occupancy_now() -> dict[str, list[Occupant]]:
    """Specimens that are in any machine now, by its code; one query, however many."""
    states = (
        SpecimenState.objects.filter(end="")
        .filter(Q(stage="cycling") | ~Q(place=""))
        .select_related("specimen__subject")
        .order_by("specimen__code")
    )
    found: dict[str, list[Occupant]] = {}
    for state in states:
        life = state.folded["life"]
        codes = {stay["machine"] for stay in life["stays"] if stay["until"] is None}
        codes |= {run["machine"] for run in life["runs"][-1:] if run["until"] is None}
        for code in sorted(codes):
            found.setdefault(code, []).extend(_occupants(state, code))
    return found
