"""All addresses: each room brings its own."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.urls import URLPattern, URLResolver, include, path
from drf_spectacular.views import SpectacularAPIView

from labmatrix.web.api import TokenView

api: list[URLPattern | URLResolver] = [
    path("token/", TokenView.as_view(), name="token"),
    path("schema/", login_not_required(SpectacularAPIView.as_view()), name="schema"),
    path("", include("labmatrix.matrix.api_urls")),
    path("", include("specimens.api_urls")),
    path("", include("conditioning.api_urls")),
    path("", include("results.api_urls")),
]
urlpatterns = [
    path("api/", include((api, "api"))),
    path("", include("labmatrix.web.urls")),
    path("", include("labmatrix.matrix.urls")),
    path("", include("specimens.urls")),
    path("", include("conditioning.urls")),
    path("", include("results.urls")),
]
handler400 = "labmatrix.web.errors.bad_request"
handler404 = "labmatrix.web.errors.not_found"
handler500 = "labmatrix.web.errors.server_error"
