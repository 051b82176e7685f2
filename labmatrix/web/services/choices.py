"""What people decide about themselves."""

from __future__ import annotations

from labmatrix.kernel.errors import RangeError
from labmatrix.kernel.text import check_seen, check_storable
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
    display_role: str = "",
) -> Person:
    """Set a person's own name, address, units, time zone and light.

    Args:
        actor: the person, who decides only about themselves.
        display_name: what pages show; empty for the sign-in name.
        email: where a password reset goes; empty for none.
        unit_system: SI or US customary.
        time_zone: IANA name; empty for the laboratory's.
        theme: ``day``, ``dark`` or empty for the system's.
        display_role: what pages say the person does, such as "doctoral student"; may be empty.

    Raises:
        RangeError: a unit system or theme that there is not.
        ShapeError: ``input.text``, ``text.characters``, ``text.long`` or ``laboratory.time-zone``.
    """
    check_storable([display_name, display_role, email], argument="What pages show")
    shown = check_seen(display_name, argument="The name on pages", at_most=120)
    does = check_seen(display_role, argument="What you do here", at_most=60)
    themes = ("", *(str(known) for known in Theme))
    for name, value, known in (("unit_system", unit_system, SYSTEMS), ("theme", theme, themes)):
        if value not in known:
            raise RangeError(name, value[:40], ", ".join(k or "nothing" for k in known))
    actor.display_name, actor.display_role, actor.email = shown, does, email.strip()
    actor.unit_system, actor.theme = unit_system, theme
    actor.time_zone = check_zone(time_zone) if time_zone else ""
    actor.save(
        update_fields=[
            "display_name", "display_role", "email", "unit_system", "time_zone", "theme",
        ]
    )  # fmt: skip
    return actor
