"""Start programmes, and say who takes part."""

from __future__ import annotations

from datetime import date, datetime

from labmatrix.evidence.services.ledger import ledger_transaction, plan_change_append
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.matrix.domain.code import PROGRAMME_CODE_MAX, check_code
from labmatrix.matrix.domain.wording import check_text
from labmatrix.matrix.models import Membership, Programme
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.web.domain.roles import Action, Role, require
from labmatrix.web.models import Person

TITLE_MAX = 160
QUESTION_MAX = 4000
CODE_TAKEN = "The code {code} is taken in this laboratory; each programme and series has its own."
DATES_TURNED = "The programme ends on {ends} and starts on {starts}; the end comes after the start."
LAST_LEAD = "{person} is the only lead of {programme}; name another lead first."
BEGINNING = "start of the programme"


def programme_subject(programme: Programme) -> str:
    """How the ledger names a programme."""
    return f"programme/{programme.code}"


def programme_create(
    *,
    actor: Person,
    code: str,
    title: str,
    sponsor_question: str = "",
    starts_on: date | None = None,
    ends_on: date | None = None,
    is_invented: bool = False,
    now: datetime,
) -> Programme:
    """Start a programme; whoever starts it becomes its lead.

    Raises:
        NotFound: the person's role in the laboratory does not reach.
        ShapeError: ``code.shape``, ``programme.dates`` or a text that cannot be.
        RuleBroken: ``programme.code-taken``.
    """
    require(actor.role if actor.is_active else None, Action.START_PROGRAMME)
    if starts_on and ends_on and ends_on < starts_on:
        raise ShapeError("programme.dates", DATES_TURNED.format(ends=ends_on, starts=starts_on))
    values = {
        "code": check_code(code, argument="The programme's code", at_most=PROGRAMME_CODE_MAX),
        "title": check_text(title, argument="The title", at_most=TITLE_MAX),
        "sponsor_question": check_text(
            sponsor_question,
            argument="The sponsor's question",
            at_most=QUESTION_MAX,
            may_be_empty=True,
            lines=True,
        ),
    }
    with ledger_transaction():
        if Programme.objects.filter(code=code).exists():
            raise RuleBroken("programme.code-taken", CODE_TAKEN.format(code=code), value=code)
        programme = Programme.objects.create(
            **values, starts_on=starts_on, ends_on=ends_on, is_invented=is_invented
        )
        Membership.objects.create(programme=programme, person=actor, role=str(Role.LEAD))
        plan_change_append(
            actor=str(actor.id),
            subject=programme_subject(programme),
            before=None,
            after={
                **values,
                "starts_on": starts_on.isoformat() if starts_on else None,
                "ends_on": ends_on.isoformat() if ends_on else None,
                "is_invented": is_invented,
                "members": {str(actor.id): str(Role.LEAD)},
            },
            why=BEGINNING,
            now=now,
        )
    return programme


def membership_set(
    *, actor: Person, programme: Programme, person: Person, role: Role, now: datetime
) -> Membership:
    """Give a person a part in a programme, or another part; the same part changes nothing.

    Raises:
        NotFound: the actor is not a lead of the programme.
        RuleBroken: ``membership.last-lead``, or ``membership.left`` for someone who has left.
    """
    with ledger_transaction():
        require(programme_role(actor, programme), Action.PLAN_MATRIX)
        if not person.is_active:
            raise RuleBroken(
                "membership.left",
                "This person has left the laboratory; only people who can sign in take part.",
            )
        found = Membership.objects.filter(programme=programme, person=person).first()
        before = found.role if found else None
        if found is not None and before == str(role):
            return found
        if before == str(Role.LEAD):
            _keep_a_lead(programme, person)
        found, _ = Membership.objects.update_or_create(
            programme=programme, person=person, defaults={"role": str(role)}
        )
        _append_member(programme, person, actor=actor, before=before, after=str(role), now=now)
    return found


def membership_remove(
    *, actor: Person, programme: Programme, person: Person, now: datetime
) -> None:
    """End a person's part in a programme; nothing happens where there is none.

    Raises:
        NotFound: the actor is not a lead of the programme.
        RuleBroken: ``membership.last-lead``.
    """
    with ledger_transaction():
        require(programme_role(actor, programme), Action.PLAN_MATRIX)
        found = Membership.objects.filter(programme=programme, person=person).first()
        if found is None:
            return
        if found.role == str(Role.LEAD):
            _keep_a_lead(programme, person)
        found.delete()
        _append_member(programme, person, actor=actor, before=found.role, after=None, now=now)


def _keep_a_lead(programme: Programme, person: Person) -> None:
    leads = Membership.objects.filter(
        programme=programme, role=str(Role.LEAD), person__is_active=True
    )
    if not leads.exclude(person=person).exists():
        raise RuleBroken(
            "membership.last-lead",
            LAST_LEAD.format(person=person.shown_name, programme=programme.code),
        )


def _append_member(
    programme: Programme,
    person: Person,
    *,
    actor: Person,
    before: str | None,
    after: str | None,
    now: datetime,
) -> None:
    """Record a change of parts; the ledger knows people by their ids only."""
    member = str(person.id)
    plan_change_append(
        actor=str(actor.id),
        subject=programme_subject(programme),
        before={"members": {member: before}} if before else None,
        after={"members": {member: after}} if after else None,
        why="membership",
        now=now,
    )
