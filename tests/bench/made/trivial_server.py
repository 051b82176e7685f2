"""gunicorn's file for the most trivial view that Django can serve: no middleware, no database."""

from __future__ import annotations

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.http import HttpRequest, HttpResponse
from django.urls import path

bind = f"127.0.0.1:{os.environ.get('PORT', '')}"
workers = 2
threads = 4
loglevel = "warning"
control_socket_disable = True


def nothing(request: HttpRequest) -> HttpResponse:
    """Two bytes."""
    return HttpResponse(b"ok")


urlpatterns = [path("", nothing)]
if not settings.configured:
    settings.configure(ALLOWED_HOSTS=["127.0.0.1"], ROOT_URLCONF=__name__, MIDDLEWARE=[])
application = get_wsgi_application()
