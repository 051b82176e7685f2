"""The Celery application: two queues, short and long; messages carry job ids only."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labmatrix.settings")

app = Celery("labmatrix")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["labmatrix.evidence"])
