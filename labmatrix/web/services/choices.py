"""What people decide about themselves."""

from __future__ import annotations

from labmatrix.kernel.errors import RangeError
from labmatrix.kernel.text import check_storable
from labmatrix.web.domain.choices import Theme
from labmatrix.web.domain.unit_systems import SYSTEMS
from labmatrix.web.models import Person
from labmatrix.web.zones import check_zone


def choices_set(
    *,
    actor: Person,
    display_name: str,
    email: str,
    unit_system: str,
    time_zone: str,
    theme: str,
) -> Person:
    """Set a person's own name, address, units, time zone and light.

    Args:
        actor: the person, who decides only about themselves.
        display_name: what pages show; empty for the sign-in name.
        email: where a password reset goes; empty for none.
        unit_system: SI or US customary.
        time_zone: IANA name; empty for the laboratory's.
        theme: ``day``, ``dark`` or empty for the system's.

    Raises:
        RangeError: a unit system or theme that there is not.
        ShapeError: ``input.text`` or ``laboratory.time-zone``.
    """
    check_storable([display_name, email], argument="What pages show")
    themes = ("", *(str(known) for known in Theme))
    for name, value, known in (("unit_system", unit_system, SYSTEMS), ("theme", theme, themes)):
        if value not in known:
            raise RangeError(name, value[:40], ", ".join(k or "nothing" for k in known))
    actor.display_name, actor.email = display_name.strip(), email.strip()
    actor.unit_system, actor.theme = unit_system, theme
    actor.time_zone = check_zone(time_zone) if time_zone else ""
    actor.save(update_fields=["display_name", "email", "unit_system", "time_zone", "theme"])
    return actor
