"""What every page knows."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from labmatrix.web.models import Person
from labmatrix.web.navigation import doors_for
from labmatrix.web.selectors.laboratory import laboratory_get


def laboratory(request: HttpRequest) -> dict[str, Any]:
    """The laboratory, its rooms, whether its data are invented, and the version in use."""
    found = laboratory_get()
    person = getattr(request, "user", None)
    return {
        "laboratory": found,
        "navigation": doors_for(person, request.path) if isinstance(person, Person) else [],
        "invented_data_notice": found.is_invented,
        "software_version": settings.SPECTACULAR_SETTINGS["VERSION"],
    }
