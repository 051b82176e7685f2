"""Loads and deflections of a member at the actuator, with every step of the way."""

from __future__ import annotations

from dataclasses import dataclass

from labmatrix.kernel.errors import ShapeError
from results.domain.mechanics.beam_response import (
    STIFFENING_SOURCE,
    BeamCurve,
    beam_curve,
    mean_curvature,
)
from results.domain.mechanics.beam_setup import BeamSetup
from results.domain.mechanics.effective_inertia import INERTIA_SOURCES, effective_inertia
from results.domain.mechanics.elastic import cracked_section, gross_section, service_stresses
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.loading import Loading
from results.domain.mechanics.moment_curvature import Diagram, diagram
from results.domain.mechanics.shear import SHEAR_SOURCES, ShearStrength, shear_strength
from results.domain.mechanics.steps import Sheet
from results.domain.prediction.build import KNM, Built, setup_of
from results.domain.prediction.flexure import Flexure
from results.domain.prediction.strength import concrete_law

_STATICS = "statics of the simply supported beam"
# A shear strength less than this many times the bending strength is pointed out.
_SHEAR_MARGIN = 1.10


@dataclass(frozen=True)
class Beam:
    """What a member does in its test; N, mm, N·mm.

    Attributes:
        setup: span, loads and dead load.
        bending_n, shear_n: actuator load at which either strength is reached.
        cracking_n, yield_n: None where the member is cracked before, or does not yield first.
        curve: up to the ultimate load, or as far as the fibre integration goes.
        diagram: moment–curvature.
    """

    setup: BeamSetup
    bending_n: float
    shear: ShearStrength
    shear_n: float
    cracking_n: float | None
    yield_n: float | None
    curve: BeamCurve
    diagram: Diagram

    @property
    def ultimate_n(self) -> float:
        """The smaller of bending and shear."""
        return min(self.bending_n, self.shear_n)

    @property
    def shear_governs(self) -> bool:
        """Whether the member fails in shear first."""
        return self.shear_n < self.bending_n

    def deflection_mm(self, load_n: float) -> float:
        """At mid-span, beyond the dead load's."""
        return self.curve.deflection(load_n)


def _stiffening(built: Built) -> float:
    if built.options.stiffening is not None:
        return built.options.stiffening
    return 0.5 if built.member.history.repeated else 1.0


def shear_load(built: Built, setup: BeamSetup) -> tuple[ShearStrength, float]:
    """Shear strength, and the actuator load at which it is reached at d from the support, N."""
    depth = built.section.tension_depth_mm
    strength = shear_strength(
        strength_mpa=built.strength_mpa,
        web_mm=built.member.shape.web_width_mm,
        depth_mm=depth,
        bar_area_mm2=built.section.tension_bar.area_mm2,
        stirrups=built.member.stirrups,
        edition=built.options.shear_edition,
    )
    at = min(depth, setup.shear_span_mm)
    return strength, setup.load_for_shear_n(strength.nominal_n, at)


def ultimate_load_n(built: Built, setup: BeamSetup, nominal_nmm: float) -> float:
    """Actuator load at the smaller of bending and shear strength, N.

    Raises:
        ShapeError: ``prediction.own-weight``, the member does not carry its dead load.
    """
    load = min(setup.load_n(nominal_nmm), shear_load(built, setup)[1])
    if load <= 0.0:
        raise ShapeError(
            "prediction.own-weight",
            f"The member carries {nominal_nmm / KNM:.2f} kN·m and its dead load takes "
            f"{setup.dead_moment_nmm / KNM:.2f} kN·m of it; nothing is left for the actuator. "
            "Allowed is a member that carries its own weight.",
        )
    return load


def beam_of(built: Built, flexure: Flexure, loading: Loading) -> Beam:
    """The response of a member.

    Args:
        built: the member.
        flexure: its strength.
        loading: its test.

    Raises:
        ShapeError: ``prediction.own-weight``.
    """
    setup = setup_of(built, loading)
    ultimate = ultimate_load_n(built, setup, flexure.nominal_nmm)
    shear, shear_n = shear_load(built, setup)
    found = diagram(FibreModel(built.section, concrete_law(built)))
    law = mean_curvature(
        found,
        uncracked=built.uncracked,
        cracking_nmm=built.cracking_nmm,
        already_cracked=built.is_cracked,
        stiffening=_stiffening(built),
    )
    last = min(ultimate, setup.load_n(law.largest_nmm))
    curve = beam_curve(setup, law, last, built.options.curve_points)
    cracking = None if built.is_cracked else setup.load_n(built.cracking_nmm)
    yielding = None if found.yielding is None else setup.load_n(found.yielding.moment_nmm)
    return Beam(
        setup=setup,
        bending_n=setup.load_n(flexure.nominal_nmm),
        shear=shear,
        shear_n=shear_n,
        cracking_n=_within(cracking, last),
        yield_n=_within(yielding, last),
        curve=curve,
        diagram=found,
    )


def _within(load_n: float | None, last_n: float) -> float | None:
    return load_n if load_n is not None and 0.0 < load_n < last_n else None


def beam_flags(beam: Beam) -> list[str]:
    """Sentences that a person should read before casting."""
    bending, shear = beam.bending_n / 1e3, beam.shear_n / 1e3
    if beam.shear_governs:
        return [
            f"Shear governs: its strength is reached at {shear:.1f} kN, the bending strength at "
            f"{bending:.1f} kN. Add stirrups or lengthen the shear span before casting."
        ]
    if shear < _SHEAR_MARGIN * bending:
        return [
            f"The shear strength is reached at {shear:.1f} kN, hardly above the bending strength "
            f"at {bending:.1f} kN."
        ]
    return []


def write_beam(sheet: Sheet, built: Built, beam: Beam, loading: Loading) -> None:
    """Statics, shear and response, step by step."""
    setup = beam.setup
    sheet.begin("test set-up")
    sheet.given("L", "span", setup.span_mm, "mm", setup.kind)
    sheet.given("a", "shear span", setup.shear_span_mm, "mm", setup.kind)
    sheet.found(
        "w", "weight of the member", "area times unit weight", setup.self_weight_n_per_mm, "N/mm",
        f"{built.member.concrete.unit_weight_kn_per_m3:.4g} kN/m³",
    )  # fmt: skip
    sheet.given("Gs", "weight of the spreader", setup.spreader_n / 1e3, "kN", "set-up")
    sheet.found(
        "Mg", "moment of self-weight and spreader at mid-span", "(w L²/8 + Gs 10³ a/2)/10⁶",
        setup.dead_moment_nmm / KNM, "kN·m", _STATICS,
    )  # fmt: skip
    sheet.begin("loads at the actuator")
    if beam.cracking_n is not None:
        sheet.found(
            "Pcr", "cracking", "2 (Mcr − Mg)/a · 10³", beam.cracking_n / 1e3, "kN", _STATICS
        )
    if beam.yield_n is not None and beam.diagram.yielding is not None:
        sheet.found(
            "My", "moment at which the deepest bars yield", "fibre integration",
            beam.diagram.yielding.moment_nmm / KNM, "kN·m", built.options.fibre_law,
        )  # fmt: skip
        sheet.found("Py", "bars yield", "2 (My − Mg)/a · 10³", beam.yield_n / 1e3, "kN", _STATICS)
    sheet.found(
        "Pb", "bending strength", "2 (Mn − Mg)/a · 10³", beam.bending_n / 1e3, "kN", _STATICS
    )
    _write_shear(sheet, built, beam)
    sheet.found("Pu", "ultimate", "min(Pb, Pv)", beam.ultimate_n / 1e3, "kN", _STATICS)
    sheet.found(
        "R", "reaction at each support", "(Pu + Gs + w L)/2",
        setup.reaction_n(beam.ultimate_n) / 1e3, "kN", _STATICS,
    )  # fmt: skip
    _write_deflections(sheet, built, beam)
    if loading.service_load_kn:
        _write_service(sheet, built, beam, loading.service_load_kn * 1e3)


def _write_shear(sheet: Sheet, built: Built, beam: Beam) -> None:
    source = SHEAR_SOURCES[beam.shear.edition]
    sheet.found(
        "Vc", "part of the concrete", "see source", beam.shear.concrete_n / 1e3, "kN", source
    )
    sheet.found(
        "Vs", "part of the stirrups", "Av fyt d/s", beam.shear.stirrups_n / 1e3, "kN", source
    )
    sheet.found("Vn", "shear strength", "Vc + Vs", beam.shear.nominal_n / 1e3, "kN", source)
    sheet.found(
        "Pv", "shear strength is reached at d from the support", "2 (Vn − w (L/2 − d)/10³) − Gs",
        beam.shear_n / 1e3, "kN", _STATICS,
    )  # fmt: skip


def _write_deflections(sheet: Sheet, built: Built, beam: Beam) -> None:
    sheet.begin("deflections at mid-span, beyond the dead load's")
    sheet.given("β", "tension stiffening", _stiffening(built), "1", STIFFENING_SOURCE)
    last = float(beam.curve.loads_n[-1])
    for symbol, words, load in (
        ("δcr", "at cracking", beam.cracking_n),
        ("δy", "where the bars yield", beam.yield_n),
        ("δu", "at the end of the curve", last),
    ):
        if load is not None:
            sheet.found(
                symbol, words, "integral of the mean curvature along the span",
                beam.deflection_mm(load), "mm", "numerical, Simpson",
            )  # fmt: skip
    sheet.found(
        "su", "travel of the actuator to the end of the curve", "deflection of the load points",
        beam.curve.stroke(last), "mm", "numerical, Simpson",
    )  # fmt: skip


def _write_service(sheet: Sheet, built: Built, beam: Beam, load_n: float) -> None:
    """Stresses and deflection of the cracked section under a service load."""
    moment = beam.setup.moment_nmm(load_n)
    elastic = cracked_section(built.section, built.modulus_mpa)
    stresses = service_stresses(built.section, elastic, moment)
    form = built.options.inertia_form
    gross = gross_section(built.section, built.modulus_mpa)
    inertia = effective_inertia(
        moment_nmm=moment, cracking_nmm=built.cracking_nmm, gross_mm4=gross.inertia_mm4,
        cracked_mm4=elastic.inertia_mm4, form=form,
    )  # fmt: skip
    sheet.begin("service load")
    sheet.given("Ps", "service load", load_n / 1e3, "kN", "asked for")
    sheet.found("Ms", "moment", "Mg + Ps a/2/10³", moment / KNM, "kN·m", _STATICS)
    sheet.found("kd", "neutral axis, cracked", "elastic", elastic.neutral_axis_mm, "mm")
    sheet.found("Icr", "second moment, cracked", "elastic", elastic.inertia_mm4, "mm⁴")
    source = "ACI 440.2R, Eq. (10-14)"
    sheet.found("fss", "bar stress", "elastic, cracked", stresses.steel_mpa, "MPa", source)
    sheet.found("fcs", "concrete stress", "elastic, cracked", stresses.concrete_mpa, "MPa", source)
    if built.section.fabrics:
        sheet.found("ffs", "fabric stress", "elastic, cracked", stresses.fabric_mpa, "MPa", source)
    sheet.found("Ie", "effective inertia", "by the source", inertia, "mm⁴", INERTIA_SOURCES[form])
    sheet.found(
        "δs", "deflection under Ps alone", "Ps a (3L² − 4a²)/(48 Ec Ie)",
        beam.setup.elastic_deflection_mm(load_n, built.modulus_mpa * inertia), "mm", _STATICS,
    )  # fmt: skip
