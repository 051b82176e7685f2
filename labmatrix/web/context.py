"""What every page knows."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from labmatrix.web.selectors.laboratory import laboratory_get


def laboratory(request: HttpRequest) -> dict[str, Any]:
    """The laboratory, whether its data are invented, and the version in use."""
    found = laboratory_get()
    return {
        "laboratory": found,
        "invented_data_notice": found.is_invented,
        "software_version": settings.SPECTACULAR_SETTINGS["VERSION"],
    }
