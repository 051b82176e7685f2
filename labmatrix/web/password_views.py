"""Pages around passwords."""

from __future__ import annotations

from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import UserError
from labmatrix.web.actor import actor_of
from labmatrix.web.mail import letters_send_later
from labmatrix.web.models import Person
from labmatrix.web.password_forms import ForgottenForm, PasswordChangeForm, TwicePassword
from labmatrix.web.place import request_place
from labmatrix.web.refused import refuse, sent, status_shown
from labmatrix.web.services.password import (
    password_change,
    reset_ask,
    reset_complete,
    reset_person,
)

_BACKEND = "django.contrib.auth.backends.ModelBackend"


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def password_change_page(request: HttpRequest) -> HttpResponse:
    """Change one's own password; this device stays signed in, every other is signed out."""
    actor = actor_of(request)
    form = PasswordChangeForm(sent(request))
    if request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        # A copy, so that a refused password never signs this page's own session out.
        mine = Person.objects.get(pk=actor.pk)
        try:
            told = password_change(
                actor=mine, present=asked["present"], password=asked["password"], now=now()
            )
        except UserError as error:
            column = "present" if error.code == "person.password-wrong" else "password"
            refuse(form, error, column)
        else:
            if mine.email:
                letters_send_later([(mine.email, told)])
            request.session.flush()  # its row is gone; a new one carries on
            login(request, mine, backend=_BACKEND)
            messages.success(
                request, "The new password counts; other devices and API tokens are signed out."
            )
            return redirect("web:me")
    status = status_shown(request, form)
    return render(request, "web/password_change.html", {"form": form}, status=status)


@login_not_required
@require_http_methods(["GET", "POST"])
def password_forgotten(request: HttpRequest) -> HttpResponse:
    """Ask for a letter; the answer is the same whether anyone has this address."""
    form = ForgottenForm(sent(request))
    sent_letter = request.method == "POST" and form.is_valid()
    if sent_letter:
        letters = reset_ask(
            address=form.cleaned_data["address"], place=request_place(request), now=now()
        )
        letters_send_later(letters)
    context = {
        "form": form,
        "sent": sent_letter,
        "mail_goes_out": settings.MAIL_GOES_OUT,
        "hours": settings.PASSWORD_RESET_TIMEOUT // 3600,
    }
    status = 200 if sent_letter else status_shown(request, form)
    return render(request, "web/password_forgotten.html", context, status=status)


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def password_new(request: HttpRequest, person_id: UUID, token: str) -> HttpResponse:
    """Choose a password by the link of a letter."""
    person = reset_person(person_id=person_id, token=token)
    form = TwicePassword(sent(request))
    if request.method == "POST" and form.is_valid():
        password = form.cleaned_data["password"]
        try:
            reset_complete(person_id=person_id, token=token, password=password, now=now())
        except UserError as error:
            refuse(form, error, "password")
        else:
            messages.success(request, "The new password counts. Sign in with it.")
            return redirect("web:person-sign-in")
    context = {"form": form, "person": person}
    return render(request, "web/password_new.html", context, status=status_shown(request, form))
