"""Sign in, sign out, and the supervisor's two questions."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.utils.decorators import method_decorator

from labmatrix.web.forms import SignInForm


@method_decorator(login_not_required, name="dispatch")
class PersonSignIn(LoginView):
    """Sign in with name and password."""

    template_name = "web/person_sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True


class PersonSignOut(LogoutView):
    """Sign out; takes POST only."""

    next_page = "web:person-sign-in"


@login_not_required
def health(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "ok"})


@login_not_required
def ready(request: HttpRequest) -> JsonResponse:
    """The process reaches its database."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return JsonResponse({"status": "no database"}, status=503)
    return JsonResponse({"status": "ok"})
