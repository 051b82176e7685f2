"""Pages on which people come and go."""

from __future__ import annotations

from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, UserError
from labmatrix.matrix.models import Programme
from labmatrix.matrix.people_forms import AddressForm, InvitationForm, JoinForm
from labmatrix.matrix.selectors.people import (
    invitation_list_open,
    person_fact_list,
    person_get,
    person_list,
)
from labmatrix.matrix.selectors.programme import programme_get, programme_get_roles
from labmatrix.matrix.services.invitation import (
    Issued,
    invitation_back,
    invitation_create,
    invitation_open,
    invitation_take,
    invitation_withdraw,
)
from labmatrix.matrix.services.people import person_erase, person_leave
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, Role, allowed, require
from labmatrix.web.mail import letter_send
from labmatrix.web.models import Person
from labmatrix.web.password_forms import TwicePassword
from labmatrix.web.refused import refuse, sent, status_shown

COLUMNS = {
    "person.name-taken": "username",
    "person.name-shape": "username",
    "person.password": "password",
}


@require_GET
def people(request: HttpRequest) -> HttpResponse:
    """Who is here, who was, who is invited."""
    actor = actor_of(request)
    context = {"people": person_list(actor), "invitations": invitation_list_open(now())}
    return render(request, "matrix/people.html", context)


@never_cache
@require_http_methods(["GET", "POST"])
def person_invite(request: HttpRequest) -> HttpResponse:
    """Invite someone; the page shows the link where no letter reaches them."""
    actor = actor_of(request)
    require(actor.role, Action.LET_PEOPLE_IN)
    led = _programmes_led(actor)
    form = InvitationForm(led, sent(request))
    if request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        code = asked["programme"]
        try:
            issued = invitation_create(
                actor=actor,
                email=asked["email"],
                role=Role(asked["role"]),
                programme=programme_get(actor, code, Action.PLAN_MATRIX) if code else None,
                now=now(),
            )
        except UserError as error:
            refuse(form, error, "email")
        else:
            return _invited(request, issued)
    status = status_shown(request, form)
    return render(request, "matrix/person_invite.html", {"form": form}, status=status)


def _programmes_led(actor: Person) -> list[Programme]:
    roles = programme_get_roles(actor)
    led = [key for key, role in roles.items() if allowed(role, Action.PLAN_MATRIX)]
    return list(Programme.objects.filter(pk__in=led))


def _invited(request: HttpRequest, issued: Issued) -> HttpResponse:
    email = issued.invitation.email
    sent = letter_send(to=email, letter=issued.letter)
    context = {
        "email": email,
        "link": issued.link,
        "invitation": issued.invitation,
        "sent": sent and settings.MAIL_GOES_OUT,
        "mail_goes_out": settings.MAIL_GOES_OUT,
    }
    return render(request, "matrix/person_invited.html", context)


@require_POST
def invitation_withdrawn(request: HttpRequest, invitation_id: UUID) -> HttpResponse:
    """Close a door that was held open."""
    invitation_withdraw(actor=actor_of(request), invitation_id=invitation_id, now=now())
    messages.success(request, "The invitation is withdrawn; its link lets nobody in any more.")
    return redirect("matrix:people")


@require_GET
def person_detail(request: HttpRequest, person_id: UUID) -> HttpResponse:
    """One person: parts, coming and going, and what can be done."""
    actor = actor_of(request)
    person = person_get(actor, person_id)
    context = {"person": person, "facts": person_fact_list(person)}
    return render(request, "matrix/person_detail.html", context)


@require_http_methods(["GET", "POST"])
def person_out(request: HttpRequest, person_id: UUID) -> HttpResponse:
    """End a person's access, after saying what that means."""
    actor = actor_of(request)
    person = person_get(actor, person_id)
    refused, status = "", 200
    if request.method == "POST":
        try:
            person_leave(actor=actor, person=person, now=now())
        except NotFound:
            raise
        except UserError as error:
            refused, status = error.message, error.status
        else:
            if person.pk == actor.pk:
                logout(request)
                return redirect("web:person-sign-in")
            messages.success(request, f"{person.shown_name} can no longer sign in.")
            return redirect("matrix:person-detail", person_id)
    context = {"person": person, "refused": refused}
    return render(request, "matrix/person_out.html", context, status=status)


@require_http_methods(["GET", "POST"])
def name_erase(request: HttpRequest, person_id: UUID) -> HttpResponse:
    """Erase the name of someone who has left, after saying what remains."""
    actor = actor_of(request)
    person = person_get(actor, person_id)
    refused, status = "", 200
    if request.method == "POST":
        try:
            pseudonym = person_erase(actor=actor, person=person, now=now())
        except NotFound:
            raise
        except UserError as error:
            refused, status = error.message, error.status
        else:
            messages.success(request, f"The name is erased; pages say “{pseudonym}” now.")
            return redirect("matrix:person-detail", person_id)
    context = {"person": person, "refused": refused}
    return render(request, "matrix/person_erase.html", context, status=status)


@never_cache
@require_http_methods(["GET", "POST"])
def person_return(request: HttpRequest, person_id: UUID) -> HttpResponse:
    """Let someone in again who has left."""
    actor = actor_of(request)
    person = person_get(actor, person_id)
    form = AddressForm(sent(request), initial={"email": person.email})
    if request.method == "POST" and form.is_valid():
        try:
            issued = invitation_back(
                actor=actor, person=person, email=form.cleaned_data["email"], now=now()
            )
        except UserError as error:
            refuse(form, error)
        else:
            return _invited(request, issued)
    context = {"form": form, "person": person}
    status = status_shown(request, form)
    return render(request, "matrix/person_return.html", context, status=status)


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def join(request: HttpRequest, token: str) -> HttpResponse:
    """Come in by the link of an invitation."""
    invitation = invitation_open(token=token, now=now())
    form = (TwicePassword if invitation.person else JoinForm)(sent(request))
    if request.method == "POST" and form.is_valid():
        asked = {name: value for name, value in form.cleaned_data.items() if name != "again"}
        try:
            person = invitation_take(token=token, now=now(), **asked)
        except UserError as error:
            refuse(form, error, COLUMNS.get(error.code))
        else:
            if request.user.is_authenticated:
                logout(request)  # whoever was signed in on this device is someone else
            messages.success(request, f"You are in. Sign in as {person.username}.")
            return redirect("web:person-sign-in")
    context = {"form": form, "invitation": invitation}
    return render(request, "matrix/join.html", context, status=status_shown(request, form))
