"""Bending strength with every step of the way, to be followed by hand."""

from __future__ import annotations

from dataclasses import dataclass

from results.domain.mechanics.blocks import PARABOLIC_SOURCE, RECTANGULAR_SOURCE
from results.domain.mechanics.capacity import (
    MODE_SENTENCES,
    Capacity,
    Gain,
    flexural_capacity,
    gain,
)
from results.domain.mechanics.reduction_factor import PHI_SOURCES
from results.domain.mechanics.section import Section
from results.domain.mechanics.steps import Sheet
from results.domain.prediction.build import KNM, Built
from results.domain.prediction.strength import (
    CLOSED_FORM,
    FIBRES,
    LAW_WORDS,
    SENTENCES,
    FibreStrength,
    closed_form_holds,
    fibre_strength,
    why_not_closed,
)

_549 = "ACI 549.4R-20 (recalled, not re-read)"
_EQUILIBRIUM = "plane sections, equilibrium"


@dataclass(frozen=True)
class Flexure:
    """Strength of a member and of its unstrengthened twin, both found in the same way.

    Attributes:
        capacity, control: of the member and of the twin in closed form, with one block.
        fibre, fibre_control: the same by fibre integration, with the laws as chosen.
        by: ``closed form``, or ``fibre integration`` where a law is not one that it knows.
        gain: None without fabric.
    """

    capacity: Capacity
    control: Capacity
    fibre: FibreStrength
    fibre_control: FibreStrength
    by: str
    gain: Gain | None

    @property
    def nominal_nmm(self) -> float:
        """Mn of the member, N·mm."""
        return self.fibre.nominal_nmm if self.by == FIBRES else self.capacity.nominal_nmm

    @property
    def control_nmm(self) -> float:
        """Mn of the twin, N·mm."""
        return self.fibre_control.nominal_nmm if self.by == FIBRES else self.control.nominal_nmm

    @property
    def mode(self) -> str:
        """What ends it."""
        return self.fibre.mode if self.by == FIBRES else self.capacity.mode

    @property
    def mode_words(self) -> str:
        """What ends it, in a sentence."""
        return SENTENCES[self.mode]

    @property
    def difference(self) -> float:
        """Fibre integration over closed form less one, no unit."""
        return self.fibre.nominal_nmm / self.capacity.nominal_nmm - 1.0


def flexure_of(built: Built) -> Flexure:
    """Both strengths and the gain."""
    capacity, control = _capacity(built, built.section), _capacity(built, built.bare)
    fibre, twin = fibre_strength(built, built.section), fibre_strength(built, built.bare)
    by = CLOSED_FORM if closed_form_holds(built.section) else FIBRES
    limit, added = built.options.limits["gain"], None
    if built.section.fabrics:
        added = gain(capacity, control, limit)
        if by == FIBRES:
            added = Gain(fibre.nominal_nmm / twin.nominal_nmm - 1.0, limit)
    return Flexure(capacity, control, fibre, twin, by, added)


def _capacity(built: Built, section: Section) -> Capacity:
    options = built.options
    return flexural_capacity(
        section,
        strength_mpa=built.strength_mpa,
        modulus_mpa=built.modulus_mpa,
        block=options.block,
        edition=options.phi_edition,
        fabric_factor=options.fabric_factor,
        crushing_strain=built.crushing_strain,
        beta1=options.beta1,
    )


def write_member(sheet: Sheet, built: Built) -> None:
    """Inputs and what follows from them alone."""
    member, shape = built.member, built.member.shape
    sheet.begin("member")
    sheet.given("b", "width of the compression face", shape.top_width_mm, "mm", "geometry")
    if shape.kind == "tee":
        sheet.given("bw", "width of the web", shape.web_width_mm, "mm", "geometry")
        sheet.given("hf", "thickness of the flange", shape.strips[0].bottom_mm, "mm", "geometry")
    sheet.given("h", "height", shape.height_mm, "mm", "geometry")
    concrete = member.concrete
    sheet.given("f'c", "concrete strength", concrete.strength_mpa, "MPa", concrete.origin)
    if concrete.modulus_mpa is None:
        sheet.found(
            "Ec", "modulus of the concrete", "4700 √f'c", concrete.modulus, "MPa",
            "ACI 318-19, 19.2.2.1 (SI form)",
        )  # fmt: skip
    else:
        sheet.given("Ec", "modulus of the concrete", concrete.modulus, "MPa", concrete.origin)
    for at, bar in enumerate(member.bars, start=1):
        n = "" if len(member.bars) == 1 else str(at)
        if bar.area_mm2 is None:
            sheet.found(
                f"As{n}", f"area, {bar.name}", f"{bar.count} · π {bar.diameter_mm:g}²/4",
                bar.area, "mm²", bar.origin,
            )  # fmt: skip
        else:
            sheet.given(f"As{n}", f"area, {bar.name}", bar.area, "mm²", bar.origin)
        sheet.given(f"d{n}", f"depth, {bar.name}", bar.depth_mm, "mm", bar.origin)
        sheet.given(f"fy{n}", f"yield strength, {bar.name}", bar.yield_mpa, "MPa", bar.origin)
        sheet.given(f"Es{n}", f"modulus, {bar.name}", bar.modulus_mpa, "MPa", bar.origin)
    _write_cracking(sheet, built)
    if built.section.fabrics:
        _write_fabric(sheet, built)


def _write_cracking(sheet: Sheet, built: Built) -> None:
    concrete, uncracked = built.member.concrete, built.uncracked
    rule = "0.62 √f'c" if concrete.rupture_mpa is None else "given"
    sheet.found(
        "fr", "modulus of rupture", rule, concrete.rupture, "MPa", "ACI 318-19, 19.2.3.1 (SI form)"
    )
    name = built.options.cracking_section
    sheet.found(
        "Ig", f"second moment of area, {name} section", "about the centroid",
        uncracked.inertia_mm4, "mm⁴",
    )  # fmt: skip
    sheet.found("y", "depth of that centroid", "Σ A y/Σ A", uncracked.neutral_axis_mm, "mm")
    sheet.found(
        "Mcr", "cracking moment", "fr Ig/(h − y)/10⁶", built.cracking_nmm / KNM, "kN·m",
        "ACI 318-19, 24.2.3.5",
    )  # fmt: skip


def _write_fabric(sheet: Sheet, built: Built) -> None:
    fabric = built.member.fabric
    if fabric is None:
        return
    sheet.begin("fabric")
    sheet.given("n", "plies", fabric.plies, "1", fabric.origin)
    sheet.given("tf", "equivalent thickness of a ply", fabric.ply_thickness_mm, "mm", fabric.origin)
    sheet.given("Ef", "mean cracked modulus", fabric.modulus_mpa, "MPa", fabric.origin)
    sheet.given("εfd", "design strain", fabric.design_strain, "mm/mm", fabric.origin)
    cap = built.options.limits["strain-cap"]
    sheet.given("εcap", "largest design strain", cap.value, "mm/mm", cap.source)
    sheet.given(
        "ka", "factor of anchorage", fabric.anchorage_factor, "1", fabric.anchorage or "stated"
    )
    sheet.found(
        "εfu", "usable strain", "ka min(εfd, εcap)", fabric.usable_strain(cap.value), "mm/mm", _549
    )
    for layer in built.section.fabrics:
        mark = "" if len(built.section.fabrics) == 1 else f" ({layer.name})"
        sheet.found(f"Af{mark}", f"fibre area, {layer.name}", "n tf w", layer.area_mm2, "mm²")
        sheet.found(f"df{mark}", f"lower end, {layer.name}", "geometry", layer.bottom_mm, "mm")
        sheet.found(
            f"εbi{mark}", "strain of the section when it was bonded", _bond_words(built),
            float(built.section.bond.at(layer.bottom_mm)), "mm/mm", "ACI 440.2R, Eq. (10-3)",
        )  # fmt: skip


def _bond_words(built: Built) -> str:
    if built.bond is None:
        return "given"
    moment, elastic = built.member.history.moment_at_installation_knm, built.bond.elastic
    return (
        f"Mi (df − kd)/(Ec I), Mi {moment:g} kN·m, {built.bond.section_name}: "
        f"I {elastic.inertia_mm4:.6g} mm⁴, kd {elastic.neutral_axis_mm:.6g} mm"
    )


def write_capacity(sheet: Sheet, built: Built, capacity: Capacity, *, of: str) -> None:
    """Strain compatibility of one section, step by step.

    Args:
        sheet: written to.
        built: whose.
        capacity: of the member or of its twin.
        of: heading.
    """
    sheet.begin(of)
    parabolic = capacity.block == "parabolic"
    source = PARABOLIC_SOURCE if parabolic else RECTANGULAR_SOURCE
    if parabolic:
        peak = 1.7 * built.strength_mpa / built.modulus_mpa
        sheet.found(
            "ε'c", "strain at the peak of the parabola", "1.7 f'c/Ec", peak, "mm/mm", source
        )
    sheet.found(
        "c", "depth of the neutral axis", "root of C = Σ Fs + Σ Ff",
        capacity.neutral_axis_mm, "mm", _EQUILIBRIUM,
    )  # fmt: skip
    k, c = capacity.curvature_per_mm, capacity.neutral_axis_mm
    sheet.found(
        "φn", "curvature", "first of εcu/c and (εfu + εbi)/(df − c)", k, "1/mm", _EQUILIBRIUM
    )
    sheet.found("εc", "strain of the top face", "φn c", capacity.top_strain, "mm/mm", _EQUILIBRIUM)
    beta = "(4ε'c − εc)/(6ε'c − 2εc)" if parabolic else "0.85 − 0.05 (f'c − 28)/7, 0.65 to 0.85"
    alpha = "(3ε'c εc − εc²)/(3 β1 ε'c²)" if parabolic else "0.85"
    sheet.found("β1", "depth of the block / c", beta, capacity.beta1, "1", source)
    sheet.found("α1", "stress of the block / f'c", alpha, capacity.alpha1, "1", source)
    _write_forces(sheet, built, capacity)
    sheet.found(
        "Mn", "nominal strength", "(Σ Fs (d − z) + ψf Σ Ff (df − z))/10³",
        capacity.nominal_nmm / KNM, "kN·m", _549,
    )  # fmt: skip
    sheet.found(
        "mode", "what ends it", MODE_SENTENCES[capacity.mode], capacity.mode, "", _EQUILIBRIUM
    )
    phi = PHI_SOURCES[capacity.edition]
    sheet.found("εt", "strain of the deepest bars", "φn (d − c)", k * (
        built.section.tension_depth_mm - c), "mm/mm", _EQUILIBRIUM)  # fmt: skip
    sheet.found("φ", "strength reduction", "between 0.65 and 0.90 by εt", capacity.phi, "1", phi)
    sheet.found("φMn", "design strength", "φ Mn", capacity.design_nmm / KNM, "kN·m", phi)


def _write_forces(sheet: Sheet, built: Built, capacity: Capacity) -> None:
    rectangle = built.member.shape.kind == "rectangle"
    force = "α1 f'c β1 c b/10³" if rectangle else "block over the outline/10³"
    sheet.found("C", "compression", force, capacity.concrete_force_n / 1e3, "kN", _EQUILIBRIUM)
    depth = "β1 c/2" if rectangle else "block over the outline"
    sheet.found("z", "depth of C", depth, capacity.concrete_depth_mm, "mm", _EQUILIBRIUM)
    for at, bar in enumerate(built.section.bars):
        n = "" if len(built.section.bars) == 1 else str(at + 1)
        sheet.found(
            f"εs{n}", f"strain, {bar.name}", f"φn (d{n} − c)", capacity.bar_strains[at], "mm/mm",
            _EQUILIBRIUM,
        )  # fmt: skip
        stress = capacity.bar_stresses_mpa[at]
        sheet.found(
            f"fs{n}", f"stress, {bar.name}", f"Es{n} εs{n}, between −fy{n} and fy{n}", stress, "MPa"
        )
        sheet.found(
            f"Fs{n}", f"force, {bar.name}", f"As{n} fs{n}/10³", bar.area_mm2 * stress / 1e3, "kN"
        )
    for layer, strain, stress in zip(
        built.section.fabrics, capacity.fabric_strains, capacity.fabric_stresses_mpa, strict=False
    ):
        sheet.found("εfe", f"strain, {layer.name}", "φn (df − c) − εbi", strain, "mm/mm", _549)
        sheet.found("ffe", f"stress, {layer.name}", "Ef εfe", stress, "MPa", _549)
        lumps = "" if len(layer.areas_mm2) == 1 else " (integrated over the height)"
        sheet.found(
            "Ff", f"force, {layer.name}", f"Af ffe/10³{lumps}",
            _pull(capacity, built, layer.area_mm2 * stress) / 1e3, "kN",
        )  # fmt: skip
    sheet.given("ψf", "factor on the fabric's part", capacity.fabric_factor, "1", "option")


def _pull(capacity: Capacity, built: Built, simple_n: float) -> float:
    """Force of the fabric: area times stress at one depth, else what equilibrium leaves."""
    if len(built.section.fabrics) == 1 and len(built.section.fabrics[0].areas_mm2) == 1:
        return simple_n
    bars = sum(
        bar.area_mm2 * stress
        for bar, stress in zip(built.section.bars, capacity.bar_stresses_mpa, strict=True)
    )
    return capacity.concrete_force_n - bars


def write_flexure(sheet: Sheet, built: Built, flexure: Flexure) -> None:
    """Strength, that of the twin, and the gain."""
    of = "strengthened section" if flexure.gain else "section"
    closed = of if flexure.by == CLOSED_FORM else f"{of} in closed form, for comparison"
    write_capacity(sheet, built, flexure.capacity, of=closed)
    _write_fibres(sheet, built, flexure, of=of)
    if flexure.gain is None:
        return
    sheet.begin("gain")
    sheet.found(
        "Mn0", "nominal strength of the unstrengthened section",
        f"the same without fabric, {flexure.by}", flexure.control_nmm / KNM, "kN·m", _549,
    )  # fmt: skip
    sheet.found(
        "gain", "gain from the fabric", "Mn/Mn0 − 1", flexure.gain.ratio, "1",
        flexure.gain.limit.source,
    )  # fmt: skip
    sheet.found("verdict", "the rule", flexure.gain.sentence, _verdict(flexure.gain), "", "")


def _write_fibres(sheet: Sheet, built: Built, flexure: Flexure, *, of: str) -> None:
    """The same by fibre integration: a check of the closed form, or what takes its place."""
    found, follows = flexure.fibre, flexure.by == FIBRES
    sheet.begin(f"{of} by fibre integration" if follows else "check by fibre integration")
    source = f"plane sections; concrete as {LAW_WORDS[built.options.fibre_law]}"
    sheet.found(
        "c" if follows else "cf", "depth of the neutral axis", "Σ F = 0",
        found.neutral_axis_mm, "mm", source,
    )  # fmt: skip
    sheet.found(
        "φn" if follows else "φf", "curvature", "first part at its limiting strain",
        found.curvature_per_mm, "1/mm", source,
    )  # fmt: skip
    rule = "Σ F y over the fibres"
    if follows:
        words = f"nominal strength; the closed form does not hold: {why_not_closed(built.section)}"
        sheet.found("Mn", words, rule, found.nominal_nmm / KNM, "kN·m", source)
        sheet.found("mode", "what ends it", flexure.mode_words, flexure.mode, "", source)
    else:
        sheet.found("Mf", "nominal strength", rule, found.nominal_nmm / KNM, "kN·m", source)
    sheet.found(
        "ΔM", "fibre integration over closed form", "Mn by fibres/Mn in closed form − 1",
        flexure.difference, "1",
    )  # fmt: skip


def _verdict(found: Gain) -> str:
    return "within the limit" if found.within else "over the limit"
