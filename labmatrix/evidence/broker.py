"""The door to the broker, named outright: a process that only sends must not fall back on
Celery's default application, which would talk to whatever broker listens on this machine."""

from __future__ import annotations

from celery import Celery

app = Celery("labmatrix", set_as_current=True)
app.config_from_object("django.conf:settings", namespace="CELERY")
