"""What every page knows."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone

from labmatrix.web.models import Person
from labmatrix.web.navigation import doors_for, work_addresses
from labmatrix.web.selectors.laboratory import laboratory_get


def laboratory(request: HttpRequest) -> dict[str, Any]:
    """The laboratory, its rooms, how the person wants it shown, and the version in use."""
    found = laboratory_get()
    user = getattr(request, "user", None)
    person = user if isinstance(user, Person) else None
    return {
        "laboratory": found,
        "navigation": doors_for(person, request.path) if person else [],
        "work_in_progress": work_addresses() if person else {},
        "unit_system": person.unit_system if person else found.unit_system,
        "theme": person.theme if person else "",
        "zone_in_force": timezone.get_current_timezone_name(),
        "invented_data_notice": found.is_invented,
        "software_version": settings.SPECTACULAR_SETTINGS["VERSION"],
    }
