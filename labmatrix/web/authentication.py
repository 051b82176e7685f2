"""``Authorization: Token …`` for scripts."""

from __future__ import annotations

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from labmatrix.kernel.clock import now
from labmatrix.web.models import Person
from labmatrix.web.services.token import token_person


class TokenAuthentication(BaseAuthentication):
    """Finds the person behind a token."""

    def authenticate(self, request: Request) -> tuple[Person, str] | None:
        """The person and the token, or None when the header is of another kind."""
        parts = get_authorization_header(request).split()
        if not parts or parts[0].lower() != b"token":
            return None
        token = parts[1].decode("ascii", "replace") if len(parts) == 2 else ""
        person = token_person(token=token, now=now())
        if person is None:
            raise AuthenticationFailed("The token is unknown or has expired; POST /api/token/.")
        return person, token

    def authenticate_header(self, request: Request) -> str:
        """Makes the answer to nobody a 401."""
        return "Token"


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Describes the header in the OpenAPI document."""

    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        """An API key in the Authorization header."""
        return {"type": "apiKey", "in": "header", "name": "Authorization"}
