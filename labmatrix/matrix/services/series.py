"""Start series, and change what they say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from labmatrix.evidence.services.ledger import ledger_transaction, plan_change_append
from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.matrix.domain.code import (
    DEFAULT_TEMPLATE,
    SERIES_CODE_MAX,
    check_code,
    check_template,
)
from labmatrix.matrix.domain.route import check_route
from labmatrix.matrix.domain.series_plan import (
    check_member,
    check_responses,
    check_route_template,
)
from labmatrix.matrix.domain.wording import check_text
from labmatrix.matrix.models import Programme, Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get_factors
from labmatrix.matrix.services.programme import CODE_TAKEN, TITLE_MAX
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person

BEGINNING = "start of the series"
WHY_MAX = 240
CHANGED_MEANWHILE = (
    "The {name} of {code} was changed since you looked at it. Nothing is written; open the page "
    "again to see it as it is now."
)


def series_subject(series: Series) -> str:
    """How the ledger names a series."""
    return f"series/{series.code}"


def check_why(why: str) -> str:
    """The reason of a change, which is needed.

    Raises:
        ShapeError: ``text.empty``, ``text.long`` or ``text.characters``.
    """
    return check_text(why, argument="The reason", at_most=WHY_MAX)


def series_create(
    *,
    actor: Person,
    programme: Programme,
    code: str,
    title: str,
    specimen_type: str,
    code_template: str = DEFAULT_TEMPLATE,
    route: Mapping[str, Any] | None = None,
    member: Mapping[str, Any] | None = None,
    responses: Sequence[str] = (),
    now: datetime,
) -> Series:
    """Start a series in a programme; factors and cells follow.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: a code, template, route, member or text that cannot be.
        RuleBroken: ``series.code-taken`` anywhere in the laboratory.
    """
    require(programme_role(actor, programme), Action.PLAN_MATRIX)
    values: dict[str, Any] = {
        "code": check_code(code, argument="The series' code", at_most=SERIES_CODE_MAX),
        "title": check_text(title, argument="The title", at_most=TITLE_MAX),
        "specimen_type": _specimen_type(specimen_type),
        "code_template": check_template(code_template),
        "route": check_route_template(route or {}),
        "member": check_member(member or {}),
        "responses": check_responses(responses),
    }
    with ledger_transaction():
        if Series.objects.filter(code=code).exists():
            raise RuleBroken("series.code-taken", CODE_TAKEN.format(code=code), value=code)
        series = Series.objects.create(programme=programme, **values)
        plan_change_append(
            actor=str(actor.id),
            subject=series_subject(series),
            before=None,
            after={**values, "programme": programme.code},
            why=BEGINNING,
            now=now,
        )
    return series


def series_change(
    *,
    actor: Person,
    series: Series,
    title: str | None = None,
    route: Mapping[str, Any] | None = None,
    member: Mapping[str, Any] | None = None,
    responses: Sequence[str] | None = None,
    why: str,
    seen: Mapping[str, str] | None = None,
    now: datetime,
) -> Series:
    """Change what a series says; what is None stays, as do code, type and template of codes.

    A route must be one that every level of the series' factors can follow.

    Args:
        actor: a lead of the programme.
        series: which.
        title, route, member, responses: what it is to say.
        why: the reason.
        seen: keys of what the actor looked at, by name; a change meanwhile is then refused.
        now: when.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: a route, member, text or reason that cannot be.
        RuleBroken: ``series.changed-meanwhile``.
    """
    with ledger_transaction():
        require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
        reason = check_why(why)
        after = _said(title=title, route=route, member=member, responses=responses)
        factors = series_get_factors(series)
        if factors and "route" in after:
            check_route(after["route"], {f.name: [v.setting for v in f.levels] for f in factors})
        series.refresh_from_db()
        _check_seen(series, seen or {})
        before = {name: getattr(series, name) for name in after}
        changed = [name for name in after if after[name] != before[name]]
        if not changed:
            return series
        for name in changed:
            setattr(series, name, after[name])
        series.save(update_fields=changed)
        plan_change_append(
            actor=str(actor.id),
            subject=series_subject(series),
            before={name: before[name] for name in changed},
            after={name: after[name] for name in changed},
            why=reason,
            now=now,
        )
    return series


def _said(
    *,
    title: str | None,
    route: Mapping[str, Any] | None,
    member: Mapping[str, Any] | None,
    responses: Sequence[str] | None,
) -> dict[str, Any]:
    """What is asked, each checked."""
    said: dict[str, Any] = {}
    if title is not None:
        said["title"] = check_text(title, argument="The title", at_most=TITLE_MAX)
    if route is not None:
        said["route"] = check_route_template(route)
    if member is not None:
        said["member"] = check_member(member)
    if responses is not None:
        said["responses"] = check_responses(responses)
    return said


def _check_seen(series: Series, seen: Mapping[str, str]) -> None:
    """Refuse to write over what somebody changed since it was looked at."""
    for name, key in seen.items():
        if content_key(getattr(series, name)) != key:
            raise RuleBroken(
                "series.changed-meanwhile",
                CHANGED_MEANWHILE.format(name=name, code=series.code),
                value=name,
            )


def _specimen_type(name: str) -> str:
    if name not in Series.SpecimenType.values:
        raise ShapeError(
            "series.specimen-type",
            f"The specimen type is {name!r}; allowed are {', '.join(Series.SpecimenType.values)}.",
            value=name,
        )
    return name
