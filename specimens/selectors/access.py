"""Which specimens and subjects a person may reach."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet

from labmatrix.evidence.models import Subject
from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.models import Membership
from labmatrix.web.domain.roles import NOT_YOURS, Action, Role, allowed, require
from labmatrix.web.models import Person
from specimens.models import Specimen


def programme_roles(actor: Person) -> dict[str, Role]:
    """The person's role in each programme, by the programme's code."""
    rows = Membership.objects.filter(person=actor).values_list("programme__code", "role")
    return {code: Role(role) for code, role in rows}


def subject_role(subject: Subject, roles: dict[str, Role], actor: Person) -> Role | None:
    """The role that counts for a subject: of its programme, or of the laboratory for machines."""
    if subject.kind == Subject.Kind.MACHINE:
        return actor.role
    return roles.get(subject.programme_code)


def subject_get(*, actor: Person, code: str, action: Action) -> Subject:
    """A subject by its code, if the person may do this with it.

    Raises:
        NotFound: not there, not theirs, or beyond their role.
    """
    subject = Subject.objects.filter(code=code).first()
    if subject is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    require(subject_role(subject, programme_roles(actor), actor), action)
    return subject


def specimen_list_visible(*, actor: Person, action: Action = Action.SEE_WORK) -> QuerySet[Specimen]:
    """Specimens of the programmes in which the person may do this."""
    codes: Iterable[str] = [
        code for code, role in programme_roles(actor).items() if allowed(role, action)
    ]
    return Specimen.objects.filter(subject__programme_code__in=codes)


def specimen_get(*, actor: Person, code: str, action: Action = Action.SEE_WORK) -> Specimen:
    """A specimen by its code, with cell, series, programme and state.

    Raises:
        NotFound: not there, not theirs, or beyond their role.
    """
    specimen = (
        Specimen.objects.filter(code=code)
        .select_related("subject", "cell__series__programme", "state")
        .first()
    )
    if specimen is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    require(subject_role(specimen.subject, programme_roles(actor), actor), action)
    return specimen
