"""Fibre integration against two independent general-purpose libraries with the same laws.

``make check-long`` takes 200 diagrams of one library and 40 of the slower other, and keeps in
``tests/reference/long_checks.jsonl`` how far apart the worst lay; ``make test`` takes a part.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from results.domain.mechanics.capacity import flexural_capacity
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.laws import Parabola, ParabolaRectangle
from results.domain.mechanics.moment_curvature import diagram, states_at, ultimate_point
from tests.reference.conftest import KeepLongCheck
from tests.reference.mechanics_members import bm1
from tests.reference.mechanics_peers import (
    RandomMember,
    concreteproperties_section,
    random_member,
    structuralcodes_section,
    with_richer_laws,
)

WITHIN = 1e-3
Floats = NDArray[np.float64]

pytestmark = pytest.mark.filterwarnings("ignore")


def _members(count: int, seed: int, *, fabric: bool | None = None) -> list[RandomMember]:
    rng = np.random.default_rng(seed)
    return [
        random_member(rng, fabric=index % 2 == 0 if fabric is None else fabric)
        for index in range(count)
    ]


def _peer_moment(member: RandomMember) -> float:
    section = structuralcodes_section(member.section, member.concrete)
    return -float(section.section_calculator.calculate_bending_strength().m_y)


def _some_and_long(some: int, many: int) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("count", [some, pytest.param(many, marks=pytest.mark.long)])


def test_ultimate_moment_of_200_random_sections_as_structuralcodes() -> None:
    worst = 0.0
    for member in _members(200, 11):
        model = FibreModel(member.section, member.concrete, displaced=False)
        worst = max(worst, abs(ultimate_point(model).moment_nmm / _peer_moment(member) - 1.0))
    assert worst < WITHIN


def test_ultimate_moment_of_random_richer_laws_as_structuralcodes() -> None:
    """Bars that harden and fabric of two lines, as from a coupon."""
    worst = 0.0
    for member in _members(60, 21, fabric=True):
        richer = with_richer_laws(member)
        model = FibreModel(richer.section, richer.concrete, displaced=False)
        worst = max(worst, abs(ultimate_point(model).moment_nmm / _peer_moment(richer) - 1.0))
    assert worst < WITHIN


@_some_and_long(10, 200)
def test_ultimate_moment_of_random_sections_as_concreteproperties(
    count: int, keep_long_check: KeepLongCheck
) -> None:
    worst = 0.0
    for member in _members(count, 12, fabric=False):
        peer = concreteproperties_section(member.section, member.concrete)
        known = abs(peer.ultimate_bending_capacity().m_x)
        own = ultimate_point(FibreModel(member.section, member.concrete)).moment_nmm
        worst = max(worst, abs(own / known - 1.0))
    keep_long_check(count=count, worst=worst, bound=WITHIN, of="ultimate moment, relative")
    assert worst < WITHIN


def _peer_diagram(member: RandomMember) -> tuple[Floats, Floats] | None:
    """Curvatures and moments, or None where the peer's own search for equilibrium gives up.

    Left out are its points whose top face is strained beyond the ultimate strain: its concrete has
    let go there, and at such a curvature it may find that second equilibrium before the first.
    """
    peer = structuralcodes_section(member.section, member.concrete)
    try:
        known = peer.section_calculator.calculate_moment_curvature()
    except IndexError:
        return None
    # The top face lies at its axis, so that its axial strain is that of the top face.
    alive = -np.asarray(known.eps_a) < member.concrete.ultimate_strain * (1.0 - 1e-6)
    return -np.asarray(known.chi_y)[alive], -np.asarray(known.m_y)[alive]


@_some_and_long(10, 200)
def test_diagrams_as_structuralcodes(count: int, keep_long_check: KeepLongCheck) -> None:
    worst, without = 0.0, 0
    for member in _members(count, 13):
        found = _peer_diagram(member)
        if found is None:
            without += 1
            continue
        curvature, moment = found
        model = FibreModel(member.section, member.concrete, displaced=False)
        # At the ultimate state, give or take a rounding, a part of the peer lets go; the moment
        # there has a check of its own.
        last = ultimate_point(model).curvature_per_mm * (1.0 - 1e-4)
        alive = (curvature > 1e-7) & (curvature < last)
        own = states_at(model, curvature[alive])
        apart = np.abs(own.moment - moment[alive]) / moment.max()
        worst = max(worst, float(apart.max()))
    keep_long_check(
        count=count, worst=worst, bound=WITHIN, of="moment in terms of the largest",
        without_an_answer_of_the_peer=without,
    )  # fmt: skip
    assert worst < WITHIN
    assert without <= count // 50


@_some_and_long(1, 40)
def test_diagrams_as_concreteproperties(count: int, keep_long_check: KeepLongCheck) -> None:
    worst = 0.0
    for member in _members(count, 14, fabric=False):
        peer = concreteproperties_section(member.section, member.concrete)
        known = peer.moment_curvature_analysis(progress_bar=False)
        curvature, moment = np.asarray(known.kappa)[1:], np.abs(np.asarray(known.m_x))[1:]
        own = states_at(FibreModel(member.section, member.concrete), curvature)
        # Its concrete carries nothing beyond the ultimate strain, ours keeps the plateau.
        alive = -own.strain(0.0) < member.concrete.ultimate_strain
        worst = max(worst, float(np.abs(own.moment - moment)[alive].max() / moment.max()))
    keep_long_check(count=count, worst=worst, bound=WITHIN, of="moment in terms of the largest")
    assert worst < WITHIN


def test_aci_parabola_as_structuralcodes_and_as_the_closed_form() -> None:
    for plies in (0, 1, 2, 4):
        law = Parabola(30.0, 4700 * 30**0.5)
        model = FibreModel(bm1(plies), law, displaced=False)
        fibre = ultimate_point(model).moment_nmm
        peer = structuralcodes_section(bm1(plies), law).section_calculator
        closed = flexural_capacity(bm1(plies), strength_mpa=30.0, modulus_mpa=law.modulus_mpa)
        assert fibre == pytest.approx(-peer.calculate_bending_strength().m_y, rel=WITHIN)
        assert fibre == pytest.approx(closed.nominal_nmm, rel=1e-4)


# From concreteproperties 0.7.0 and structuralcodes 0.7.2: parabola–rectangle, no tension.
@pytest.mark.parametrize(
    ("plies", "yielding", "ultimate"),
    [(0, 33.591, 35.312), (1, 34.450, 39.271), (4, 37.025, 51.723)],
)
def test_bm1_diagram(plies: int, yielding: float, ultimate: float) -> None:
    found = diagram(FibreModel(bm1(plies), ParabolaRectangle(30.0)))
    assert found.yielding is not None
    assert found.yielding.moment_nmm / 1e6 == pytest.approx(yielding, rel=WITHIN)
    assert found.ultimate.moment_nmm / 1e6 == pytest.approx(ultimate, rel=WITHIN)
    if plies == 0:
        assert found.yielding.curvature_per_mm == pytest.approx(1.1066e-5, rel=WITHIN)
        assert found.ultimate.curvature_per_mm == pytest.approx(1.1930e-4, rel=WITHIN)
        assert found.ultimate.name == "concrete"
    else:
        assert found.ultimate.name == "soffit fabric"


def test_concrete_laws_agree_within_one_percent() -> None:
    for plies in (0, 1, 2, 4):
        one = ultimate_point(FibreModel(bm1(plies), ParabolaRectangle(30.0))).moment_nmm
        other = ultimate_point(FibreModel(bm1(plies), Parabola(30.0, 4700 * 30**0.5))).moment_nmm
        assert one == pytest.approx(other, rel=0.01)
