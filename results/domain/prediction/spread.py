"""How far a predicted load may be off: Monte Carlo beside first order, at the actuator."""

from __future__ import annotations

from typing import Any

from labmatrix.kernel.units import quantity
from results.domain.mechanics.block_case import case_of
from results.domain.mechanics.random_variables import PRACTICE_VARIABLES, Variable
from results.domain.mechanics.uncertainty import (
    UncertainMember,
    first_order,
    governing_modes,
    monte_carlo,
)
from results.domain.prediction.beam import Beam
from results.domain.prediction.build import Built
from results.domain.prediction.flexure import Flexure
from results.domain.prediction.strength import FIBRES

BASIS = "Scatter of materials, bar depth and model as is common practice of well-kept laboratories."
SCALED = (
    " Drawn in closed form and scaled to the fibre integration, whose laws the closed form does "
    "not know."
)


def _variables(built: Built) -> tuple[Variable, ...]:
    with_fabric = bool(built.section.fabrics)
    return tuple(v for v in PRACTICE_VARIABLES if with_fabric or not v.name.startswith("fabric"))


def spread_of(
    built: Built, beam: Beam, flexure: Flexure, *, samples: int, seed: int
) -> dict[str, Any]:
    """Spread of the ultimate load, numbers as {value, unit}.

    Args:
        built, beam: the member in its test.
        flexure: its strength; where the fibre integration gives it, bending is scaled to it.
        samples: draws.
        seed: stored with the result.
    """
    options = built.options
    case = case_of(
        built.section,
        strength_mpa=built.strength_mpa,
        modulus_mpa=built.modulus_mpa,
        block=options.block,
        crushing_strain=built.crushing_strain,
        beta1=options.beta1,
    )
    variables = _variables(built)
    scale = flexure.nominal_nmm / flexure.capacity.nominal_nmm
    member = UncertainMember(
        built.section,
        case,
        variables,
        options.fabric_factor,
        # Shear is drawn beside the closed form, so it is brought to that form's scale, too.
        beam.setup.moment_nmm(beam.shear_n) / scale,
    )
    drawn = monte_carlo(member, samples=samples, seed=seed)
    slopes = first_order(member)
    lower, middle, upper = (beam.setup.load_n(scale * m) / 1e3 for m in drawn.fractiles_nmm)
    return {
        "basis": BASIS + (SCALED if flexure.by == FIBRES else ""),
        "samples": samples,
        "seed": seed,
        "lower_load": quantity(lower, "kN"),
        "middle_load": quantity(middle, "kN"),
        "upper_load": quantity(upper, "kN"),
        "cov_percent": 100.0 * drawn.cov,
        "first_order_percent": 100.0 * slopes.cov,
        "shares": [
            {"variable": name.replace("_", " "), "percent": 100.0 * share}
            for name, share in slopes.shares.items()
        ],
        "variables": [
            {"variable": v.name.replace("_", " "), "cov": v.cov, "mean": v.mean,
             "distribution": v.distribution}
            for v in variables
        ],
        "modes": [
            {"mode": mode, "percent": 100.0 * share} for mode, share in governing_modes(drawn)
        ],
    }  # fmt: skip
