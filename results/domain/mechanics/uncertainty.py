"""How far a predicted strength may be off: Monte Carlo and first order, side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from labmatrix.kernel.errors import ShapeError
from results.domain.mechanics.arrays import FloatArray, Numeric
from results.domain.mechanics.block_case import BlockCase
from results.domain.mechanics.capacity import MODES
from results.domain.mechanics.compatibility import CHUNK, solve
from results.domain.mechanics.random_variables import Variable, vary
from results.domain.mechanics.ranges import number
from results.domain.mechanics.roots import FOR_SAMPLES
from results.domain.mechanics.section import Section

FRACTILES = (0.05, 0.50, 0.95)
SHEAR = "shear"


@dataclass(frozen=True)
class MonteCarlo:
    """Strengths of many drawn members; N·mm of mid-span moment.

    Attributes:
        samples, seed: enough to draw the same again.
        mean_nmm, sd_nmm: of the strength.
        fractiles_nmm: at 5, 50 and 95 %.
        modes: probability of each governing mode, ``shear`` included; they sum to 1.
    """

    samples: int
    seed: int
    mean_nmm: float
    sd_nmm: float
    fractiles_nmm: tuple[float, ...]
    modes: Mapping[str, float]

    @property
    def cov(self) -> float:
        """Coefficient of variation."""
        return self.sd_nmm / self.mean_nmm


@dataclass(frozen=True)
class FirstOrder:
    """The same from slopes at the mean values.

    Attributes:
        mean_nmm, sd_nmm: of the strength.
        shares: of the variance, by variable; they sum to 1.
    """

    mean_nmm: float
    sd_nmm: float
    shares: Mapping[str, float]

    @property
    def cov(self) -> float:
        """Coefficient of variation."""
        return self.sd_nmm / self.mean_nmm


@dataclass(frozen=True)
class UncertainMember:
    """A member whose strength is uncertain.

    Args:
        section: nominal.
        case: of the section, nominal numbers.
        variables: what varies, each name once.
        fabric_factor: ψf.
        shear_nmm: mid-span moment at which the shear strength is reached, None to leave out.
    """

    section: Section
    case: BlockCase
    variables: tuple[Variable, ...]
    fabric_factor: float = 1.0
    shear_nmm: float | None = None

    def __post_init__(self) -> None:
        names = [variable.name for variable in self.variables]
        if len(set(names)) != len(names):
            raise ShapeError(
                "variables.twice",
                f"The variables are {', '.join(names)}; allowed is each name once.",
            )

    def strengths(self, factors: Mapping[str, Numeric]) -> tuple[FloatArray, FloatArray]:
        """Strength, N·mm, and mode as a position in :data:`MODES` (its end is shear)."""
        state = solve(vary(self.case, self.section, factors), tolerance=FOR_SAMPLES)
        moment = state.moment(self.fabric_factor) * factors.get("model", 1.0)
        bars = self.section.bars
        deepest = max(range(len(bars)), key=lambda index: bars[index].depth_mm)
        stress = self.case.bars[deepest].yield_stress * factors.get("bar_yield", 1.0)
        yielded = state.bar_stresses[deepest] >= stress * (1.0 - 1e-12)
        mode = np.where(state.fabric_governs, 0, 2) + np.where(yielded, 0, 1)
        if self.shear_nmm is None:
            return moment, mode
        root = np.sqrt(np.asarray(factors.get("concrete_strength", 1.0)))
        shear = self.shear_nmm * root * factors.get("shear_model", 1.0)
        return np.minimum(moment, shear), np.where(shear < moment, len(MODES), mode)


def chunks(samples: int, seed: int) -> list[tuple[slice, np.random.SeedSequence]]:
    """Parts of the samples, each with a random stream of its own."""
    parts = [slice(n, min(n + CHUNK, samples)) for n in range(0, samples, CHUNK)]
    return list(zip(parts, np.random.SeedSequence(seed).spawn(len(parts)), strict=True))


def draw_factors(
    variables: Sequence[Variable], samples: int, stream: np.random.SeedSequence
) -> dict[str, Numeric]:
    """Factors by name, each of shape (samples,)."""
    generator = np.random.Generator(np.random.SFC64(stream))
    deviates = generator.standard_normal((len(variables), samples))
    return {
        variable.name: variable.factors(row)
        for variable, row in zip(variables, deviates, strict=True)
    }


def monte_carlo(
    member: UncertainMember, *, samples: int = 100_000, seed: int, workers: int = 2
) -> MonteCarlo:
    """Draw members and solve them all; the same seed gives the same draw on any number of cores.

    Args:
        member: what varies.
        samples: 100 to 10 000 000.
        seed: stored with the result.
        workers: threads.

    Raises:
        RangeError: samples or seed outside their range.
    """
    number("samples", samples, low=100, high=10_000_000)
    number("seed", seed, low=0, high=2**63 - 1)
    number("workers", workers, low=1, high=64)
    moments, modes = np.empty(samples), np.empty(samples, dtype=np.int8)

    def solve_chunk(chunk: tuple[slice, np.random.SeedSequence]) -> None:
        part, stream = chunk
        factors = draw_factors(member.variables, part.stop - part.start, stream)
        moments[part], modes[part] = member.strengths(factors)

    parts = chunks(samples, seed)
    if len(parts) == 1 or workers == 1:
        # Starting threads would take longer than the work.
        for part in parts:
            solve_chunk(part)
    else:
        with ThreadPoolExecutor(workers) as pool:
            list(pool.map(solve_chunk, parts))
    counts = np.bincount(modes, minlength=len(MODES) + 1) / samples
    fractiles = np.quantile(moments, FRACTILES)
    return MonteCarlo(
        samples,
        seed,
        float(moments.mean()),
        float(moments.std(ddof=1)),
        tuple(float(value) for value in fractiles),
        dict(zip((*MODES, SHEAR), (float(share) for share in counts), strict=True)),
    )


def first_order(member: UncertainMember) -> FirstOrder:
    """Mean and standard deviation from central differences over a tenth of each deviation."""
    variables = member.variables
    rows = 2 * len(variables) + 1
    factors: dict[str, Numeric] = {}
    steps = [max(0.1 * variable.cov * variable.mean, 1e-9) for variable in variables]
    for index, (variable, step) in enumerate(zip(variables, steps, strict=True)):
        values = np.full(rows, variable.mean)
        values[1 + 2 * index] += step
        values[2 + 2 * index] -= step
        factors[variable.name] = values
    found = np.broadcast_to(member.strengths(factors)[0], rows)
    parts = {
        variable.name: float(
            (found[1 + 2 * i] - found[2 + 2 * i]) / (2.0 * step) * variable.cov * variable.mean
        )
        for i, (variable, step) in enumerate(zip(variables, steps, strict=True))
    }
    variance = sum(value**2 for value in parts.values())
    shares = {name: value**2 / variance if variance else 0.0 for name, value in parts.items()}
    return FirstOrder(float(found[0]), float(np.sqrt(variance)), shares)


def governing_modes(found: MonteCarlo, *, least: float = 0.005) -> Sequence[tuple[str, float]]:
    """Modes with at least a probability, the likeliest first."""
    kept = [(name, share) for name, share in found.modes.items() if share >= least]
    return sorted(kept, key=lambda item: -item[1])
