"""Read programmes, and who may see them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, QuerySet, Sum

from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.models import Cell, Membership, Programme, Series
from labmatrix.web.domain.roles import ALLOWED, NOT_YOURS, Action, Role, require
from labmatrix.web.models import Person


@dataclass(frozen=True)
class ProgrammeSeen:
    """A programme with the person's part in it, its series, cells and planned specimens."""

    programme: Programme
    role: Role
    series_count: int
    cell_count: int
    planned: int


def programme_role(actor: Person, programme: Programme) -> Role | None:
    """The person's part in a programme; None for a stranger and for one who has left."""
    if not actor.is_active:
        return None
    found = Membership.objects.filter(programme=programme, person_id=actor.pk).first()
    return Role(found.role) if found else None


def programme_get_roles(actor: Person) -> dict[int, Role]:
    """The person's part in each of their programmes, by the programme's row."""
    if not actor.is_active:
        return {}
    found = Membership.objects.filter(person_id=actor.pk).values_list("programme_id", "role")
    return {programme: Role(role) for programme, role in found}


def programme_list_visible(actor: Person) -> QuerySet[Programme]:
    """The programmes that a person is part of, by code."""
    mine = Membership.objects.filter(
        person_id=actor.pk,
        person__is_active=True,
        role__in=[str(role) for role in ALLOWED[Action.SEE_PROGRAMME]],
    )
    return Programme.objects.filter(id__in=mine.values("programme_id"))


def programme_list_ids(actor: Person) -> QuerySet[Programme, int]:
    """The rows of ``programme_list_visible``, in the same order."""
    return programme_list_visible(actor).values_list("id", flat=True)


def programme_list_page(actor: Person, ids: Sequence[int]) -> list[ProgrammeSeen]:
    """Some programmes of a person, in the order of the ids; four queries, however many."""
    roles = programme_get_roles(actor)
    programmes = Programme.objects.in_bulk(list(ids))
    series = {
        row["programme_id"]: row["n"]
        for row in Series.objects.filter(programme_id__in=ids)
        .order_by()
        .values("programme_id")
        .annotate(n=Count("id"))
    }
    cells = {
        row["series__programme_id"]: (row["n"], row["planned"])
        for row in Cell.objects.filter(series__programme_id__in=ids)
        .order_by()
        .values("series__programme_id")
        .annotate(n=Count("id"), planned=Sum("replicates"))
    }
    return [
        ProgrammeSeen(programmes[key], roles[key], series.get(key, 0), *cells.get(key, (0, 0)))
        for key in ids
    ]


def programme_get(actor: Person, code: str, action: Action) -> Programme:
    """The programme with this code, if the person may do this in it.

    Raises:
        NotFound: there is none, or it is not theirs, or their role does not reach.
    """
    programme = Programme.objects.filter(code=code).first()
    if programme is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    require(programme_role(actor, programme), action)
    return programme


def membership_list_of_programme(programme: Programme) -> QuerySet[Membership]:
    """Who takes part, with the people, those who have left last."""
    return (
        Membership.objects.filter(programme=programme)
        .select_related("person")
        .order_by("-person__is_active", "role", "person__username")
    )


def person_get_by_username(username: str) -> Person:
    """The person who signs in with this name.

    Raises:
        NotFound: nobody does.
    """
    person = Person.objects.filter(username=username).first()
    if person is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return person
