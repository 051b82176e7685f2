"""Effective inertia of a cracked member, by the two forms, each named."""

from __future__ import annotations

from typing import Literal

from results.domain.mechanics.ranges import choice, number

InertiaForm = Literal["aci318-19", "branson"]
INERTIA_FORMS: tuple[InertiaForm, ...] = ("aci318-19", "branson")
INERTIA_SOURCES: dict[InertiaForm, str] = {
    "aci318-19": "ACI 318-19, Table 24.2.3.5",
    "branson": "Branson's form (ACI 318-14, Eq. 24.2.3.5a)",
}


def effective_inertia(
    *,
    moment_nmm: float,
    cracking_nmm: float,
    gross_mm4: float,
    cracked_mm4: float,
    form: InertiaForm = "aci318-19",
) -> float:
    """Ie under a service moment, mm⁴.

    ``aci318-19``: Ig up to ⅔ Mcr, beyond it Icr/(1 − (⅔ Mcr/Ma)² (1 − Icr/Ig)).
    ``branson``: Ig up to Mcr, beyond it (Mcr/Ma)³ Ig + (1 − (Mcr/Ma)³) Icr.

    Args:
        moment_nmm: Ma, the largest moment so far, N·mm.
        cracking_nmm: Mcr of the gross section, N·mm.
        gross_mm4: Ig.
        cracked_mm4: Icr, at most Ig.
        form: which form.

    Raises:
        RangeError: an argument outside its range.
    """
    choice("form", form, INERTIA_FORMS)
    number("moment_nmm", moment_nmm, low=0.0, high=1e13, unit="N·mm")
    number("cracking_nmm", cracking_nmm, low=0.0, high=1e13, above=True, unit="N·mm")
    number("gross_mm4", gross_mm4, low=0.0, high=1e14, above=True, unit="mm⁴")
    number("cracked_mm4", cracked_mm4, low=0.0, high=gross_mm4, above=True, unit="mm⁴")
    if form == "branson":
        if moment_nmm <= cracking_nmm:
            return gross_mm4
        cube = (cracking_nmm / moment_nmm) ** 3
        return cube * gross_mm4 + (1.0 - cube) * cracked_mm4
    reduced = 2.0 * cracking_nmm / 3.0
    if moment_nmm <= reduced:
        return gross_mm4
    return cracked_mm4 / (1.0 - (reduced / moment_nmm) ** 2 * (1.0 - cracked_mm4 / gross_mm4))
