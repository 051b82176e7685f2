"""Set up the laboratory and its people."""

from __future__ import annotations

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import Laboratory, Person
from labmatrix.web.zones import check_zone


@transaction.atomic
def laboratory_setup(*, name: str, time_zone: str, is_invented: bool = False) -> Laboratory:
    """Name an empty installation.

    Raises:
        RuleBroken: ``laboratory.exists`` when it has a name already.
        ShapeError: ``laboratory.time-zone`` for a zone that is not in the IANA data base.
    """
    check_zone(time_zone)
    existing = Laboratory.objects.first()
    if existing is not None:
        raise RuleBroken(
            "laboratory.exists",
            f"This installation already serves {existing.name}; a second laboratory needs an "
            "installation of its own.",
        )
    return Laboratory.objects.create(
        id=1, name=name.strip(), time_zone=time_zone, is_invented=is_invented
    )


@transaction.atomic
def person_add(
    *,
    username: str,
    password: str,
    role: Role,
    display_name: str = "",
    email: str = "",
    is_demo: bool = False,
) -> Person:
    """Someone who can sign in.

    Raises:
        RuleBroken: ``person.name-taken``.
        ShapeError: ``person.password`` with the reasons.
    """
    if Person.objects.filter(username=username).exists():
        raise RuleBroken("person.name-taken", f"The sign-in name {username!r} is taken.")
    try:
        if not is_demo:
            validate_password(password)
    except ValidationError as error:
        raise ShapeError("person.password", " ".join(error.messages)) from error
    return Person.objects.create_user(
        username=username,
        password=password,
        laboratory_role=str(role),
        display_name=display_name,
        email=email,
        is_demo=is_demo,
    )
