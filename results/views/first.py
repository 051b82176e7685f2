"""The first page: each person's first question, answered before they ask."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, Role, allowed
from results.selectors.first_machines import machines_now
from results.selectors.first_page import codes_with, states_stale, to_do_get, waiting_get
from results.selectors.first_programmes import programmes_now
from results.selectors.first_said import said_so_far
from results.selectors.first_steps import first_steps_list
from results.services.stale import may_ask_stale
from specimens.selectors.access import programme_roles

# What a role asks first comes first; a part that a person may not see is left out.
_ORDER: dict[Role, tuple[str, ...]] = {
    Role.LEAD: ("programmes", "said", "waiting", "to_do", "machines"),
    Role.MANAGER: ("machines", "to_do", "waiting", "programmes"),
    Role.TECHNICIAN: ("to_do", "waiting", "machines", "programmes"),
    Role.SPONSOR: ("programmes",),
}


class FirstPage(View):
    """What waits, what is due, what stands where, how far it is; the role decides the order."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The page."""
        actor, at = actor_of(request), now()
        roles = programme_roles(actor)
        today = timezone.localdate(at)
        context: dict[str, Any] = {
            "now": at,
            "programmes": programmes_now(actor=actor, roles=roles, today=today),
            "may_start": allowed(actor.role, Action.START_PROGRAMME),
            "parts": _ORDER[actor.role],
            "first_steps": first_steps_list(roles),
            "role": str(actor.role),
        }
        if actor.role is Role.LEAD:
            context["said"] = said_so_far(roles)
        if codes_with(roles, Action.SEE_WORK):
            context["waiting"] = waiting_get(actor=actor, roles=roles)
            context["to_do"] = to_do_get(roles=roles, now=at)
            context["may_ask_stale"] = may_ask_stale(actor)
            context["stale"] = states_stale(roles=roles)
        if allowed(actor.role, Action.SEE_MACHINES):
            context["machines"] = machines_now(actor=actor, roles=roles, now=at, today=today)
        return render(request, "results/first.html", context)
