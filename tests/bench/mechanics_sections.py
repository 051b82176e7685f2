"""Strengthened sections: a million of them, and moment–curvature points against structuralcodes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from results.domain.mechanics.block_case import case_of
from results.domain.mechanics.blocks import BLOCKS, BlockName
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.laws import ParabolaRectangle
from results.domain.mechanics.moment_curvature import FibreStates, diagram, states_at
from results.domain.mechanics.random_variables import PRACTICE_VARIABLES, Variable
from results.domain.mechanics.uncertainty import UncertainMember, monte_carlo
from tests.bench.harness import Bench, Goal, Runs, interleaved, scaled
from tests.reference.mechanics_members import MODULUS, STRENGTH, bm1
from tests.reference.mechanics_peers import structuralcodes_section

FOUR = (
    Variable("concrete_strength", 0.10),
    Variable("bar_yield", 0.05),
    Variable("fabric_modulus", 0.06),
    Variable("fabric_strain", 0.10),
)
SEED = 20_260_101
WITHIN = 1e-3


def member(block: BlockName, variables: tuple[Variable, ...]) -> UncertainMember:
    """A beam with two plies whose materials scatter."""
    section = bm1(2)
    case = case_of(section, strength_mpa=STRENGTH, modulus_mpa=MODULUS, block=block)
    return UncertainMember(section, case, variables)


def resistance(bench: Bench, block: BlockName, variables: tuple[Variable, ...]) -> None:
    """A million strengths with their draws, against the draws alone."""
    samples = scaled(1_000_000, 2_000)
    drawn = member(block, variables)
    runs = interleaved(
        {
            "ours": lambda: monte_carlo(drawn, samples=samples, seed=SEED),
            "draws": lambda: np.random.default_rng(SEED).standard_normal((len(variables), samples)),
        },
        repeats=bench.repeats,
        warm=True,
    )
    found = runs.values["ours"]
    one = monte_carlo(drawn, samples=samples, seed=SEED, workers=1)
    bench.ratio(
        f"sections-{block}-{len(variables)}",
        f"{samples:,} strengthened sections, {block} block, {len(variables)} variables, draws "
        "included, against the draws alone (one thread of numpy)",
        runs,
        of="ours",
        to="draws",
        goal=Goal("B1", 5.0),
        facts={
            "mean": f"{found.mean_nmm / 1e6:.2f} kN·m",
            "coefficient of variation": f"{found.cov:.2%}",
            "sections a second": f"{samples / runs.best('ours'):,.0f}",
        },
        claims={"two threads and one give the same numbers": found == one},
        remark="Newton inside a bracket over arrays that stay in the cache; 3 to 5 evaluations of "
        "equilibrium a section take two thirds of the time, the lognormal factors a fifth.",
    )


@dataclass
class _Diagrams:
    """What both sides found of one section."""

    known: Any
    runs: Runs
    apart: float


def _diagram(model: FibreModel, peer: Any, points: int, repeats: int) -> _Diagrams:
    last = diagram(model, 10).ultimate.curvature_per_mm
    curvatures = np.linspace(last / points, last, points)
    runs = interleaved(
        {
            "structuralcodes": peer.section_calculator.calculate_moment_curvature,
            "ours": lambda: states_at(model, curvatures),
        },
        repeats=repeats,
        warm=True,
    )
    known = runs.values["structuralcodes"]
    curvature, moment = -np.asarray(known.chi_y), -np.asarray(known.m_y)
    # The peer's last point lies a hair beyond the ultimate strain, where its concrete lets go.
    keep = (curvature > 1e-7) & (curvature < curvature.max())
    own: FibreStates = states_at(model, curvature[keep])
    apart = float(np.abs(own.moment - moment[keep]).max() / moment.max())
    return _Diagrams(known, runs, apart)


def curvature(bench: Bench) -> None:
    """Points of moment–curvature diagrams a second, at equal moment."""
    law = ParabolaRectangle(STRENGTH)
    points = scaled(20_000, 200)
    found = [
        _diagram(
            FibreModel(bm1(plies), law, displaced=False),
            structuralcodes_section(bm1(plies), law),
            points,
            bench.repeats,
        )
        for plies in (0, 1, 2, 4)
    ]
    peer_points = [len(one.known.chi_y) for one in found]
    theirs = sum(one.runs.best("structuralcodes") for one in found) / sum(peer_points)
    ours = sum(one.runs.best("ours") for one in found) / (len(found) * points)
    apart = max(one.apart for one in found)
    bench.row(
        "moment-curvature-points",
        "Moment–curvature points a second, times those of structuralcodes",
        figure=theirs / ours,
        goal=Goal("B2", 1000.0, at_most=False),
        facts={
            "ours": f"{1 / ours:,.0f} points/s, {points:,} a section in one batch",
            "structuralcodes": f"{1 / theirs:,.1f} points/s, {sum(peer_points)} in all",
            "moments differ by at most": f"{apart:.2e} of the largest",
            "not like for like": "the library takes any outline and steps adaptively",
        },
        claims={"moments equal within 0.1 % of the largest": apart < WITHIN},
    )


def main() -> None:
    """Five rows."""
    bench = Bench("mechanics_sections", versions=("structuralcodes", "scipy"), repeats=5)
    for block in BLOCKS:
        resistance(bench, block, FOUR)
        resistance(bench, block, PRACTICE_VARIABLES)
    curvature(bench)
    bench.end()


if __name__ == "__main__":
    main()
