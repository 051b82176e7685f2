"""Read the laboratory."""

from __future__ import annotations

from django.conf import settings

from labmatrix.web.models import Laboratory


def laboratory_get() -> Laboratory:
    """The laboratory, or an unnamed one before ``manage.py setup``."""
    return Laboratory.objects.first() or Laboratory(
        id=1, name="Unnamed laboratory", time_zone=settings.DISPLAY_TIME_ZONE
    )
