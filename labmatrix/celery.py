"""The Celery application of the command line: two queues, short and long; messages carry ids."""

from __future__ import annotations

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labmatrix.settings")

from labmatrix.evidence.broker import app

app.autodiscover_tasks(["labmatrix.evidence"])

__all__ = ["app"]
