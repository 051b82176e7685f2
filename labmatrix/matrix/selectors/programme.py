"""Read programmes, and who may see them."""

from __future__ import annotations

from django.db.models import Count, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.models import Cell, Membership, Programme
from labmatrix.web.domain.roles import ALLOWED, NOT_YOURS, Action, Role, require
from labmatrix.web.models import Person


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
    """The programmes that a person is part of, ``role_here`` being their part in each."""
    mine = Membership.objects.filter(person_id=actor.pk, person__is_active=True)
    return Programme.objects.filter(
        id__in=mine.filter(role__in=[str(r) for r in ALLOWED[Action.SEE_PROGRAMME]]).values(
            "programme_id"
        )
    ).annotate(role_here=Subquery(mine.filter(programme_id=OuterRef("id")).values("role")[:1]))


def programme_list_with_counts(actor: Person) -> QuerySet[Programme]:
    """As ``programme_list_visible``, with ``series_count``, ``cell_count``, ``planned``."""
    cells = Cell.objects.filter(series__programme_id=OuterRef("id")).order_by()
    by_programme = cells.values("series__programme_id")
    return programme_list_visible(actor).annotate(
        series_count=Count("series"),
        cell_count=Coalesce(Subquery(by_programme.annotate(n=Count("id")).values("n")), 0),
        planned=Coalesce(Subquery(by_programme.annotate(n=Sum("replicates")).values("n")), 0),
    )


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
