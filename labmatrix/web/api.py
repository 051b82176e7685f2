"""The API's door: tokens."""

from __future__ import annotations

from django.contrib.auth import authenticate
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import iso, now
from labmatrix.kernel.errors import SignInNeeded
from labmatrix.web.models import Person
from labmatrix.web.place import request_place
from labmatrix.web.services.access import attempts_end
from labmatrix.web.services.token import token_issue


class TokenRequest(serializers.Serializer[object]):
    """Name and password."""

    username = serializers.CharField()
    password = serializers.CharField(trim_whitespace=False)


class TokenAnswer(serializers.Serializer[object]):
    """The token, shown once."""

    token = serializers.CharField()
    expires_at = serializers.CharField()


class TokenView(APIView):
    """POST /api/token/: sign a script in."""

    permission_classes = (AllowAny,)
    authentication_classes = ()

    @extend_schema(request=TokenRequest, responses=TokenAnswer)
    def post(self, request: Request) -> Response:
        """{username, password} → {token, expires_at}; 401 when they do not belong together."""
        asked = TokenRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        person = authenticate(request._request, **asked.validated_data)
        if not isinstance(person, Person):
            raise SignInNeeded("access.sign-in", "The name and password do not belong together.")
        attempts_end(person, request_place(request._request))
        token, expires_at = token_issue(person=person, now=now())
        return Response({"token": token, "expires_at": iso(expires_at)})
