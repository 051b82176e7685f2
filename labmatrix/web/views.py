"""Sign in, sign out, and the supervisor's two questions."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils.decorators import method_decorator
from django.views.decorators.cache import never_cache

from labmatrix.kernel.clock import now
from labmatrix.web.forms import SignInForm
from labmatrix.web.health import health_now
from labmatrix.web.refused import status_shown


@method_decorator(login_not_required, name="dispatch")
class PersonSignIn(LoginView):
    """Sign in with name and password."""

    template_name = "web/person_sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """The form again, as every refused form."""
        context = self.get_context_data(form=form)
        return self.render_to_response(context, status=status_shown(self.request, form))


class PersonSignOut(LogoutView):
    """Sign out; takes POST only."""

    next_page = "web:person-sign-in"


@login_not_required
def health(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "ok"})


@login_not_required
@never_cache
def ready(request: HttpRequest) -> JsonResponse:
    """Whether pages can be served, and how each part is.

    503 without database or broker. A worker that is not heard is told and answers 503 only to
    ``?workers``: pages go on without it, work waits.
    """
    parts = health_now(now())
    needed = [part for part in parts if "workers" in request.GET or "worker" not in part.name]
    ill = [part for part in needed if not part.is_well]
    body = {
        "status": f"{ill[0].name}: {ill[0].words}" if ill else "ok",
        "parts": {part.name: part.words for part in parts},
        "well": all(part.is_well for part in parts),
    }
    return JsonResponse(body, status=503 if ill else 200)
