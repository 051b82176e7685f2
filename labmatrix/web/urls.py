"""Addresses of this room."""

from __future__ import annotations

from django.urls import path

from labmatrix.web import password_views, person_views, views

app_name = "web"
urlpatterns = [
    path("sign-in/", views.PersonSignIn.as_view(), name="person-sign-in"),
    path("sign-out/", views.PersonSignOut.as_view(), name="person-sign-out"),
    path("me/", person_views.me, name="me"),
    path("me/password/", password_views.password_change_page, name="password-change"),
    path("password/", password_views.password_forgotten, name="password-forgotten"),
    path(
        "password/<uuid:person_id>/<str:token>/", password_views.password_new, name="password-new"
    ),
    path("health/", views.health, name="health"),
    path("ready/", views.ready, name="ready"),
]
