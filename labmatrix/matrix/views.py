"""Pages of programmes."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, RuleBroken
from labmatrix.matrix.form_page import form_page
from labmatrix.matrix.forms import MemberForm, ProgrammeForm, SeriesForm
from labmatrix.matrix.links import Place, links_for
from labmatrix.matrix.selectors.plan_change import plan_change_list
from labmatrix.matrix.selectors.programme import (
    membership_list_of_programme,
    person_get_by_username,
    programme_get,
    programme_list_ids,
    programme_list_page,
    programme_role,
)
from labmatrix.matrix.selectors.series import series_list_of_programme
from labmatrix.matrix.services.programme import (
    membership_remove,
    membership_set,
    programme_create,
    programme_subject,
)
from labmatrix.matrix.services.series import series_create
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, Role, allowed, require
from labmatrix.web.models import Person
from labmatrix.web.refused import sent

NOBODY = "Nobody here signs in as {username!r}; a person is invited to the laboratory first."


def _programme_url(code: str) -> str:
    return reverse("matrix:programme-detail", args=[code])


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """The programmes that the person is part of, and what to do first where there are none."""
    actor = actor_of(request)
    context = {
        "programmes": programme_list_page(actor, list(programme_list_ids(actor))),
        "may_start": allowed(actor.role, Action.START_PROGRAMME),
    }
    return render(request, "matrix/home.html", context)


@require_http_methods(["GET", "POST"])
def programme_new(request: HttpRequest) -> HttpResponse:
    """Start a programme."""
    actor = actor_of(request)
    require(actor.role, Action.START_PROGRAMME)
    form = ProgrammeForm(sent(request))

    def write() -> tuple[str, str]:
        programme = programme_create(actor=actor, now=now(), **form.cleaned_data)
        words = f"{programme.code} is started; you are its lead. Its first series comes next."
        return words, _programme_url(programme.code)

    return form_page(
        request,
        form,
        write,
        back=reverse("matrix:home"),
        title="Start a programme",
        about="One sponsor's question. You become its lead and add the others.",
        button="Start the programme",
        back_label="Programmes",
    )


@require_GET
def programme_detail(request: HttpRequest, code: str) -> HttpResponse:
    """One programme: its question, its series, its people."""
    actor = actor_of(request)
    programme = programme_get(actor, code, Action.SEE_PROGRAMME)
    role = programme_role(actor, programme)
    works = allowed(role, Action.SEE_WORK)
    context = {
        "programme": programme,
        "role": role,
        "series": series_list_of_programme(programme),
        "members": membership_list_of_programme(programme) if works else (),
        "changes": plan_change_list(programme_subject(programme)) if works else (),
        "may_plan": allowed(role, Action.PLAN_MATRIX),
        "may_invite": allowed(actor.role, Action.LET_PEOPLE_IN),
        "links": links_for(Place.PROGRAMME, role, programme.code),
    }
    return render(request, "matrix/programme_detail.html", context)


@require_http_methods(["GET", "POST"])
def series_new(request: HttpRequest, code: str) -> HttpResponse:
    """Start a series in a programme."""
    actor = actor_of(request)
    programme = programme_get(actor, code, Action.PLAN_MATRIX)
    form = SeriesForm(sent(request))

    def write() -> tuple[str, str]:
        series = series_create(actor=actor, programme=programme, now=now(), **form.cleaned_data)
        words = f"{series.code} is started. Its matrix comes next: from a file, or by factors."
        return words, reverse("matrix:series-detail", args=[series.code])

    return form_page(
        request,
        form,
        write,
        back=_programme_url(code),
        title="Start a series",
        about="One type of specimen, one set of factors, one set of responses.",
        button="Start the series",
        back_label=code,
    )


@require_http_methods(["GET", "POST"])
def member_set(request: HttpRequest, code: str) -> HttpResponse:
    """Give a person a part in a programme."""
    actor = actor_of(request)
    programme = programme_get(actor, code, Action.PLAN_MATRIX)
    form = MemberForm(sent(request))
    back = _programme_url(code)

    def write() -> tuple[str, str]:
        person, role = _person(form.cleaned_data["username"]), form.cleaned_data["role"]
        if not role:
            membership_remove(actor=actor, programme=programme, person=person, now=now())
            return f"{person.shown_name} no longer takes part in {code}.", back
        membership_set(actor=actor, programme=programme, person=person, role=Role(role), now=now())
        return f"{person.shown_name} is {role} of {code}.", back

    return form_page(
        request,
        form,
        write,
        back=back,
        title="Who takes part",
        about="Give a person a part in the programme, another part, or none any more.",
        button="Give this part",
        back_label=code,
    )


def _person(username: str) -> Person:
    try:
        return person_get_by_username(username)
    except NotFound as error:
        raise RuleBroken("membership.nobody", NOBODY.format(username=username)) from error
