"""One shape for every error: {code, message, facts}, and the same sentence on a page."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler, set_rollback

from labmatrix.kernel.errors import NotFound, ShapeError, SignInNeeded, TooLarge, UserError
from labmatrix.web.domain.roles import NOT_YOURS


def _translated(error: Exception) -> UserError | None:
    if isinstance(error, UserError):
        return error
    if isinstance(error, exceptions.NotAuthenticated | exceptions.AuthenticationFailed):
        return SignInNeeded("access.sign-in", str(error.detail))
    if isinstance(error, Http404 | PermissionDenied | exceptions.PermissionDenied):
        detail = str(getattr(error, "detail", ""))
        return NotFound("access.not-yours", detail if "CSRF" in detail else NOT_YOURS)
    if isinstance(error, exceptions.NotFound):
        return NotFound("access.not-yours", str(error.detail))
    if isinstance(error, RequestDataTooBig):
        return TooLarge("request.too-large", "The request is larger than this server takes.")
    if isinstance(error, exceptions.ValidationError):
        return ShapeError("request.shape", _flat(error.detail), detail=error.detail)
    return None


def _flat(detail: Any) -> str:
    if isinstance(detail, dict):
        return " ".join(f"{key}: {_flat(value)}" for key, value in detail.items())
    if isinstance(detail, list):
        return " ".join(_flat(item) for item in detail)
    return str(detail)


def api_exception_handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """Django REST framework's hook: every error in the shape of the contract."""
    known = _translated(error)
    if known is not None:
        set_rollback()
        headers = {"WWW-Authenticate": "Token"} if known.status == 401 else None
        return Response(known.as_dict(), status=known.status, headers=headers)
    response = exception_handler(error, context)
    if response is not None and isinstance(error, exceptions.APIException):
        codes = error.get_codes()
        response.data = {
            "code": f"request.{codes}" if isinstance(codes, str) else "request.shape",
            "message": _flat(error.detail),
            "facts": {},
        }
    return response


def error_page(request: HttpRequest, error: UserError) -> HttpResponse:
    """The page, or for an address of the API the JSON, that shows an error."""
    if request.path.startswith("/api/"):
        return JsonResponse(error.as_dict(), status=error.status)
    return render(request, "web/error.html", {"error": error}, status=error.status)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """An address that leads nowhere."""
    return error_page(request, NotFound("access.not-yours", NOT_YOURS))


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """A request that Django itself refused."""
    return error_page(request, ShapeError("request.shape", "The request could not be understood."))


def server_error(request: HttpRequest) -> HttpResponse:
    """Our own fault: says so without a traceback."""
    body = {
        "code": "server.fault",
        "message": "The server met a fault of its own. Nothing half-done was kept.",
        "facts": {},
    }
    if request.path.startswith("/api/"):
        return JsonResponse(body, status=500)
    return render(request, "500.html", status=500)
