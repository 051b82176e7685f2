"""Strongfloor: from open questions about strengthened members to numbers that can be traced."""

# Celery's "current app" is this one in every process that touches the package: web, worker,
# command line. Without it a message would go to Celery's own default broker.
from labmatrix.celery import app as celery_app

__all__ = ["celery_app"]
