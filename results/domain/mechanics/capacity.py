"""Nominal flexural strength of one section: state, governing mode, φ and gain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from labmatrix.kernel.errors import ShapeError
from results.domain.mechanics.block_case import case_of
from results.domain.mechanics.blocks import BlockName, beta1_rectangular, parabola_factors
from results.domain.mechanics.compatibility import BlockState, solve
from results.domain.mechanics.limits import Limit
from results.domain.mechanics.ranges import number
from results.domain.mechanics.reduction_factor import PhiEdition, strength_reduction
from results.domain.mechanics.section import Section

Mode = Literal[
    "fabric after yield", "fabric before yield", "crushing after yield", "crushing before yield"
]
MODES: tuple[Mode, ...] = (
    "fabric after yield",
    "fabric before yield",
    "crushing after yield",
    "crushing before yield",
)
MODE_SENTENCES: dict[Mode, str] = {
    "fabric after yield": "The bars yield, then the fabric reaches its usable strain.",
    "fabric before yield": "The fabric reaches its usable strain before the bars yield.",
    "crushing after yield": "The bars yield, then the concrete crushes.",
    "crushing before yield": "The concrete crushes before the bars yield: the end is sudden.",
}


@dataclass(frozen=True)
class Capacity:
    """One section at its nominal strength; N, mm, MPa, N·mm, strains in mm/mm.

    Attributes:
        block: which compression block; a gain compares two with the same.
        neutral_axis_mm: c.
        curvature_per_mm: φn.
        top_strain: εc, positive in compression.
        alpha1, beta1: factors of the block. Under a parabola they describe a zone of constant
            width; the force is integrated over the true outline.
        tension_strain: εt of the deepest bar.
        bar_strains, bar_stresses_mpa: by bar layer.
        fabric_strains, fabric_stresses_mpa: effective, at the lower end of each fabric layer.
        bond_strains: ε_bi there.
        concrete_force_n, concrete_depth_mm: resultant of the compression.
        bar_moment_nmm, fabric_moment_nmm: parts of Mn about that resultant.
        nominal_nmm: Mn with ψf on the fabric's part.
        phi, edition: strength reduction and whose.
        imbalance_n: what equilibrium leaves over.
    """

    block: BlockName
    neutral_axis_mm: float
    curvature_per_mm: float
    top_strain: float
    alpha1: float
    beta1: float
    tension_strain: float
    bar_strains: tuple[float, ...]
    bar_stresses_mpa: tuple[float, ...]
    fabric_strains: tuple[float, ...]
    fabric_stresses_mpa: tuple[float, ...]
    bond_strains: tuple[float, ...]
    concrete_force_n: float
    concrete_depth_mm: float
    bar_moment_nmm: float
    fabric_moment_nmm: float
    fabric_factor: float
    nominal_nmm: float
    mode: Mode
    phi: float
    edition: PhiEdition
    imbalance_n: float

    @property
    def design_nmm(self) -> float:
        """φMn, N·mm."""
        return self.phi * self.nominal_nmm


def flexural_capacity(
    section: Section,
    *,
    strength_mpa: float,
    modulus_mpa: float,
    block: BlockName = "parabolic",
    edition: PhiEdition = "aci440-2r",
    fabric_factor: float = 1.0,
    crushing_strain: float = 0.003,
    beta1: float | None = None,
    displaced: bool = True,
) -> Capacity:
    """Nominal strength by strain compatibility, see :mod:`.compatibility`.

    Args:
        section: the section; ε_bi comes from its bond plane.
        strength_mpa: f'c, MPa.
        modulus_mpa: Ec, MPa.
        block: ``parabolic`` or ``rectangular``.
        edition: whose φ.
        fabric_factor: ψf on the fabric's moment: 1 in ACI 549.4R, 0.85 in ACI 440.2R.
        crushing_strain: of the top face, mm/mm.
        beta1: β1 of the rectangular block where it is not to follow from f'c in MPa.
        displaced: take off the concrete that compressed bars displace.

    Raises:
        RangeError: an argument outside its range.
    """
    number("strength_mpa", strength_mpa, low=5.0, high=200.0, unit="MPa")
    number("modulus_mpa", modulus_mpa, low=1000.0, high=100_000.0, unit="MPa")
    number("fabric_factor", fabric_factor, low=0.0, high=1.0)
    number("crushing_strain", crushing_strain, low=0.001, high=0.01)
    state = solve(
        case_of(
            section, strength_mpa=strength_mpa, modulus_mpa=modulus_mpa, block=block,
            crushing_strain=crushing_strain, beta1=beta1, displaced=displaced,
        )
    )  # fmt: skip
    top = float(state.top_strain[0])
    factors = _factors(block, top, strength_mpa, modulus_mpa, beta1)
    return _capacity(section, state, block, factors, edition=edition, fabric_factor=fabric_factor)


def _factors(
    block: BlockName, top: float, strength: float, modulus: float, beta1: float | None
) -> tuple[float, float]:
    if block == "rectangular":
        return 0.85, float(beta1_rectangular(strength)) if beta1 is None else beta1
    # Weak concrete crushes beyond the parabola's end, where the factors keep their last value.
    return parabola_factors(min(top, 3.4 * strength / modulus), strength, modulus)


def _capacity(
    section: Section,
    state: BlockState,
    block: BlockName,
    factors: tuple[float, float],
    *,
    edition: PhiEdition,
    fabric_factor: float,
) -> Capacity:
    c, k = float(state.neutral_axis[0]), float(state.curvature[0])
    fabric_strains, bonds = [], []
    for fabric in section.fabrics:
        bonds.append(float(section.bond.at(fabric.bottom_mm)))
        fabric_strains.append(k * (fabric.bottom_mm - c) - bonds[-1])
    tension = k * (section.tension_depth_mm - c)
    yield_strain = section.tension_bar.steel.yield_strain
    return Capacity(
        block=block, neutral_axis_mm=c, curvature_per_mm=k, top_strain=k * c,
        alpha1=factors[0], beta1=factors[1], tension_strain=tension,
        bar_strains=tuple(k * (bar.depth_mm - c) for bar in section.bars),
        bar_stresses_mpa=tuple(float(stress[0]) for stress in state.bar_stresses),
        fabric_strains=tuple(fabric_strains),
        fabric_stresses_mpa=tuple(
            fabric.law.modulus_mpa * max(strain, 0.0)
            for fabric, strain in zip(section.fabrics, fabric_strains, strict=True)
        ),
        bond_strains=tuple(bonds),
        concrete_force_n=float(state.concrete_force[0]),
        concrete_depth_mm=float(state.concrete_depth[0]),
        bar_moment_nmm=float(state.bar_moment[0]),
        fabric_moment_nmm=float(state.fabric_moment[0]), fabric_factor=fabric_factor,
        nominal_nmm=float(state.moment(fabric_factor)[0]),
        mode=mode_of(fabric_governs=bool(state.fabric_governs[0]), yielded=tension >= yield_strain),
        phi=strength_reduction(tension, yield_strain, edition), edition=edition,
        imbalance_n=float(state.imbalance[0]),
    )  # fmt: skip


def mode_of(*, fabric_governs: bool, yielded: bool) -> Mode:
    """The governing mode in words."""
    if fabric_governs:
        return "fabric after yield" if yielded else "fabric before yield"
    return "crushing after yield" if yielded else "crushing before yield"


@dataclass(frozen=True)
class Gain:
    """What the fabric adds to the nominal strength, against the rule that bounds it."""

    ratio: float
    limit: Limit

    @property
    def within(self) -> bool:
        """Whether the rule is kept."""
        return self.ratio <= self.limit.value

    @property
    def sentence(self) -> str:
        """The verdict in words."""
        verdict = "within" if self.within else "over"
        return (
            f"The fabric adds {100 * self.ratio:.2f} % to the unstrengthened strength, {verdict} "
            f"the limit of {100 * self.limit.value:g} % of {self.limit.source}."
        )


def gain(strengthened: Capacity, control: Capacity, limit: Limit) -> Gain:
    """Gain in Mn over the unstrengthened twin.

    Raises:
        ShapeError: ``capacity.two-blocks``, the two were found with different blocks.
    """
    if strengthened.block != control.block:
        raise ShapeError(
            "capacity.two-blocks",
            f"The strengthened section uses the {strengthened.block} block and the control the "
            f"{control.block} block; allowed is a comparison with one block.",
        )
    return Gain(strengthened.nominal_nmm / control.nominal_nmm - 1.0, limit)
