"""Bending strength by fibre integration, which follows every law; the closed form knows two.

The closed form takes bars as elastic–perfectly plastic and fabric as one line. Where bars harden
or break, or where the fabric follows the two lines of a coupon, its assumptions do not hold and
the strength is that of the fibre integration. Elsewhere the two are a check of each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from results.domain.mechanics.capacity import MODE_SENTENCES, mode_of
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.laws import CompressionLaw, Parabola, ParabolaRectangle
from results.domain.mechanics.moment_curvature import Point, ultimate_point
from results.domain.mechanics.section import Section
from results.domain.prediction.build import Built

CLOSED_FORM, FIBRES = "closed form", "fibre integration"
BAR_MODE = "bar breaks"
SENTENCES: dict[str, str] = {
    **{str(mode): words for mode, words in MODE_SENTENCES.items()},
    BAR_MODE: "A bar breaks before the fabric is spent and before the concrete crushes.",
}
LAW_WORDS = {
    "parabola": "parabola with its peak at 1.7 f'c/Ec",
    "parabola-rectangle": "parabola–rectangle (EN 1992-1-1, 3.1.7)",
}


@dataclass(frozen=True)
class FibreStrength:
    """One section at its end by fibre integration; N, mm, N·mm, strains in mm/mm.

    Attributes:
        nominal_nmm: moment at that end, ψf on the fabric's part.
        curvature_per_mm, neutral_axis_mm: of that state.
        top_strain: positive in compression.
        tension_strain: of the deepest bars.
        mode: a name of ``SENTENCES``.
    """

    nominal_nmm: float
    curvature_per_mm: float
    neutral_axis_mm: float
    top_strain: float
    tension_strain: float
    mode: str


def concrete_law(built: Built) -> CompressionLaw:
    """The concrete of the fibre integration, as the options choose it."""
    if built.options.fibre_law == "parabola":
        return Parabola(built.strength_mpa, built.modulus_mpa, built.crushing_strain)
    return ParabolaRectangle(built.strength_mpa)


def closed_form_holds(section: Section) -> bool:
    """Whether every law is one that the closed form knows."""
    plastic = all(
        bar.steel.hardening_mpa == 0.0 and math.isinf(bar.steel.rupture_strain)
        for bar in section.bars
    )
    return plastic and all(fabric.law.uncracked_mpa is None for fabric in section.fabrics)


def why_not_closed(section: Section) -> str:
    """Which laws the closed form does not know, in words; empty where it holds."""
    reasons = []
    if any(bar.steel.hardening_mpa > 0.0 for bar in section.bars):
        reasons.append("the bars harden")
    if any(math.isfinite(bar.steel.rupture_strain) for bar in section.bars):
        reasons.append("the bars can break")
    if any(fabric.law.uncracked_mpa is not None for fabric in section.fabrics):
        reasons.append("the fabric follows the two lines of its coupons")
    return " and ".join(reasons)


def fibre_strength(built: Built, section: Section) -> FibreStrength:
    """Strength of a section of a member by fibre integration.

    Args:
        built: options and concrete.
        section: with fabric, or the bare one.
    """
    model = FibreModel(section, concrete_law(built))
    end = ultimate_point(model)
    moment = end.moment_nmm
    if section.fabrics and built.options.fabric_factor != 1.0:
        moment -= (1.0 - built.options.fabric_factor) * _fabric_moment(model, end)
    tension = end.strain(section.tension_depth_mm)
    return FibreStrength(
        nominal_nmm=moment,
        curvature_per_mm=end.curvature_per_mm,
        neutral_axis_mm=end.neutral_axis_mm,
        top_strain=-end.top_strain,
        tension_strain=tension,
        mode=_mode(section, end, tension),
    )


def _mode(section: Section, end: Point, tension: float) -> str:
    if end.name in {bar.name for bar in section.bars if math.isfinite(bar.steel.rupture_strain)}:
        return BAR_MODE
    yielded = tension >= section.tension_bar.steel.yield_strain
    return mode_of(fabric_governs=end.name != "concrete", yielded=yielded)


def _fabric_moment(model: FibreModel, end: Point) -> float:
    """Moment of the fabric about the resultant of the compression, N·mm."""
    c, curvature = np.array([end.neutral_axis_mm]), np.array([end.curvature_per_mm])
    strips, fabrics = len(model.section.shape.strips), len(model.section.fabrics)
    concrete = [part.sums(c, curvature) for part in model.parts[:strips]]
    fabric = [part.sums(c, curvature) for part in model.parts[-fabrics:]]
    depth = sum(float(s.moment[0]) for s in concrete) / sum(float(s.force[0]) for s in concrete)
    return sum(float(s.moment[0]) - depth * float(s.force[0]) for s in fabric)
