"""From a member's plain numbers to the sections that mechanics computes with."""

from __future__ import annotations

from dataclasses import dataclass

from results.domain.mechanics.beam_setup import BeamSetup
from results.domain.mechanics.elastic import (
    BondState,
    ElasticSection,
    bond_state,
    cracking_moment,
    gross_section,
    uncracked_section,
)
from results.domain.mechanics.loading import Loading, Options
from results.domain.mechanics.member import Member
from results.domain.mechanics.member_parts import FabricInput
from results.domain.mechanics.section import (
    BondStrain,
    FabricLayer,
    Section,
    side_fabric,
    soffit_fabric,
)
from results.domain.mechanics.shape import Shape

KNM = 1e6


@dataclass(frozen=True)
class Built:
    """A member ready to be computed; N, mm, MPa.

    Attributes:
        member, options: what it was made from.
        section: with fabric and bond plane, or bare.
        bare: the unstrengthened twin.
        uncracked: elastic section before cracking, of the bare member.
        cracking_nmm: Mcr.
        bond: how ε_bi was found; None where it was given, or without fabric.
    """

    member: Member
    options: Options
    section: Section
    bare: Section
    uncracked: ElasticSection
    cracking_nmm: float
    bond: BondState | None

    @property
    def strength_mpa(self) -> float:
        """f'c."""
        return self.member.concrete.strength_mpa

    @property
    def modulus_mpa(self) -> float:
        """Ec as used."""
        return self.member.concrete.modulus

    @property
    def crushing_strain(self) -> float:
        """Of the top face."""
        return self.options.limits.value("crushing-strain")

    @property
    def is_cracked(self) -> bool:
        """Whether the member saw more than its cracking moment before the test."""
        history = self.member.history
        earlier = max(history.largest_earlier_moment_knm, history.moment_at_installation_knm)
        return earlier * KNM > self.cracking_nmm

    def twin(self) -> Built:
        """The unstrengthened member with the same history."""
        return build(self.member.without_fabric(), self.options)


def build(member: Member, options: Options) -> Built:
    """Sections of a member.

    Args:
        member: plain numbers.
        options: by which rules.

    Raises:
        ShapeError, RangeError: a number that makes no section.
    """
    modulus = member.concrete.modulus
    bare = Section(member.shape, tuple(bar.layer() for bar in member.bars))
    elastic = gross_section if options.cracking_section == "gross" else uncracked_section
    uncracked = elastic(bare, modulus)
    cracking = cracking_moment(uncracked, member.shape.height_mm, member.concrete.rupture)
    bond = None
    section = bare
    if member.fabric is not None:
        plane, bond = _bond(member, bare, cracking)
        cap = options.limits.value("strain-cap")
        section = Section(member.shape, bare.bars, _layers(member.fabric, member.shape, cap), plane)
    return Built(member, options, section, bare, uncracked, cracking, bond)


def _bond(
    member: Member, bare: Section, cracking_nmm: float
) -> tuple[BondStrain, BondState | None]:
    history = member.history
    if history.bond_strain is not None:
        return BondStrain(history.bond_strain), None
    state = bond_state(
        bare,
        modulus_mpa=member.concrete.modulus,
        cracking_nmm=cracking_nmm,
        moment_at_installation_nmm=history.moment_at_installation_knm * KNM,
        largest_earlier_moment_nmm=history.largest_earlier_moment_knm * KNM,
    )
    return state.plane, state


def _layers(fabric: FabricInput, shape: Shape, cap: float) -> tuple[FabricLayer, ...]:
    """Fabric on the soffit, on both sides, or in a U of the two."""
    layers: list[FabricLayer] = []
    usable, law = fabric.usable_strain(cap), fabric.law()
    if fabric.place != "sides":
        layers.append(
            soffit_fabric(
                plies=fabric.plies,
                ply_thickness_mm=fabric.ply_thickness_mm,
                width_mm=shape.web_width_mm if fabric.width_mm is None else fabric.width_mm,
                depth_mm=shape.height_mm if fabric.depth_mm is None else fabric.depth_mm,
                law=law,
                usable_strain=usable,
            )
        )
    if fabric.place != "soffit":
        layers.append(
            side_fabric(
                plies=fabric.plies,
                ply_thickness_mm=fabric.ply_thickness_mm,
                top_mm=max(shape.height_mm - (fabric.side_height_mm or 0.0), 0.0),
                bottom_mm=shape.height_mm,
                law=law,
                usable_strain=usable,
            )
        )
    return tuple(layers)


def setup_of(built: Built, loading: Loading) -> BeamSetup:
    """The beam test of a built member, N and mm."""
    weight = built.member.concrete.unit_weight_kn_per_m3
    return loading.setup(built.member.shape.area_mm2, weight)
