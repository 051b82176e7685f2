"""A person's own page."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from labmatrix.kernel.errors import UserError
from labmatrix.web.actor import actor_of
from labmatrix.web.forms import ChoicesForm
from labmatrix.web.models import Person
from labmatrix.web.refused import refuse, sent, status_shown
from labmatrix.web.selectors.laboratory import laboratory_get
from labmatrix.web.services.choices import choices_set


@require_http_methods(["GET", "POST"])
def me(request: HttpRequest) -> HttpResponse:
    """Units, time zone, light, and the name on pages."""
    actor = actor_of(request)
    form = ChoicesForm.filled(sent(request), laboratory_get(), actor)
    if request.method == "POST" and form.is_valid():
        try:
            # A copy, so that a refused choice never reaches the page that says so.
            choices_set(actor=Person.objects.get(pk=actor.pk), **form.cleaned_data)
        except UserError as error:
            refuse(form, error)
        else:
            messages.success(request, "Every page follows from now on.")
            return redirect("web:me")
    context = {"form": form, "person": actor}
    return render(request, "web/me.html", context, status=status_shown(request, form))
