"""Who is asking."""

from __future__ import annotations

from django.http import HttpRequest
from rest_framework.request import Request

from labmatrix.kernel.errors import SignInNeeded
from labmatrix.web.models import Person


def actor_of(request: HttpRequest | Request) -> Person:
    """The signed-in person behind a request; fails closed.

    Raises:
        SignInNeeded: nobody is signed in.
    """
    person = getattr(request, "user", None)
    if not isinstance(person, Person) or not person.is_active:
        raise SignInNeeded("access.sign-in", "Sign in first.")
    return person
