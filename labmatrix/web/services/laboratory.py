"""Set up the laboratory and its people."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from labmatrix.kernel.clock import now as clock_now
from labmatrix.kernel.errors import RangeError, RuleBroken, ShapeError
from labmatrix.kernel.text import check_seen
from labmatrix.web.domain.roles import Role
from labmatrix.web.domain.sign_in_name import check_sign_in_name
from labmatrix.web.domain.unit_systems import SI, SYSTEMS
from labmatrix.web.facts import fact_transaction, person_fact
from labmatrix.web.models import Laboratory, Person
from labmatrix.web.selectors.laboratory import laboratory_get
from labmatrix.web.services.password import password_check
from labmatrix.web.zones import check_zone


@transaction.atomic
def laboratory_setup(
    *, name: str, time_zone: str, unit_system: str = SI, is_invented: bool = False
) -> Laboratory:
    """Name an empty installation.

    Args:
        name: as on reports.
        time_zone: IANA name, in which schedules are read.
        unit_system: what people are shown until they choose.
        is_invented: all data are made up; pages and exports say so.

    Raises:
        RangeError: a unit system that there is not.
        RuleBroken: ``laboratory.exists`` when it has a name already.
        ShapeError: ``laboratory.time-zone`` for a zone that is not in the IANA data base.
    """
    check_zone(time_zone)
    if unit_system not in SYSTEMS:
        raise RangeError("unit_system", unit_system[:40], ", ".join(SYSTEMS))
    shown = check_seen(name, argument="The laboratory's name", at_most=120)
    if not shown:
        raise ShapeError("text.empty", "The laboratory's name is empty; a name is needed.")
    existing = Laboratory.objects.first()
    if existing is not None:
        raise RuleBroken(
            "laboratory.exists",
            f"This installation already serves {existing.name}; a second laboratory needs an "
            "installation of its own.",
        )
    return Laboratory.objects.create(
        id=1, name=shown, time_zone=time_zone, unit_system=unit_system, is_invented=is_invented
    )


def person_add(
    *,
    username: str,
    password: str,
    role: Role,
    display_name: str = "",
    display_role: str = "",
    email: str = "",
    is_demo: bool = False,
    actor: Person | None = None,
    now: datetime | None = None,
) -> Person:
    """Someone who can sign in.

    Args:
        username: the sign-in name.
        password: checked, except for the demo's people.
        role: part in the laboratory.
        display_name: what pages show; empty for the sign-in name.
        display_role: what pages say the person does, such as "doctoral student".
        email: where letters go; empty for none.
        is_demo: whether the password is known to everyone.
        actor: who lets them in; None for whoever runs the installation.
        now: when; None for this moment.

    Raises:
        RuleBroken: ``person.name-taken``, also where only capital letters differ.
        ShapeError: ``person.name-shape``, ``person.password``, or a text that cannot be.
    """
    name = check_sign_in_name(username)
    person = Person(
        username=name,
        laboratory_role=str(role),
        display_name=check_seen(display_name, argument="The name on pages", at_most=120),
        display_role=check_seen(display_role, argument="What the person does", at_most=60),
        email=email.strip(),
        is_demo=is_demo,
        unit_system=laboratory_get().unit_system,
    )
    if not is_demo:
        password_check(password, person)
    person.set_password(password)
    with fact_transaction():
        if Person.objects.filter(username__iexact=name).exists():
            raise RuleBroken("person.name-taken", f"The sign-in name {name!r} is taken.")
        person.save(force_insert=True)
        person_fact(
            actor=str(actor.pk if actor else person.pk),
            person=str(person.pk),
            what="joined",
            now=now or clock_now(),
            more={"role": str(role)},
        )
    return person
